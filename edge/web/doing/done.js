// What the station answers to a record, and how one that was a mistake is taken back for a while: by a further record, as all is kept.

import { button, make, markOf } from "../dom.js";
import { record } from "../people.js";
import { say } from "../say.js";
import { mustSign } from "../session.js";
import { clockTime, nowMs, sentence } from "../told.js";
import { signer } from "../device.js";

const OFFERED_MS = 10 * 60e3;
let lately = null; // {seq, title, at, shown}: what was recorded here last

export function note(seq, title) {
  lately = { seq, title, at: performance.now(), shown: clockTime(nowMs()) };
}
const isOffered = () => lately && performance.now() - lately.at < OFFERED_MS;

/** A line that offers to take back what was recorded last; null where nothing was, or it is too long ago. */
export function backLine(then) {
  if (!isOffered()) return null;
  const { seq, title, shown } = lately;
  const line = make("p", "back-text", say("done.lately", { at: shown, what: title, seq }));
  const one = button("take-back", say("done.take_back"), async () => {
    one.disabled = true;
    const { ok, body, trouble } = await record("correction", { of: seq, why: say("done.by_mistake") }, mustSign() ? "" : signer());
    one.disabled = false;
    if (!ok) return line.replaceChildren(trouble);
    if (body.counts === false) return line.replaceChildren(say("done.correction_not", { why: body.why_not }));
    lately = null;
    line.replaceChildren(say("done.taken_back", { what: title, seq }));
    one.remove();
    then();
  });
  const element = make("div", "back-line", line, one);
  element.dataset.key = `back-${seq}`;
  return element;
}

/** The page after a record: `answer` is what the station said. */
export function donePage(title, answer, more = []) {
  const counts = answer.counts !== false;
  const head = make("p", "done-head", markOf(counts ? "met" : "unmet"), make("span", "", counts ? say("done.recorded", { what: title }) : say("people.does_not_count", { why: title })));
  const back = backLine(() => {});
  const element = make("section", "panel done", head,
    make("p", "done-why", counts ? say("done.entry", { seq: answer.seq }) : answer.why_not || ""), ...(answer.led_to || []).map((clause) => make("p", "done-why", sentence(clause))), ...more,
    make("div", "buttons", button("main to-list", say("done.back"), () => (location.hash = "#do"))));
  element.classList.toggle("not-counted", !counts);
  if (back) element.append(back);
  return element;
}

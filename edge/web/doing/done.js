// What the station answers to a record, and how one that was a mistake is taken back for a while: by a further record, as all is kept.

import { button, draw, make, markOf, part, put } from "../dom.js";
import { record } from "../people.js";
import { say } from "../say.js";
import { mustSign } from "../session.js";
import { alarmName, because, clockTime, conditionName, dayName, nowMs, sentence, words } from "../told.js";
import { signer } from "../device.js";

const OFFERED_MS = 10 * 60e3;
let lately = null; // {seq, title, at, shown}: what was recorded here last

/** `title` is said anew each time: another language may have been chosen meanwhile. */
export function note(seq, title) {
  lately = { seq, title, at: performance.now(), shown: clockTime(nowMs()) };
}
const isOffered = () => lately && performance.now() - lately.at < OFFERED_MS;

/** A line that offers to take back what was recorded last; null where nothing was, or it is too long ago. */
export function backLine(then) {
  if (!isOffered()) return null;
  const { seq, shown } = lately;
  const title = lately.title();
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

/** What the station says that it led to, with this page's own words for what is an id there. */
function ledTo(answer, title) {
  return (answer.led_to || []).map((clause, nth) => {
    const { id, values = {} } = (answer.led_to_msgs || [])[nth] || {};
    if (id === "led.due") return say("done.due", { what: title, at: dayName(values.due.value) });
    const named = { "led.condition": values.condition && [values.condition.value, conditionName], "led.alarm": values.alarm && [values.alarm.value, alarmName] }[id];
    const plain = named && `${words(named[0])}: `;
    return sentence(plain && clause.startsWith(plain) ? because(named[1](named[0]), clause.slice(plain.length)) : clause);
  });
}
/** The page after a record: `answer` is what the station said. */
export function donePage(title, answer, more = []) {
  const counts = answer.counts !== false;
  const head = make("p", "done-head", markOf(counts ? "met" : "unmet"), make("span", "", counts ? say("done.recorded", { what: title }) : say("people.does_not_count", { why: title })));
  const back = backLine(() => {
    element.classList.add("not-counted");
    draw(part(head, "mark"), "gone");
    put(head.lastChild, say("done.back_head", { what: title }));
    for (const one of element.querySelectorAll(".done-why, .comm-result")) one.remove(); // what it led to stands no more
  });
  const element = make("section", "panel done", head,
    make("p", "done-why", counts ? say("done.entry", { seq: answer.seq }) : answer.why_not || ""), ...ledTo(answer, title).map((clause) => make("p", "done-why", clause)), ...more,
    make("div", "buttons", button("main to-list", say("done.back"), () => (location.hash = "#do"))));
  element.classList.toggle("not-counted", !counts);
  if (back) element.append(back);
  return element;
}

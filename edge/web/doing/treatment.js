// A water-path treatment, step by step. Where it stands, and how long its contact has to last yet, the station says; between two of its
// answers this page counts down by its own monotonic clock, which nobody sets. Each step is a record of its own, so nothing else is kept.

import { button, make, markOf, put, set, show as toggle } from "../dom.js";
import { record, signing } from "../people.js";
import { has, say } from "../say.js";
import { clockTime, keyName, lasting, nowMs, sentence, speed } from "../told.js";
import { donePage, note } from "./done.js";
import { headOf } from "./head.js";
import { placeOf } from "../verdict.js";
import { kindTitle, refresh, setup, wants } from "./wants.js";

const ASK_EVERY_MS = 4000;
const ASK_SOON_MS = 500; // as its end comes
/** What is asked of what follows the contact: of rinsing alone where draining has a question of its own. */
function afterwards(key) {
  if (key === "rinsed" && setup().treatment.then.includes("drained")) return say("then.rinsed_only");
  return has(`then.${key}`) ? say(`then.${key}`) : keyName(key);
}

/** The page: {element, show(), end()}. */
export function treatment(app) {
  const root = make("div", "doing treatment");
  const title = kindTitle("water_path_treatment");
  const at = {};
  let stage = "";
  let askedAt = performance.now();
  let said = {}; // what is told of what follows the contact
  let isDone = false;
  let sure = ""; // "back" or "anew": what somebody asked for, and is asked whether they mean it
  const who = signing();

  const contactS = () => setup().treatment.contact_s;
  const state = () => (wants.asks ? wants.asks.treatment : { state: "none", left_s: null, text: "", missing: [] });
  const leftS = () => Math.max(0, state().left_s - ((performance.now() - wants.at) / 1000) * speed());
  const stageNow = () => sure || state().state; // the station's word alone: a contact that this page ended early would not count

  const head = headOf(title);
  at.steps = make("ol", "stages", ...[say("treat.contact"), say("treat.drain"), say("treat.finished")].map((text) => make("li", "stage", text)));
  at.fault = make("p", "who-fault");
  at.fault.setAttribute("role", "alert");
  at.body = make("div", "doing-body");
  at.drop = button("plain discard", say("test.discard"), () => beSure("back"));
  root.append(head, at.steps, at.body, at.fault, make("div", "buttons dropping", at.drop));

  async function send(step, more, press) {
    if (!who.element.isConnected) press.before(who.element);
    if (who.lacks(at.fault)) return;
    press.disabled = true;
    put(at.fault, "");
    const { ok, body, trouble: refused } = await record("water_path_treatment", { step, ...more }, who.name());
    press.disabled = false;
    if (!ok) return put(at.fault, refused);
    note(body.seq, () => `${kindTitle("water_path_treatment")}, ${say(`step.${step}`)}`);
    if (body.counts === false) return put(at.fault, say("people.does_not_count", { why: body.why_not }));
    if (step === "finished") {
      isDone = true;
      return root.replaceChildren(donePage(title, body));
    }
    sure = "";
    await refresh();
    show();
  }

  /** The records of the treatment that is under way, the last first: what is taken back when it is discarded. */
  function stepsSoFar() {
    const taken = app.book.takenBack();
    const steps = app.book.all().filter(({ kind, seq, body }) => kind === "record" && body.record === "water_path_treatment" && body.counts !== false && !taken.has(seq));
    const first = steps.findIndex(({ body }) => body.step === "begins");
    const isOver = steps.slice(0, first).some(({ body }) => body.step !== "ends");
    return first < 0 || isOver ? [] : steps.slice(0, first + 1);
  }
  function beSure(of) {
    sure = of;
    put(at.fault, "");
    show();
  }
  async function discard(press) {
    if (who.lacks(at.fault)) return;
    press.disabled = true;
    for (const { seq } of stepsSoFar()) {
      const { ok, body, trouble } = await record("correction", { of: seq, why: say("treat.discarded") }, who.name());
      if (!ok || body.counts === false) {
        press.disabled = false;
        return put(at.fault, ok ? say("done.correction_not", { why: body.why_not }) : trouble);
      }
    }
    location.hash = "#do";
  }

  const builders = {
    back() {
      const all = button("discard-all", say("test.discard_all"), () => discard(all));
      const not = button("main", say("test.discard_not"), () => beSure(""));
      return [make("section", "panel", make("p", "big-line", say("treat.discard_sure")), make("p", "", say("treat.discard_says")), not, make("div", "buttons", all))];
    },
    anew() {
      const press = button("discard-all", say("treat.anew"), () => send("begins", {}, press));
      const not = button("main", say("test.discard_not"), () => beSure(""));
      return [make("section", "panel", make("p", "big-line", say("treat.anew_sure")), make("p", "", say("treat.anew_says", { span: lasting(contactS() * 1000) })), not, make("div", "buttons", press))];
    },
    none() {
      const then = setup().treatment.then.map(keyName).join(", ");
      const press = button("main big", say("treat.begin"), () => send("begins", {}, press));
      const whole = make("a", "link-button", say("treat.over"));
      whole.href = placeOf("water_path_treatment", { whole: "yes" });
      return [make("section", "panel", make("p", "big-line", say("treat.lasts", { span: lasting(contactS() * 1000) })), make("p", "", then ? say("treat.says_then", { then }) : say("treat.says")),
        at.said = make("p", "quiet"), press, make("div", "buttons", whole))];
    },
    contact() {
      at.left = make("p", "countdown");
      at.left.setAttribute("role", "timer");
      at.until = make("p", "quiet");
      at.fill = make("span", "watch-fill");
      return [make("section", "panel", make("p", "big-line", say("treat.under_way")), at.left, make("div", "watch-bar plain-bar", at.fill), at.until,
        make("p", "quiet", say("treat.leave")), again())];
    },
    contact_done() {
      const press = button("main big", say("treat.end"), () => send("ends", {}, press));
      return [make("section", "panel due-now", make("p", "big-line", markOf("unmet"), make("span", "", say("treat.lasted"))), make("p", "", say("treat.end_says")), press, again())];
    },
    afterwards() {
      const missing = state().missing;
      said = {};
      const rows = missing.map((key) => {
        const choose = (value) => {
          said[key] = value;
          show();
        };
        const row = make("li", "item", make("span", "item-name", afterwards(key)), button("item-done", sentence(say("station.yes")), () => choose(true)), button("item-failed", sentence(say("station.no")), () => choose(false)));
        row.dataset.item = key;
        return row;
      });
      at.items = make("ul", "items", ...rows);
      at.finish = button("main big", say("treat.finish"), () => send("finished", said, at.finish));
      return [make("section", "panel", make("p", "big-line", missing.length ? say("treat.afterwards") : say("treat.rinse")), at.items, at.finish)];
    },
    cant_be_timed: () => [make("section", "panel", make("p", "big-line", say("treat.unknown")), at.said = make("p", ""), again(true))],
  };
  function again(isMain = false) {
    const press = button(isMain ? "main" : "anew", say("treat.anew"), () => (isMain ? send("begins", {}, press) : beSure("anew")));
    press.classList.toggle("big", isMain);
    return make("div", "buttons", press);
  }

  function show() {
    if (isDone) return;
    const isNear = state().state === "contact" && leftS() <= 0;
    if (performance.now() - askedAt > (isNear ? ASK_SOON_MS : ASK_EVERY_MS)) {
      askedAt = performance.now();
      refresh();
    }
    const now = stageNow();
    if (stage !== now) {
      stage = now;
      at.body.replaceChildren(...builders[now]());
      const first = at.body.querySelector(".main");
      if (first) first.before(who.element);
      if (first) first.focus({ preventScroll: true });
    }
    if (wants.trouble) put(at.fault, wants.trouble);
    const step = { none: 0, contact: 0, contact_done: 0, cant_be_timed: 0, afterwards: 1, back: 0, anew: 0 }[now];
    toggle(at.drop, !["none", "back", "anew"].includes(now) && stepsSoFar().length);
    [...at.steps.children].forEach((one, n) => set(one, "aria-current", n === step && now !== "none" ? "step" : null));
    who.tell();
    if (now === "contact") {
      const left = Math.ceil(leftS());
      put(at.left, `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`);
      put(at.until, say("treat.until", { at: clockTime(nowMs() + leftS() * 1000) }));
      at.fill.style.width = `${Math.min(100, 100 * (1 - leftS() / contactS()))}%`;
    }
    if (now === "none" || now === "cant_be_timed") put(at.said, state().text);
    if (now === "afterwards") {
      for (const row of at.items.children) {
        for (const [name, value] of [["done", true], ["failed", false]]) set(row.querySelector(`.item-${name}`), "aria-pressed", String(said[row.dataset.item] === value));
      }
      at.finish.disabled = state().missing.some((key) => said[key] === undefined);
    }
  }
  refresh().then(show);
  show();
  const ticking = setInterval(() => stage === "contact" && show(), 250);
  return { element: root, show, end: () => clearInterval(ticking) };
}

// A point is compared with a reference instrument: what it reads now beside what the reference shows, before and after, confirmed before it
// is sent. The station works the correction out, and says where it wants a reason or a second comparison.

import { timeOf } from "../book.js";
import { button, make, put, set, show as toggle } from "../dom.js";
import { ask } from "../line.js";
import { record, signing, whyNot } from "../people.js";
import { figure, say } from "../say.js";
import { onChange } from "../session.js";
import { because, clockTime, lasting, nowMs, pointName } from "../told.js";
import { convert, precisely, signOf, stepOf } from "../units.js";
import { valueOf } from "../views/now.js";
import { donePage, note } from "./done.js";
import { headOf } from "./head.js";
import { choice, number, text } from "./fields.js";
import { formOf, setup, titleOf } from "./wants.js";

/** The page: {element, show(), end()}. */
export function calibration(keys, app) {
  const root = make("div", "doing calibrate");
  const plan = setup();
  const form = formOf("calibration");
  let ident = keys.point || "";
  let isConfirming = false;
  let isSending = false;
  let fields = {};
  const head = headOf(say("cal.title"));
  const which = choice("point", plan.points.map((p) => [p.id, `${pointName(p)} (${p.id})`]), { given: ident || undefined, changed: (value) => {
    ident = value || "";
    build();
  } });
  const live = make("p", "live-value");
  const stages = make("ol", "stages", ...[say("cal.first"), say("cal.second"), say("cal.in_force")].map((text) => make("li", "stage", text)));
  const lead = make("p", "cal-lead");
  lead.setAttribute("role", "status");
  const body = make("div", "fields");
  const compare = make("p", "compare");
  const fault = make("p", "who-fault");
  fault.setAttribute("role", "alert");
  const refused = make("p", "may-not");
  const who = signing();
  const send = button("main big send", say("cal.compare"), sent);
  const back = button("plain", say("cal.change"), () => {
    isConfirming = false;
    show();
  });
  root.append(head, make("section", "panel", which.element, stages, lead, live, body), make("section", "panel send-bar", compare, refused, who.element, fault, make("div", "buttons", send, back)));

  const point = () => plan.points.find((one) => one.id === ident);
  const reads = () => app.line.news && app.line.news.points[ident];

  /** The comparison that waits for a second one: {seq, at, from [ms]}; null where none does. */
  function waiting() {
    const taken = app.book.takenBack();
    const last = app.book.all().find(({ kind, seq, body }) => kind === "record" && body.record === "calibration" && body.point === ident && !taken.has(seq));
    if (!last || last.body.beyond !== "bound" || last.body.counts !== false) return null;
    const again = last.body.why_not_msg && last.body.why_not_msg.values.again;
    return { seq: last.seq, at: timeOf(last), from: timeOf(last) + 1000 * (again ? again.value : 0) };
  }
  function build() {
    isConfirming = false;
    const one = point();
    body.replaceChildren();
    fields = {};
    if (one) {
      const changed = () => {
        isConfirming = false;
        show();
      };
      fields = {
        reference: number("reference", { units: one.units, unit: one.units[0], bounds: one.bounds, asText: true, changed, help: say("cal.reference_help") }),
        reference_u: number("reference_u", { units: one.steps, unit: one.steps[0], low: 0, asText: true, changed, help: say("cal.u_help") }),
        adjust: choice("adjust", [[true, say("cal.correct")], [false, say("cal.only_check")]], { given: "true", changed }),
        instrument: text("instrument", { help: say("cal.instrument_help") }),
        confirm: text("confirm", { help: say("cal.confirm_help") }),
      };
      fields.confirm.element.addEventListener("input", () => show());
      for (const [key, made] of Object.entries(fields)) if (key !== "confirm") body.append(made.element);
    }
    show();
  }
  /** What it reads and what the reference shows, in the reference's unit; null where one isn't known. */
  function apart() {
    const said = fields.reference && fields.reference.said();
    const p = reads();
    if (!said || !p || typeof p.value !== "number") return null;
    const unit = said.unit.replace(/ abs$/, "");
    const shown = said.unit === unit && ["Cel", "kPa", "L/min"].includes(p.unit) ? convert(p.value, p.unit, unit) : p.shown && p.shown.unit === said.unit ? p.shown.value : null;
    return shown === null ? null : { shown, reference: Number(said.text), unit: said.unit };
  }
  function reading(p) {
    const value = valueOf(p).filter(Boolean).join(" ");
    const doubt = p.quality === "good" ? "" : `, ${because(say(`quality.${p.quality}`), p.text)}`;
    return say(p.correction ? "cal.reads" : "cal.reads_bare", { value, doubt });
  }
  function show() {
    const p = reads();
    put(live, !ident ? "" : p ? reading(p) : say("cal.not_heard"));
    const found = apart();
    const isCheck = fields.adjust && fields.adjust.value() === false;
    let told = "";
    if (found) {
      const by = found.reference - found.shown;
      const digits = found.unit === "kPa" ? 1 : 2;
      const inUnit = (text) => `${text} ${signOf(found.unit)}`;
      const reference = inUnit(figure(found.reference));
      const before = say(by < 0 ? "cal.too_high" : "cal.too_low", { shown: inUnit(figure(found.shown, digits)), reference, by: `${figure(Math.abs(by), digits)} ${stepOf(found.unit)}` });
      told = `${before} ${isCheck ? say("cal.after_check") : say("cal.after", { reference })}`;
    }
    put(compare, told);
    toggle(compare, told);
    put(send, isConfirming ? (isCheck ? say("cal.record_check") : say("cal.correct_so")) : say("cal.compare"));
    toggle(back, isConfirming);
    toggle(send, ident);
    const first = fields.confirm ? waiting() : null;
    const leftMs = first ? first.from - nowMs() : 0;
    toggle(stages, first);
    [...stages.children].forEach((one, n) => set(one, "aria-current", n === 1 ? "step" : null));
    put(lead, !first ? "" : leftMs > 0 ? say("cal.again_from", { at: clockTime(first.at), from: clockTime(first.from), span: lasting(leftMs) }) : say("cal.again_now", { at: clockTime(first.at) }));
    toggle(lead, first);
    if (first && !fields.confirm.element.isConnected) body.append(fields.confirm.element);
    if (!first && fields.confirm) fields.confirm.element.remove();
    send.disabled = isSending || (leftMs > 0 && !fields.confirm.isSet()); // sooner it would be the same moment twice
    const why = whyNot(form, "calibration");
    put(refused, why);
    toggle(refused, why);
    if (why) send.disabled = true;
    who.tell();
  }
  async function sent() {
    put(fault, "");
    if (!fields.reference.isSet()) return put(fault, say("cal.no_reference"));
    if (!fields.reference_u.isSet()) return put(fault, say("cal.no_u"));
    if (!(Number(fields.reference_u.said().text) > 0)) return put(fault, say("cal.zero_u"));
    if (who.lacks(fault)) return;
    if (!isConfirming) {
      isConfirming = true;
      return show();
    }
    const said = {
      point: ident, points: [{ reference: fields.reference.value() }], reference_u: fields.reference_u.value(),
      ...(fields.adjust.value() === false ? { adjust: false } : {}),
    };
    for (const key of ["instrument", "confirm"]) if (fields[key].isSet()) said[key] = fields[key].value();
    send.disabled = isSending = true;
    const { ok, body: answer, trouble } = await record("calibration", said, who.name());
    send.disabled = isSending = false;
    if (!ok) return put(fault, trouble);
    const said_of = () => titleOf("calibration", { point: ident });
    const title = said_of();
    note(answer.seq, said_of);
    if (answer.counts === false) {
      isConfirming = false;
      const { values = {} } = answer.why_not_msg || {};
      if (values.again) fields.reference.forget(); // a second comparison has a reading of its own; all else stays to be put right
      put(fault, say("cal.demand", { why: answer.why_not }));
      return show();
    }
    const more = await workedOut(answer.seq);
    forget();
    root.replaceChildren(donePage(title, answer, more ? [make("p", "done-why", more)] : []));
  }
  /** What the station made of it, by its entry. */
  async function workedOut(seq) {
    const { ok, body: found } = await ask(`/api/1/journal?after=${seq - 1}&limit=1`);
    const one = ok && found.entries[0] && found.entries[0].body;
    if (!one || typeof one.was !== "number") return "";
    const was = precisely(one.was, one.unit);
    return one.adjust === false ? say("cal.was_check", { was }) : say("cal.was", { was, becomes: precisely(one.becomes, one.unit) });
  }
  const forget = onChange(show);
  if (app.book.entries.size < 50) app.book.earlier().then(show);
  build();
  return { element: root, show, end: forget };
}

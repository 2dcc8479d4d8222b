// A record's form, made from what the server says of it: what it can't do without first, the rest behind more.

import { button, make, put } from "../dom.js";
import { entryText } from "../entries.js";
import { record, signing, whyNot } from "../people.js";
import { either, say } from "../say.js";
import { onChange } from "../session.js";
import { timeOf } from "../book.js";
import { clockTime, labelOf } from "../told.js";
import { donePage, note } from "./done.js";
import { headOf } from "./head.js";
import { choice, fieldOf, moment, text } from "./fields.js";
import { formOf, setup, titleOf } from "./wants.js";

// Two words for one thing are one field; the unit stands with its value; steps have a page of their own.
const LEFT_OUT = new Set(["unit", "step", "of_", "channel_ports", "checked", "failed"]);
const TWICE = { filter_change: ["filter"], outlet_test: ["of"] };
// What is asked at once though a form may do without it.
const AT_ONCE = {
  disinfectant_fill: ["expires", "litres", "opened"], disinfectant_top_up: ["litres", "stirred"], concentration_check: ["value"], hold: ["why", "basin"],
  release: ["name", "basin"], work_begins: ["what", "basin"], work_ends: ["basin"], equipment_change: ["what"], note: ["text"], service: ["duty", "passed", "value", "what"],
  water_path_treatment: ["contact_min", "rinsed", "drained", "residue_free"], filter_change: ["product"], entered_reading: ["point", "role", "value"],
};
const LATEST = 12;

/** The page: {element, show(), end()}. `keys`: what it is given already. */
export function recordForm(kind, keys, app) {
  const form = formOf(kind);
  const title = titleOf(kind, keys);
  const root = make("div", "doing form");
  const context = { plan: setup(), keys: { ...keys }, app, changed };
  const head = headOf(title);
  const first = make("div", "fields");
  const rest = make("div", "fields");
  const more = make("details", "more", make("summary", "", say("form.more")), rest);
  const fault = make("p", "who-fault");
  fault.setAttribute("role", "alert");
  const who = signing();
  const send = button("main big send", say("form.send"), sent);
  const refused = make("p", "may-not");
  root.append(head, make("section", "panel", make("p", "form-says", form.says), first, more), make("section", "panel send-bar", refused, who.element, fault, send));
  let fields = [];

  const atOnce = (key) => form.needs.some((group) => group.includes(key)) || (AT_ONCE[kind] || []).includes(key) || key in keys;
  function changed(key, value) {
    if (kind !== "entered_reading" && kind !== "service") return;
    if (value === undefined) delete context.keys[key];
    else context.keys[key] = value;
    if (key === "point") delete context.keys.role;
    if (key === "role") delete context.keys.point;
    build();
  }
  function build() {
    const before = new Map(fields.map((one) => [one.key, one]));
    fields = [];
    first.replaceChildren();
    rest.replaceChildren();
    const wanted = [...form.keys].sort((a, b) => order(a.key) - order(b.key));
    for (const one of wanted) {
      if (LEFT_OUT.has(one.key) || (TWICE[kind] || []).includes(one.key)) continue;
      const isKept = before.has(one.key) && !["value", "point", "role", "duty"].includes(one.key);
      const made = isKept ? before.get(one.key) : kind === "correction" && one.key === "of" ? ofRecord() : fieldOf(kind, one, context);
      if (made) add(made, atOnce(one.key));
    }
    if (kind !== "clock_confirmed") add(before.get("at") || moment("at"), true);
    if (kind !== "note") add(before.get("note") || text("note", { isLong: true }), false);
    more.hidden = !rest.children.length;
  }
  const order = (key) => {
    const at = (AT_ONCE[kind] || []).indexOf(key);
    return at >= 0 ? at : form.needs.some((group) => group.includes(key)) ? -1 : 100;
  };
  function add(made, isFirst) {
    fields.push(made);
    (isFirst ? first : rest).append(made.element);
  }
  /** Which record was a mistake: the latest that people made. */
  function ofRecord() {
    const taken = app.book.takenBack();
    const records = app.book.all().filter((e) => e.kind === "record" && e.body.record !== "correction" && !taken.has(e.seq)).slice(0, LATEST);
    return choice("of", records.map((e) => [e.seq, `${clockTime(timeOf(e))} · ${entryText(e)}`]), { help: records.length ? "" : say("form.none_read") });
  }

  /** What somebody is asked once, whether they mean it so. */
  const doubtOf = (body) => (kind === "release" && !body.name && !body.basin ? say("form.ends_all") : "");
  /** What is missing is said at its field, and goes once it is answered. */
  function lacking(group) {
    const keys = group.filter((key) => !(TWICE[kind] || []).includes(key));
    const made = fields.find((one) => keys.includes(one.key));
    put(fault, say("form.first", { what: either(keys.map(labelOf)) }));
    if (!made) return;
    made.element.append(fault);
    made.element.scrollIntoView({ block: "nearest" });
    const control = made.element.querySelector("button, input, textarea");
    if (control) control.focus({ preventScroll: true });
  }
  function answered() {
    put(fault, "");
    if (!fault.parentElement.classList.contains("send-bar")) send.before(fault);
    if (asked) put(send, say("form.send"));
    asked = "";
  }
  let asked = "";
  async function sent() {
    put(fault, "");
    send.before(fault);
    if (who.lacks(fault)) return;
    const body = {};
    for (const one of fields) if (one.isSet()) body[one.key] = one.value();
    const lacks = form.needs.find((group) => !group.some((key) => key in body));
    if (lacks) return lacking(lacks);
    const doubt = doubtOf(body);
    if (doubt && doubt !== asked) {
      asked = doubt;
      put(send, say("form.do_so"));
      return put(fault, doubt);
    }
    send.disabled = true;
    const { ok, body: answer, trouble } = await record(kind, body, who.name());
    send.disabled = false;
    if (!ok) return put(fault, trouble); // what was typed stays
    note(answer.seq, () => titleOf(kind, keys));
    forget();
    root.replaceChildren(donePage(title, answer));
  }
  const may = () => {
    const why = whyNot(form, kind);
    put(refused, why);
    refused.hidden = !why;
    send.disabled = Boolean(why);
    who.tell();
  };
  for (const place of [first, more]) for (const event of ["input", "click"]) place.addEventListener(event, answered);
  const forget = onChange(may);
  if (kind === "correction" && app.book.entries.size < 50) app.book.earlier().then(build);
  build();
  may();
  return { element: root, show() {}, end: forget };
}

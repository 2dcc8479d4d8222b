// What people do from this page: a record goes to the station, signed, and what the station answers is shown in its own words.

import { choose, chosen, signer } from "./device.js";
import { $, button, make, put } from "./dom.js";
import { ask, asked } from "./line.js";
import { either, say, small } from "./say.js";
import { isSigned, mustSign, onChange, session, write } from "./session.js";
import { known, recordName, sentence } from "./told.js";

const MOST_NAMES = 6;
const KEPT_MS = 30 * 86400e3; // a name that nobody signed with for so long is forgotten

/** {ok, body, trouble} of a record. */
export const acknowledge = (alarm, typed) => kept(write(asked(`/api/1/alarms/${encodeURIComponent(alarm)}/acknowledge`), {}, { typed, why: say("people.acknowledging") }), typed);
export const record = (kind, body, typed) => kept(write(asked("/api/1/records"), { record: kind, ...body }, { typed, why: sentence(recordName(kind)) }), typed);
async function kept(writing, typed) {
  const answer = await writing;
  if (answer.ok && !mustSign() && typed) remember(typed);
  return answer.ok || answer.trouble ? answer : { ...answer, trouble: say("people.lost") };
}

// -- the forms, and who may
let had = { path: "", forms: null };
/** The forms of all records in this language, {records, technician_shelves_min}; null where they can't be had. */
export function forms() {
  const path = asked("/api/1/forms");
  if (had.path !== path || !had.forms) {
    const asking = { path, forms: ask(path).then(({ ok, body }) => {
      if (!ok) asking.forms = null;
      return ok ? body : null;
    }) };
    had = asking;
  }
  return had.forms;
}
/** Why whoever is signed in may not make a record; "" where they may, or that isn't known. */
export function whyNot(form, kind) {
  const { role } = session();
  if (!form || !role || form.may.includes(role)) return "";
  return say(form.may.length ? "people.may" : "people.nobody_may", { role: sentence(roleName(role)), record: small(recordName(kind)), may: whoMay(form) });
}
/** The roles that may make a record. */
export const whoMay = (form) => either(form.may.map(roleName));
/** What a person's role is called. */
export const roleName = (role) => known("role", role);

// -- names that are typed, where nobody signs in
function names() {
  try {
    const found = JSON.parse(chosen("names", "[]"));
    return found.filter((one) => typeof one.name === "string" && Date.now() - one.at < KEPT_MS);
  } catch {
    return [];
  }
}
function remember(name) {
  signer(name);
  const rest = names().filter((one) => one.name.toLowerCase() !== name.toLowerCase());
  choose("names", JSON.stringify([{ name, at: Date.now() }, ...rest].slice(0, MOST_NAMES)));
}
/**
 * Who signs: {element, tell(), name(), lacks(fault), focus()}. Of whoever signs in nothing is typed; else a name, or a tap on one that signed here
 * lately. `lacks`: true where nobody has said who they are, which `fault` says then.
 */
export function signing() {
  const field = make("input", "who");
  Object.assign(field, { id: "who-name", name: "by", maxLength: 80, autocomplete: "off", spellcheck: false, value: signer() });
  field.setAttribute("autocapitalize", "words");
  field.addEventListener("keydown", (event) => { // in a dialog the form does so itself
    if (event.key === "Enter" && !field.form) element.parentElement?.querySelector(".send:enabled, .main:enabled")?.click();
  });
  const label = make("label", "", say("people.who"));
  label.htmlFor = "who-name";
  const recent = make("div", "recent");
  for (const { name } of names().filter((one) => one.name !== field.value)) {
    recent.append(button("recent-name", name, () => {
      field.value = name;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }));
  }
  const typed = make("div", "typed", label, recent, field);
  const signed = make("p", "signs");
  const element = make("div", "signing", typed, signed);
  const tell = () => {
    typed.hidden = mustSign();
    signed.hidden = !mustSign();
    put(signed, isSigned() ? say("people.signed_by", { name: session().name, role: roleName(session().role) }) : say("people.sign_in_first"));
  };
  tell();
  const name = () => (mustSign() ? "" : field.value.trim());
  const lacks = (fault) => {
    if (mustSign() || name()) return false;
    put(fault, say("people.say_who"));
    field.focus();
    return true;
  };
  return { element, tell, name, lacks, focus: () => field.focus() };
}

/**
 * Ask who does it, and do it. `wanted`: {title, text, why: label of a reason or null, must: the reason can't be left out, kind: which
 * record it is, choices: [{text, value, isMain}], send(value, typed, why)}; `send` gives what ask() gives.
 */
export function dialog(wanted) {
  const form = make("form", "who-form");
  form.noValidate = true;
  const heading = make("h2", "", wanted.title);
  heading.id = "who-heading";
  const who = signing();
  form.append(heading, make("p", "who-text", wanted.text), who.element);
  let why = null;
  if (wanted.why) {
    why = make("input", "why-text");
    Object.assign(why, { id: "who-why", name: "why", maxLength: 200, autocomplete: "off" });
    const label = make("label", "", wanted.why);
    label.htmlFor = "who-why";
    form.append(label, why);
  }
  const fault = make("p", "who-fault");
  fault.id = "who-fault";
  fault.setAttribute("role", "alert");
  const buttons = make("div", "buttons");
  const element = make("dialog", "ask", form);
  element.id = "who";
  element.setAttribute("aria-labelledby", "who-heading");
  const close = () => element.close();
  for (const choice of wanted.choices) {
    const one = make("button", choice.isMain ? "main" : "", choice.text);
    one.type = "submit";
    one.value = String(choice.value);
    buttons.append(one);
  }
  const sent = [...buttons.children];
  buttons.append(button("plain", say("people.cancel"), close));
  form.append(fault, buttons);
  let ruled = "";
  const may = async () => {
    who.tell();
    const all = await forms();
    const refused = all && whyNot(all.records[wanted.kind], wanted.kind);
    const most = wanted.kind === "shelve" && all && session().role === "technician" ? all.technician_shelves_min : Infinity;
    for (const one of sent) one.disabled = Boolean(refused) || Number(one.value) > most;
    const rule = refused || (most < Infinity ? say("people.shelves_most", { n: most }) : "");
    if (rule !== ruled) put(fault, (ruled = rule)); // what was said of something else meanwhile stays
  };
  const forget = onChange(may);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const choice = wanted.choices.find((one) => String(one.value) === (event.submitter && event.submitter.value)) || wanted.choices[0];
    if (who.lacks(fault)) return;
    const reason = why ? why.value.trim() : "";
    if (wanted.must && !reason) {
      put(fault, say("people.say_why"));
      return why.focus();
    }
    for (const one of sent) one.disabled = true;
    put(fault, "");
    const { ok, body, trouble } = await wanted.send(choice.value, who.name(), reason);
    for (const one of sent) one.disabled = false;
    if (!ok) return put(fault, trouble || say("people.lost"));
    if (body && body.counts === false) return put(fault, say("people.does_not_count", { why: body.why_not }));
    close();
  });
  const before = document.activeElement;
  element.addEventListener("close", () => {
    forget();
    element.remove();
    if (before && before.isConnected) before.focus();
  });
  $("dialogs").replaceChildren(element);
  element.showModal();
  if (mustSign()) (why || sent[0]).focus();
  else who.focus();
  may();
}

// What people do from this page: a record goes to the station, signed, and what the station answers is shown in its own words.

import { signer } from "./device.js";
import { $, button, make, part, put } from "./dom.js";
import { ask } from "./line.js";
import { say } from "./say.js";

/** What a record is signed with, or null where nobody has said who they are. */
export function attributed(form) {
  const by = part(form, "who").value.trim();
  return by ? { by } : null;
}
const post = (path, body) => ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
export const acknowledge = (alarm, signed) => post(`/api/1/alarms/${encodeURIComponent(alarm)}/acknowledge`, signed);
export const record = (kind, body, signed) => post("/api/1/records", { record: kind, ...body, ...signed });

/**
 * Ask who does it, and do it. `wanted`: {title, text, why: label of a reason or null, must: the reason can't be left out, choices:
 * [{text, value, isMain}], send(value, signed, why)}; `send` gives what ask() gives.
 */
export function dialog(wanted) {
  const form = make("form", "who-form");
  const heading = make("h2", "", wanted.title);
  heading.id = "who-heading";
  const name = make("input", "who");
  Object.assign(name, { id: "who-name", name: "by", maxLength: 80, required: true, autocomplete: "off", spellcheck: false, value: signer() });
  name.setAttribute("autocapitalize", "words");
  const label = make("label", "", say("people.who"));
  label.htmlFor = "who-name";
  form.append(heading, make("p", "who-text", wanted.text));
  if (wanted.why) {
    const why = make("input", "why-text");
    Object.assign(why, { id: "who-why", name: "why", maxLength: 200, required: Boolean(wanted.must), autocomplete: "off" });
    const whyLabel = make("label", "", wanted.why);
    whyLabel.htmlFor = "who-why";
    form.append(label, name, whyLabel, why);
  } else form.append(label, name);
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
  buttons.append(button("plain", say("people.cancel"), close));
  form.append(fault, buttons);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const choice = wanted.choices.find((one) => String(one.value) === (event.submitter && event.submitter.value)) || wanted.choices[0];
    const signed = attributed(form);
    if (!signed) return put(fault, say("people.say_who"));
    const sent = [...buttons.children].filter((one) => one.type === "submit");
    for (const one of sent) one.disabled = true;
    put(fault, "");
    const reason = wanted.why ? part(form, "why-text").value.trim() : "";
    const { ok, body, trouble } = await wanted.send(choice.value, signed, reason);
    for (const one of sent) one.disabled = false;
    if (!ok) return put(fault, trouble || say("people.lost"));
    signer(signed.by || "");
    if (body && body.counts === false) return put(fault, say("people.does_not_count", { why: body.why_not }));
    close();
  });
  const before = document.activeElement;
  element.addEventListener("close", () => {
    element.remove();
    if (before && before.isConnected) before.focus();
  });
  $("dialogs").replaceChildren(element);
  element.showModal();
  name.focus();
}

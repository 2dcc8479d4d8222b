// The first person: while nobody is set up, the code that the board shows makes one, whose own code is shown here, once.

import { button, make, part, put, section, show as toggle } from "./dom.js";
import { ask, sending } from "./line.js";
import { say } from "./say.js";

const SHOWN_MS = 600000; // for so long a code stands on a screen that everybody left
// {name, code} while it is shown: the view may be made anew, and nobody is told it again
let made = null;
let isDone = false;

/** A part of the view Station. `then`: called once somebody is set up. */
export function firstPanel(then) {
  const fault = make("p", "who-fault");
  fault.setAttribute("role", "alert");
  const [code, name] = [field("first-code", 40), field("first-name", 80)];
  const send = make("button", "main", say("first.make"));
  send.type = "submit";
  const form = make("form", "first-form", make("p", "quiet", say("first.says")), label(code, say("first.code")), code, label(name, say("first.name")), name, fault, send);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    send.disabled = true;
    put(fault, "");
    const sent = { code: code.value.trim(), name: name.value.trim() };
    const { ok, body, trouble } = await ask("/api/1/people/first", sending(sent));
    send.disabled = false;
    if (!ok || !body) return put(fault, trouble || say("first.lost"));
    [made, isDone] = [body, true];
    setTimeout(forget, SHOWN_MS);
    form.reset();
    showMade(panel);
    part(panel, "own-code").focus();
    then();
  });
  const own = make("p", "own-code");
  own.tabIndex = -1;
  const done = button("main", say("first.done"), () => {
    forget();
    showMade(panel);
  });
  const told = make("div", "first-made", make("p", "first-who"), own, make("p", "", say("first.once")), make("div", "buttons", button("", say("first.print"), () => print()), done));
  const panel = section("panel", "first", say("first.title"), make("details", "first-open", make("summary", "", say("first.open")), form), told);
  showMade(panel);
  return panel;
}
function forget() {
  made = null;
}
function field(id, maxLength) {
  const input = make("input");
  Object.assign(input, { id, maxLength, required: true, autocomplete: "off", spellcheck: false });
  return input;
}
function label(input, text) {
  const element = make("label", "", text);
  element.htmlFor = input.id;
  return element;
}
function showMade(panel) {
  toggle(part(panel, "first-open"), !made && !isDone);
  toggle(part(panel, "first-made"), made);
  put(part(panel, "first-who"), made ? say("first.made", { name: made.name }) : "");
  put(part(panel, "own-code"), made ? made.code : "");
}

/** Show it while nobody is set up at this station, and while a new code is to be read. */
export function showFirst(panel, station) {
  toggle(panel, made || (!isDone && station && station.people === "none"));
  if (!made && !part(panel, "first-made").hidden) showMade(panel);
}

// Signing in: the dialog with its own keypad, the scanner, and the sign in the header that tells who it is.

import { $, button, draw, make, markOf, part, put, set, show as toggle } from "./dom.js";
import { roleName } from "./people.js";
import { say } from "./say.js";
import { listen } from "./scan.js";
import { begin, endsSoonS, isSigned, mustSign, onChange, session, signIn, signOut, signsBy, watch } from "./session.js";

// The signs of a code, as the station makes it: no look-alikes. The station reads I and L as 1, O as 0.
const SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const LENGTH = 16;
const FORGOTTEN_MS = 60e3;
const plain = (text) => text.toUpperCase().replace(/[\s-]/g, "");

let open = null; // {element, done} while the dialog is there
const fault = (text) => open && put(part(open.element, "who-fault"), text);

/** Ask whoever is there to sign in. True once somebody has; `why`: what goes on then; `trouble`: what the station said. */
export function askToSign(why = "", trouble = "") {
  if (open) {
    if (trouble) fault(trouble);
    return open.promise;
  }
  const code = make("input");
  Object.assign(code, { id: "code", type: "password", maxLength: 64, autocomplete: "off", spellcheck: false, inputMode: "none" });
  const label = make("label", "", say("sign.code"));
  label.htmlFor = "code";
  const count = make("span", "code-count");
  const look = button("plain", "", () => shown(code.type === "password"));
  const shown = (is) => {
    code.type = is ? "text" : "password";
    put(look, say(is ? "sign.hide" : "sign.show"));
    set(look, "aria-pressed", String(is));
  };
  shown(false);
  const message = make("p", "who-fault");
  message.setAttribute("role", "alert");
  const send = make("button", "main", say("sign.title"));
  send.type = "submit";
  const counted = () => {
    const n = Math.min(plain(code.value).length, LENGTH);
    put(count, say("sign.count", { n, of: LENGTH }));
    send.disabled = n === 0 || isBusy || waits > performance.now();
  };
  let isBusy = false;
  let waits = 0;
  let forgets = 0;
  const changed = () => {
    put(message, "");
    counted();
    clearTimeout(forgets); // a code that nobody goes on with stays on no screen
    forgets = setTimeout(clear, FORGOTTEN_MS);
  };
  function clear() {
    code.value = "";
    shown(false);
    counted();
  }
  /** A sign at the caret: one that was wrong is put right, and the others stay. */
  const press = (sign) => {
    if (plain(code.value).length >= LENGTH) return;
    code.setRangeText(sign, code.selectionStart, code.selectionEnd, "end");
    changed();
    if (plain(code.value).length === LENGTH) form.requestSubmit();
  };
  const pad = make("div", "code-pad", ...[...SIGNS].map((sign) => button("key", sign, () => press(sign))));
  const back = button("key back", "⌫", () => {
    const end = code.selectionEnd;
    code.setRangeText("", code.selectionStart === end ? Math.max(0, end - 1) : code.selectionStart, end, "end");
    changed();
  });
  back.setAttribute("aria-label", say("sign.back"));
  pad.append(back);
  const heading = make("h2", "", say("sign.title"));
  heading.id = "sign-heading";
  const form = make("form", "sign-form", heading, make("p", "who-text", why ? say("sign.goes_on", { what: why }) : say("sign.why")),
    label, code, make("div", "code-told", count, look), message, pad, make("div", "buttons", send, button("plain", say("people.cancel"), () => element.close())));
  const element = make("dialog", "ask", form);
  element.id = "sign";
  element.setAttribute("aria-labelledby", "sign-heading");
  code.addEventListener("input", changed);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (isBusy || !plain(code.value)) return;
    isBusy = true;
    counted();
    await tried(code.value); // one that is refused stays, hidden, to be put right
    isBusy = false;
    counted();
  });
  async function tried(said) {
    const { ok, trouble: refused, waitS } = await signIn(said);
    if (ok) return element.close();
    put(message, refused);
    if (waitS) {
      waits = performance.now() + 1000 * waitS;
      setTimeout(counted, 1000 * waitS + 20);
    }
    code.focus();
  }
  const promise = new Promise((done) => {
    element.addEventListener("close", () => {
      clearTimeout(forgets);
      element.remove();
      open = null;
      done(isSigned());
    });
  });
  open = { element, promise, tried };
  put(message, trouble);
  counted();
  $("dialogs").append(element);
  element.showModal();
  code.focus();
  return promise;
}

/** What a scanner read: it signs in wherever the page is. */
async function scanned(code) {
  if (!mustSign() && session().people) return;
  if (open) return open.tried(code);
  strip(say("sign.busy"));
  const { ok, trouble } = await signIn(code);
  strip(ok ? "" : trouble);
}

// -- in the header
let stripped = "";
function strip(text) {
  stripped = text;
  showSign();
}
function makeChip() {
  const chip = button("signed", "", () => (isSigned() ? askToLeave() : askToSign()));
  chip.id = "signed";
  chip.append(markOf("person"), make("span", "signed-text", make("span", "signed-name"), make("span", "signed-more")));
  $("bar").append(chip);
  addEventListener("pointerdown", () => strip(""), true);
}
/** To be called each moment. */
export function showSign() {
  watch();
  const { people, name, role, over } = session();
  const chip = $("signed");
  toggle(chip, mustSign());
  const soon = endsSoonS();
  draw(part(chip, "mark"), isSigned() ? "person" : "key");
  put(part(chip, "signed-name"), people === "unreadable" ? say("sign.nobody_can") : isSigned() ? name : say("sign.title"));
  chip.classList.toggle("soon", soon !== null);
  chip.disabled = people === "unreadable";
  const called = isSigned() ? roleName(role) : "";
  put(part(chip, "signed-more"), soon !== null ? say("sign.ends", { n: soon }) : called);
  set(chip, "aria-label", !isSigned() ? null : soon === null ? say("sign.who", { name, role: called }) : say("sign.who_soon", { name, role: called, n: soon }));
  const text = stripped || (!isSigned() && over()) || "";
  if (!text) return $("sign-strip")?.remove();
  if (!$("sign-strip")) {
    const line = make("p", "sign-strip");
    line.id = "sign-strip";
    line.setAttribute("role", "alert");
    $("bar").after(line);
  }
  put($("sign-strip"), text);
}
function askToLeave() {
  const { name, role } = session();
  const heading = make("h2", "", name);
  heading.id = "leave-heading";
  const element = make("dialog", "ask", heading, make("p", "who-text", say("sign.signed_in", { role: roleName(role) })),
    make("div", "buttons",
      button("main leave", say("sign.out"), async () => {
        await signOut();
        element.close();
      }),
      button("plain", say("sign.stay"), () => element.close())));
  element.setAttribute("aria-labelledby", "leave-heading");
  element.addEventListener("close", () => element.remove());
  $("dialogs").append(element);
  element.showModal();
}

/** From now on the page knows who is there. */
export async function beginSigning(changed) {
  signsBy(askToSign);
  makeChip();
  showSign();
  onChange(() => {
    showSign();
    changed();
  });
  listen(scanned);
  await begin();
  showSign();
}

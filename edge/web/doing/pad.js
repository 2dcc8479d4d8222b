// Numbers by our own keypad, for gloves; a keyboard's keys do the same. A promise of {text, unit}, or null where it was left.

import { $, button, make, put } from "../dom.js";
import { figure, say, typedNumber } from "../say.js";
import { minds } from "../scan.js";
import { isoDay, nowMs } from "../told.js";
import { signOf } from "../units.js";

const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"];
const LONGEST = 12;

// How what is typed is written and when it is whole; a number may have a sign before it.
const MODES = {
  number: { shown: typedNumber, fault: (typed, wanted, unit) => {
    const value = Number(typed);
    if (!typed || !Number.isFinite(value)) return say("pad.number");
    const [low, high] = limits(wanted, unit);
    const told = (n) => `${figure(n)} ${signOf(unit)}`.trim();
    if (low !== undefined && value < low) return say("pad.least", { n: told(low) });
    return high !== undefined && value > high ? say("pad.most", { n: told(high) }) : "";
  } },
  date: { shown: (typed) => [typed.slice(0, 4), typed.slice(4, 6), typed.slice(6, 8)].filter(Boolean).join("-"), most: 8,
    fault: (typed, { withinDays, isWhole }) => {
      if (isWhole && typed.length !== 8) return say("pad.whole_date");
      if (typed.length !== 6 && typed.length !== 8) return say("pad.date");
      const [year, month, day] = [typed.slice(0, 4), typed.slice(4, 6), typed.slice(6) || "01"].map(Number);
      const first = new Date(Date.UTC(year, month - 1, day));
      if (year < 2000 || year > 2099 || first.getUTCMonth() !== month - 1 || first.getUTCDate() !== day) return say("pad.no_date");
      if (!withinDays) return "";
      const last = typed.length === 6 ? Date.UTC(year, month, 0) : first.getTime(); // of a month any of its days may be meant
      const [from, to] = withinDays.map((days) => Date.parse(`${isoDay(nowMs())}T00:00:00Z`) + days * 86400e3);
      const day10 = (ms) => new Date(ms).toISOString().slice(0, 10);
      if (last < from) return say("pad.not_before", { at: day10(from) });
      return first.getTime() > to ? say("pad.not_after", { at: day10(to) }) : "";
    } },
  time: { shown: (typed) => [typed.slice(0, 2), typed.slice(2, 4)].filter(Boolean).join(":"), most: 4,
    fault: (typed, { latest }) => {
      if (!/^([01]\d|2[0-3])[0-5]\d$/.test(typed)) return say("pad.time");
      return latest !== undefined && (Number(typed.slice(0, 2)) * 60 + Number(typed.slice(2))) * 60e3 > latest ? say("pad.to_come") : "";
    } },
};
/** Between what a number lies in this unit: [low, high], undefined where nothing is set. */
const limits = ({ bounds, low, high }, unit) => (bounds && bounds[unit]) || [low, high];

/** The focus goes back to the field, not to its button: a key that was meant for the keypad would open it again. Tab leads to the button. */
function giveBack(before) {
  const place = before && (before.closest(".field, .watch-head") || before);
  if (!place || !place.isConnected) return;
  if (place !== before) place.tabIndex = -1;
  place.focus();
}

/** `wanted`: {title, mode, unit, units, text, says, low, high; bounds: [low, high] by unit; withinDays: of a date, isWhole: with its day; latest: of a time [ms into the day]}. */
export function pad(wanted) {
  const mode = MODES[wanted.mode || "number"];
  const isNumber = !wanted.mode || wanted.mode === "number";
  let typed = isNumber ? wanted.text || "" : (wanted.text || "").replace(/\D/g, "");
  let isFresh = Boolean(typed); // the first key takes the place of what stood there
  let unit = wanted.unit || "";
  const isSigned = isNumber && [unit, ...(wanted.units || [])].some((one) => !(limits(wanted, one)[0] >= 0)); // in one of its units it can be below nought
  const shown = make("span", "pad-number");
  const sign = make("span", "pad-unit");
  const display = make("div", "pad-display", shown, sign);
  display.tabIndex = -1;
  display.setAttribute("role", "status");
  const fault = make("p", "who-fault");
  fault.setAttribute("role", "alert");
  const units = make("div", "choices");
  const heading = make("h2", "", wanted.title);
  heading.id = "pad-heading";
  const keys = make("div", "pad-keys");
  const element = make("dialog", "ask pad", heading, make("p", "who-text", wanted.says || ""), display, units, fault, keys);
  element.setAttribute("aria-labelledby", "pad-heading");
  const show = () => {
    put(shown, mode.shown(typed) || "–");
    put(sign, signOf(unit));
    for (const one of units.children) one.setAttribute("aria-pressed", String(one.dataset.unit === unit));
  };
  const press = (key) => {
    put(fault, "");
    if (key === "⌫") typed = typed.slice(0, -1);
    else if (key === "±") typed = typed.startsWith("-") ? typed.slice(1) : `-${typed}`;
    else if (isFresh) typed = key === "." ? "0." : key;
    else if (typed.length < (mode.most || LONGEST) && !(key === "." && (typed.includes(".") || !isNumber))) typed += key === "." && !typed ? "0." : key;
    isFresh = false;
    show();
  };
  return new Promise((done) => {
    let answer = null;
    const before = document.activeElement;
    const leave = () => {
      element.close();
      giveBack(before);
    };
    const take = () => {
      const wrong = mode.fault(typed, wanted, unit);
      if (wrong) return put(fault, wrong);
      answer = { text: isNumber ? typed : mode.shown(typed), unit };
      leave();
    };
    for (const key of KEYS) {
      if (key === "." && !isNumber) keys.append(make("span", ""));
      else {
        const one = button("key", typedNumber(key), () => press(key));
        if (key === "⌫") one.setAttribute("aria-label", say("pad.delete"));
        if (key === ".") one.setAttribute("aria-label", say("pad.decimal"));
        keys.append(one);
      }
    }
    if (isSigned) {
      const one = button("key", "±", () => press("±"));
      one.setAttribute("aria-label", say("pad.sign"));
      keys.append(one);
    }
    for (const one of wanted.units && wanted.units.length > 1 ? wanted.units : []) {
      const chip = button("chip-button", signOf(one), () => {
        unit = one;
        show();
      });
      chip.dataset.unit = one;
      units.append(chip);
    }
    element.append(make("div", "buttons", button("main pad-take", say("pad.take"), take), button("plain", say("people.cancel"), leave)));
    const forget = minds({ get value() {
      return typed;
    }, set(text) {
      typed = text;
      show();
    } });
    element.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const isElse = event.target.matches(".plain, .chip-button");
      const key = event.key === "," ? "." : event.key === "Backspace" ? "⌫" : event.key === "-" && isSigned ? "±" : event.key;
      if (event.key === "Enter" && !isElse) {
        event.preventDefault();
        take();
      } else if (KEYS.includes(key) || key === "±") {
        event.preventDefault();
        press(key);
      } else if (isNumber && (event.key === "-" || event.key === "\u2212")) {
        event.preventDefault();
        put(fault, mode.fault("-1", wanted, unit)); // dropped in silence it would be another number
      }
    });
    element.addEventListener("cancel", (event) => {
      event.preventDefault();
      leave();
    });
    element.addEventListener("close", () => {
      forget();
      element.remove();
      done(answer);
    });
    $("dialogs").append(element);
    show();
    element.showModal();
    display.focus();
  });
}

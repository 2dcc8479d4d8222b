// A time axis from now on: when it will be right (earliest, expected, latest), and until when it is still warm enough.

import { make, part, put, show as toggle } from "./dom.js";
import { say } from "./say.js";
import { clockTime, lasting, timeOfDay } from "./told.js";

const MINUTE = 60e3;
const STEPS = [5, 10, 15, 30, 60, 120, 180, 360, 720, 1440]; // minutes between two ticks
const TICK_PX = 80; // room for one tick's time
const HALF_PX = 28; // half of one
const MOST_TICKS = 8;

/** Where something lies on an axis, as a share of it. */
const share = (at, from, to) => Math.min(1, Math.max(0, (at - from) / (to - from)));
const percent = (n) => `${(n * 100).toFixed(2)}%`;

/** What an axis of `width` pixels reaches to, and its ticks, the first of them `clear` pixels behind now: {end, ticks}. The last of what
 * it shows lies well within it. */
export function scaleOf(now, last, width, clear) {
  const span = Math.max((last - now) * 1.12, 30 * MINUTE);
  const most = Math.min(MOST_TICKS, Math.max(2, Math.floor(width / TICK_PX)));
  const step = (STEPS.find((minutes) => span / (minutes * MINUTE) <= most) || STEPS.at(-1)) * MINUTE;
  const per = span / width;
  const ticks = [];
  for (let at = Math.ceil((now + per * clear) / step) * step; at <= now + span - per * HALF_PX; at += step) ticks.push(at);
  return { end: now + span, ticks };
}

function lay(element, low, high, from, to) {
  const left = share(low, from, to);
  element.style.left = percent(left);
  element.style.width = percent(share(high, from, to) - left);
}

export const horizon = {
  make() {
    const lane = make("div", "lane", make("span", "band ready"), make("span", "band warm"), make("span", "pin ready"), make("span", "pin warm"));
    const element = make("div", "horizon", lane, make("div", "ticks"));
    element.setAttribute("role", "img");
    return element;
  },
  /** `data`: {now, ready, warm}, each of the latter {at, low, high} or null; without both there is no axis. */
  show(element, data) {
    const marks = data ? [data.ready, data.warm].filter(Boolean) : [];
    toggle(element, marks.length > 0);
    if (!marks.length) return;
    const list = part(element, "ticks");
    if (!list.children.length) list.append(make("span", "tick"));
    put(list.firstChild, say("horizon.now"));
    const last = Math.max(...marks.map((one) => Date.parse(one.high || one.at)));
    const clear = Math.max(0.95 * TICK_PX, list.firstChild.offsetWidth + HALF_PX + 8);
    const { end, ticks } = scaleOf(data.now, last, element.clientWidth || 600, clear);
    for (const name of ["ready", "warm"]) {
      const one = data[name];
      const band = element.querySelector(`.band.${name}`);
      const pin = element.querySelector(`.pin.${name}`);
      toggle(band, one && one.low && one.high);
      toggle(pin, one);
      if (!one) continue;
      if (one.low && one.high) lay(band, Date.parse(one.low), Date.parse(one.high), data.now, end);
      pin.style.left = percent(share(Date.parse(one.at), data.now, end));
    }
    while (list.children.length > ticks.length + 1) list.lastChild.remove();
    while (list.children.length <= ticks.length) list.append(make("span", "tick"));
    ticks.forEach((at, n) => {
      put(list.children[n + 1], timeOfDay(at));
      list.children[n + 1].style.left = percent(share(at, data.now, end));
    });
    element.setAttribute("aria-label", marks.map((one) => say(one === data.ready ? "horizon.ready" : "horizon.warm", { at: clockTime(one.at), span: lasting(Date.parse(one.at) - data.now) })).join("; "));
  },
  bar() {
    const element = make("span", "bar", make("span", "bar-range"), make("span", "bar-pin"));
    element.setAttribute("aria-hidden", "true");
    return element;
  },
  /** `data`: {value, low, high, most}; null: nothing is known. */
  showBar(element, data) {
    element.classList.toggle("unknown", !data);
    const [range, pin] = element.children;
    toggle(range, data && typeof data.low === "number");
    toggle(pin, data);
    if (!data) return;
    pin.style.left = percent(share(data.value, 0, data.most));
    if (typeof data.low === "number") lay(range, data.low, data.high ?? data.most, 0, data.most);
  },
};

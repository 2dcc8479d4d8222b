// What a trend says without being seen: its range, when it crossed the line, and the shape of what is foreseen.

import { say } from "./say.js";
import { because, clockTime, sentence } from "./told.js";

export const together = (parts) => parts.filter(Boolean).join(" ");

const inView = (stretch, view) => [Math.max(0, Math.floor((view.from - stretch.from) / stretch.width)), Math.min(stretch.n, Math.ceil((view.to - stretch.from) / stretch.width))];

/** "reservoir: 24.1 °C to 39.9 °C; no readings for 12 % of the time." */
export function extremesOf(point, stretch, view, shown, name) {
  if (!point) return "";
  const [first, last] = inView(stretch, view);
  let [low, high, count, lacking, unsure] = [Infinity, -Infinity, 0, 0, 0];
  for (let n = first; n < last && stretch.from + n * stretch.width < view.now; n += 1) {
    count += 1;
    if (point.mean[n] === null) lacking += 1;
    else [low, high] = [Math.min(low, point.min[n]), Math.max(high, point.max[n])];
    if (point.quality[n] === "u" || (point.quality[n] === "b" && point.mean[n] !== null)) unsure += 1;
  }
  if (!count) return "";
  const share = (part) => Math.max(1, Math.round((100 * part) / count));
  const told = low > high ? [say("trends.no_readings_here")] : [say("now.range", { low: shown(low), high: shown(high) })];
  if (lacking && low <= high) told.push(say("trends.lacking", { n: Math.min(99, share(lacking)) }));
  if (unsure) told.push(say("trends.unsure_for", { n: share(unsure) }));
  return `${sentence(name ? because(name, told.join(", ")) : told.join(", "))}.`;
}

/** When the mean last came over the line, or fell under it. */
export function crossingOf(point, stretch, view, line, shown) {
  if (!point) return "";
  const [first, last] = inView(stretch, view);
  for (let n = last - 1; n > first; n -= 1) {
    const [before, after] = [point.mean[n - 1], point.mean[n]];
    if (before === null || after === null || before >= line === after >= line) continue;
    return say(after >= line ? "trends.rose" : "trends.fell", { line: shown(line), at: clockTime(stretch.from + n * stretch.width) });
  }
  return "";
}

/** The wedge from a value now to a line that it is expected to reach between two times: [{at, low, high}]. */
export function foreseenTo(now, value, line, when) {
  const time = (one) => (typeof one === "number" ? one : Date.parse(one));
  const early = Math.max(time(when.low ?? when.value), now + 1);
  const late = Math.max(time(when.high ?? when.value), early);
  const slow = late > early ? value + ((line - value) * (early - now)) / (late - now) : line;
  return [{ at: now, low: value, high: value }, { at: early, low: Math.min(slow, line), high: Math.max(slow, line) }, { at: late, low: line, high: line }];
}

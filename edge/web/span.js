// A stretch of time that is looked at: moved, widened, followed by now; the width of its buckets; and the ticks of its axis.

import { atHour, dayShort, isFirstOfMonth, monthName, nextDay, startOfDay, timeOfDay } from "./told.js";

const MINUTE = 60e3;
const HOUR = 3600e3;
const DAY = 24 * HOUR;
/** What can be chosen; its words are `range.<name>`. */
export const RANGES = { hour: HOUR, six_hours: 6 * HOUR, day: DAY, week: 7 * DAY, month: 30 * DAY, year: 365 * DAY };
const SHORTEST = 5 * MINUTE;
const LONGEST = 400 * DAY;
const AHEAD = [0.05, 0.4]; // share of a window beyond now, while it follows now: at least, and for a forecast at most

/** Where it lies is either followed from now (`end` null), or stays. All in ms. */
export class Span {
  constructor(length = 6 * HOUR) {
    this.length = length;
    this.end = null;
  }
  get isLive() {
    return this.end === null;
  }
  /** {from, to}; `until`: the time up to which something is foreseen, or null. */
  at(now, until = null) {
    const wanted = until === null ? 0 : ((until - now) / this.length) * 1.12;
    const ahead = wanted > AHEAD[0] && wanted <= AHEAD[1] ? wanted : AHEAD[0];
    const to = this.isLive ? now + ahead * this.length : this.end;
    return { from: to - this.length, to };
  }
  /** By a share of its length; what reaches now follows it again. */
  move(share, now, seen) {
    const to = Math.max(seen.to + share * this.length, this.length);
    this.end = to >= now + AHEAD[0] * this.length && share > 0 ? null : to;
  }
  /** Longer or shorter by a factor; the instant `about` stays where it is seen. */
  zoom(factor, about, seen) {
    const length = Math.min(LONGEST, Math.max(SHORTEST, this.length * factor));
    const share = (about - seen.from) / this.length;
    if (!this.isLive) this.end = about - share * length + length;
    this.length = length;
  }
}

// -- buckets
const WIDTHS = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800].map((s) => s * 1000);
const PX = 2.5; // a bucket is at least so wide on the screen
const MOST = 480;

/** The width of buckets [ms] for a length of time on so many pixels: each can be seen, and there are few. */
export function bucketWidth(length, px) {
  const most = Math.min(MOST, Math.max(60, px / PX));
  return WIDTHS.find((width) => length / width <= most) || WIDTHS.at(-1);
}

// -- ticks
const MINUTES = [1, 2, 5, 10, 15, 30];
const HOURS = [1, 2, 3, 6, 12];
const DAYS = [1, 2, 7, 14];

/** Ticks of an axis by the station's clock: [{at, text, isDay}]; one for each `room` of its width at most. */
export function ticksOf(from, to, room) {
  const least = (to - from) * room;
  const minutes = MINUTES.find((n) => n * MINUTE >= least);
  if (minutes) return regular(from, to, minutes * MINUTE);
  const hours = HOURS.find((n) => n * HOUR >= least);
  const days = DAYS.find((n) => n * DAY >= least);
  const ticks = [];
  let n = 0;
  for (let day = startOfDay(from); day <= to; day = nextDay(day), n += 1) {
    if (hours) {
      for (let hour = 0; hour < 24; hour += hours) put(ticks, from, to, hour ? atHour(day, hour) : day, hour === 0);
    } else if (days ? numberOf(day) % days === 0 : isFirstOfMonth(day)) put(ticks, from, to, day, true, !days);
  }
  if (hours || days) return ticks;
  const every = Math.ceil((least * ticks.length) / (to - from)); // months
  return ticks.filter((_, at) => at % Math.max(1, every) === 0);
}
function regular(from, to, step) {
  const ticks = [];
  const day = startOfDay(from);
  for (let at = day + Math.ceil((from - day) / step) * step; at <= to; at += step) put(ticks, from, to, at, at === startOfDay(at));
  return ticks;
}
const numberOf = (day) => Math.round(day / DAY);
function put(ticks, from, to, at, isDay, isMonth) {
  if (at < from || at > to) return;
  ticks.push({ at, isDay, text: isMonth ? monthName(at) : isDay ? dayShort(at) : timeOfDay(at).slice(0, 5) });
}

/** Numbers between two values, rounded as people count: at most `most`. */
export function stepsOf(low, high, most) {
  const rough = (high - low) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((one) => one >= rough);
  const found = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + step * 1e-9; n += 1) found.push(Number((n * step).toPrecision(12)));
  return found;
}

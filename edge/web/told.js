// How things are said: times in the station's zone, ages, and the words that the station hands out with what it says of itself.

import { figure, has, rules, say, small } from "./say.js";

let station = null;
let points = {}; // of the newest picture
let newest = null; // time of the newest picture: what "today" is

/** From now on, times and words are this station's. */
export function ofStation(about) {
  station = about;
}
export function itIs(at, of) {
  newest = at;
  points = of || points;
}
export const zone = () => (station && station.timezone) || "UTC";
export const speed = () => (station && station.speed) || 1;
export const stationName = () => (station && (station.title || station.station)) || "Warmwell";
/** The station's time now, in ms: of its newest picture, else this device's. */
export const nowMs = () => (newest ? Date.parse(newest) : Date.now());

// -- times
const RECKONED = "en-GB"; // by these rules times are told apart, whoever looks on
const formats = new Map();
function local(when, options, by = rules()) {
  const key = by + zone() + JSON.stringify(options);
  try {
    if (!formats.has(key)) formats.set(key, new Intl.DateTimeFormat(by, { timeZone: zone(), ...options }));
    return formats.get(key).format(new Date(when));
  } catch {
    return String(when);
  }
}
const A_DAY = { year: "numeric", month: "2-digit", day: "2-digit" };
const TO_THE_MINUTE = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
const TO_THE_SECOND = { ...TO_THE_MINUTE, second: "2-digit" };
const shownAt = (ms) => local(ms, { ...A_DAY, ...TO_THE_SECOND }, RECKONED);

/** Which day it is: for comparing, not for reading. */
export const dayOf = (when) => local(when, A_DAY, RECKONED);
const yearOf = (when) => local(when, { year: "numeric" }, RECKONED);
/** "Mon 16 Mar"; of another year than now with it. */
export const dayName = (when) => local(when, { weekday: "short", day: "numeric", month: "short" }) + (yearOf(when) === yearOf(nowMs()) ? "" : ` ${yearOf(when)}`);
/** "16 Mar" */
export const dayShort = (when) => local(when, { day: "numeric", month: "short" });
/** "Mar", and of January its year. */
export const monthName = (when) => (local(when, { month: "numeric" }, RECKONED) === "1" ? local(when, { year: "numeric" }) : local(when, { month: "short" }));
export const isFirstOfMonth = (when) => local(when, { day: "numeric" }, RECKONED) === "1";
/** "Monday 16 March" */
export const dayLong = (when) => local(when, { weekday: "long", day: "numeric", month: "long" });
/** "Monday 16 March 2026" */
export const dayTitle = (when) => local(when, { weekday: "long", day: "numeric", month: "long", year: "numeric" });
/** "March 2026" of "2026-03", "January to March 2026" of "2026-Q1". */
export function periodTitle(name) {
  const [year, of] = name.split("-");
  const month = (n, options) => new Intl.DateTimeFormat(rules(), { timeZone: "UTC", ...options }).format(Date.UTC(Number(year), n - 1, 15));
  if (!of.startsWith("Q")) return month(Number(of), { month: "long", year: "numeric" });
  const last = 3 * Number(of.slice(1));
  return say("now.range", { low: month(last - 2, { month: "long" }), high: month(last, { month: "long", year: "numeric" }) });
}
/** Its date and time to the second, as digits. */
export const stamped = (when) => `${local(when, A_DAY)} ${local(when, TO_THE_SECOND)}`;
/** "2026-03-16", as labels have it. */
export const isoDay = (when) => local(when, A_DAY, "sv-SE");
export const isToday = (when) => dayOf(when) === dayOf(nowMs());

// Clocks that are set back show an hour (in one zone half of one) a second time: then it is said with its offset.
function comesTwice(when) {
  const ms = new Date(when).getTime();
  return [-3600e3, -1800e3, 1800e3, 3600e3].some((apart) => shownAt(ms + apart) === shownAt(ms));
}
/** The time of day alone. */
export function timeOfDay(when, seconds) {
  return local(when, { ...(seconds ? TO_THE_SECOND : TO_THE_MINUTE), ...(comesTwice(when) ? { timeZoneName: "shortOffset" } : {}) });
}
/** The time of day, with its day where that isn't today. */
export function clockTime(when, seconds) {
  return (isToday(when) ? "" : dayName(when) + " ") + timeOfDay(when, seconds);
}
const into = (at) => local(at, TO_THE_SECOND, RECKONED).split(":").reduce((sum, n) => sum * 60 + Number(n), 0) * 1000; // ms into the day
/** The instant [ms] at which the station's day of `ms` began. */
export function startOfDay(ms) {
  const guess = Math.floor(ms / 1000) * 1000 - into(ms);
  const off = into(guess); // not 0 where the clock was set in between
  return off === 0 ? guess : dayOf(guess) === dayOf(ms) ? guess - off : guess + 86400e3 - off;
}
/** The instant at which the next day begins; a day has 23 to 25 hours. */
export const nextDay = (ms) => startOfDay(startOfDay(ms) + 26 * 3600e3);
/** The instant at which the station's clocks show this hour, on the day that begins at `start`. */
export function atHour(start, hour) {
  const guess = start + hour * 3600e3;
  return guess + hour * 3600e3 - into(guess); // other than the guess where the clocks were set in between
}

// -- spans
/** "7 s", "12 min", "1.5 h", "3 d": how old something is. */
export function age(s) {
  if (s === null || s === undefined || !Number.isFinite(s)) return say("age.never");
  if (s < 60) return say("age.s", { n: Math.round(s) });
  if (s < 5400) return say("age.min", { n: Math.round(s / 60) });
  return s < 172800 ? say("age.h", { n: figure(s / 3600, 1) }) : say("age.d", { n: Math.round(s / 86400) });
}
/** "12 min", "1 h 52 min", "3 days": how long something takes. */
export function lasting(ms) {
  const minutes = Math.round(Math.abs(ms) / 60e3);
  if (minutes < 1) return say("span.short");
  if (minutes < 60) return say("age.min", { n: minutes });
  if (minutes < 48 * 60) return say(minutes % 60 ? "span.h_min" : "span.h", { h: Math.floor(minutes / 60), min: minutes % 60 });
  return say("span.d", { n: Math.round(minutes / 1440) });
}

// -- words
export const words = (id) => String(id).replaceAll("_", " ");
/** "Bus bench: the port is gone"; what stands behind the colon may be missing. */
export const because = (what, why) => (why ? say("name.colon", { what, of: why }) : what);
/** The page's own word for one of a kind (`kind.draw`); of one that is new to it, what it is called outside. */
export const known = (table, id) => (has(`${table}.${id}`) ? say(`${table}.${id}`) : words(id));
/** What a key of a record is called, within a sentence and on a form. */
export const keyName = (key) => known("key", key);
export const labelOf = (key) => (has(`label.${key}`) ? say(`label.${key}`) : sentence(keyName(key)));
export const sentence = (text) => (text ? text[0].toLocaleUpperCase(rules()) + text.slice(1) : "");
/** What a table of the station's words says of an id; null where it has none. */
export function titled(table, id) {
  const titles = (station && station.words && station.words[table]) || {};
  return Object.hasOwn(titles, id) ? titles[id] : null;
}
function named(table, id, together = "name.of") {
  const [base, ...rest] = String(id).split(":");
  const what = titled(table, base) || words(base);
  return rest.length ? say(together, { what, of: words(rest.join(" ")) }) : what;
}
// of several basins each has these for itself; what stands behind ":" of the others is a filter or an outlet
export const conditionName = (id) => named("conditions", id, /^(free|no_hold|daily_test):/.test(id) ? "name.of_basin" : "name.of");
export const stateName = (state) => named("condition_states", state);
/** What an alarm is called; of a duty also which, by the record that does it. */
export function alarmName(id) {
  const [base, duty, ...of] = String(id).split(":");
  if (base !== "duty_due" || !duty) return named("alarms", id, "name.colon");
  const what = small(titled("records", duty)) || known("duty", duty);
  return because(named("alarms", base), of.length ? say("name.of", { what, of: words(of.join(" ")) }) : what);
}
export const alarmState = (state) => named("alarm_states", state);
export const phaseName = (phase) => named("phases", phase);
/** Why a reading is bad. */
export const reasonName = (reason) => named("reasons", reason);
export const priorityName = (priority) => named("priorities", priority);
export const recordName = (record) => named("records", record);
/** The big word for a display word; before the station has said any words, the page's own that it can't be told. */
export const displayName = (display) => titled("displays", display) || say(display === "cant_tell" ? "unheard.cant_tell" : "unheard.not_ready");
/** The same for a verdict's word. */
export const verdictName = (verdict) => titled("displays", verdict === "unknown" ? "cant_tell" : verdict) || words(verdict);
export const contactWords = (role) => titled("contacts", role);
export const pointName = (point) => (point.of ? say("name.point_of", { what: named("roles", point.role), of: words(point.of) }) : named("roles", point.role));
/** An item of the commissioning list by its id. */
export const itemCalled = (id) => (station && station.items && station.items[id]) || words(id);
/** A point by its id alone, as a record has it. */
export const pointCalled = (id) => (points[id] ? `${pointName(points[id])} (${id})` : words(id));

export const PRIORITIES = ["high", "medium", "low"];
/** 0 for the most urgent. */
export const rank = (priority) => (PRIORITIES.includes(priority) ? PRIORITIES.indexOf(priority) : PRIORITIES.length);
export const wantsAnswer = (alarm) => /unacknowledged$/.test(alarm.state);

// What the verdict says to people: its word, what to do first, why, and when. The station decides; this only puts it in order.

import { say } from "./say.js";
import { alarmName, clockTime, conditionName, displayName, lasting, nowMs, phaseName, sentence, stateName, titled } from "./told.js";

// the display words; each has a mark of its name
const SHOWN = ["ready", "in_use", "reheating", "at_rest", "not_ready", "cant_tell"];
const WHY_SHOWN = 3;
export const isMet = (condition) => condition.state === "met" || condition.state === "by_eye";

/** The place of a record's form, with what it is given. */
export const placeOf = (record, keys = {}) => `#do/${record}${Object.keys(keys).length ? `?${new URLSearchParams(keys)}` : ""}`;
/** What people must do, the most urgent first, as the station puts it: {text, at, answers: the records that answer it, place: of the first}. */
function tasksOf({ verdict }) {
  return (verdict.waits_for || []).map((text, at) => {
    const answers = (verdict.answers || [])[at] || [];
    return { text, at, answers, place: answers.length ? placeOf(answers[0].record, answers[0].keys) : null };
  });
}

/** {word, title, under, mark} of a verdict, of the station or of a basin. */
export function shownOf({ display, verdict }) {
  const word = SHOWN.includes(display) ? display : verdict === "ready" ? "ready" : "cant_tell";
  const isUnsure = word === "cant_tell";
  return { word, title: displayName(isUnsure ? "not_ready" : word), under: isUnsure ? displayName(word) : "", mark: word };
}

/** What is shown of the newest picture, or that there is none: {word, title, under, mark, tasks, why, more, when, isAct}. */
export function verdictOf(line) {
  if (line.isLost) return { ...shownOf({ display: "cant_tell" }), isLost: true, tasks: [], why: [], more: 0, when: null, isAct: true };
  const verdict = line.news.verdict;
  const shown = shownOf(verdict);
  const { word } = shown;
  const tasks = tasksOf(line.news);
  const isCalm = word !== "cant_tell" && (word !== "not_ready" || tasks.length === 0);
  const open = (verdict.conditions || []).filter((condition) => !isMet(condition));
  open.sort((a, b) => (a.state === "unmet" ? 0 : 1) - (b.state === "unmet" ? 0 : 1));
  return {
    ...shown, isLost: false, isAct: !isCalm,
    mark: word === "not_ready" && isCalm ? "waiting" : shown.mark,
    tasks,
    why: open.slice(0, WHY_SHOWN).map((condition) => ({ name: conditionName(condition.id), text: condition.text || stateName(condition.state) })),
    more: Math.max(0, open.length - WHY_SHOWN),
    all: open.length === 0 ? whyReady(verdict) : "",
    when: whenOf(word, verdict, tasks),
  };
}
const whyReady = (verdict) => (titled("phases", verdict.phase) ? say("verdict.all_met_phase", { phase: phaseName(verdict.phase) }) : say("verdict.all_met"));
/** ", between 07:35 and 07:58"; "" where it isn't known. */
export const betweenOf = (low, high) => (low && high ? say("verdict.between", { low: clockTime(low), high: clockTime(high) }) : "");

function whenOf(word, verdict, tasks) {
  if (word === "ready") return null;
  if (!verdict.expected_at) return { text: say(word === "at_rest" ? "verdict.outside_hours" : "verdict.when_unknown") };
  const label = say(["in_use", "reheating"].includes(word) ? "verdict.ready_again" : "verdict.ready");
  const span = lasting(Date.parse(verdict.expected_at) - nowMs());
  const [range, once] = [betweenOf(verdict.earliest, verdict.latest), tasks.length > 0 ? say("verdict.once_done") : ""];
  return {
    at: verdict.expected_at, low: verdict.earliest, high: verdict.latest, label,
    text: say("verdict.when", { label: sentence(label), at: clockTime(verdict.expected_at), span, range, once }),
  };
}

/** For how long the reservoir stays warm enough, where that can be said: {at, low, high}. */
export function warmUntil(news) {
  const found = news.estimates && news.estimates.reservoir_below_needed;
  return found && found.value ? { at: found.value, low: found.low, high: found.high } : null;
}

// Conditions and points that are about one thing: role -> the condition that goes by it.
const JUDGED_BY = {
  reservoir_temperature: () => "reservoir", supply_pressure: () => "pressure", supply_flow: () => "flow", leak: () => "no_leak",
  outlet_protection: (point) => `outlet:${point.of || point.id}`,
};
const ABOUT_HEARING = /^(silent|bus_lost|duty_due):/;

function conditionOf(point, news) {
  const ident = JUDGED_BY[point.role] && JUDGED_BY[point.role](point);
  return (news.verdict.conditions || []).find((condition) => condition.id === ident);
}
/** Whether what a point lacks comes by itself, such as warmth. */
export function mendsItself(point, news) {
  const condition = conditionOf(point, news);
  return Boolean(condition && condition.state === "unmet" && condition.expected_at);
}

/** What is wrong with what a point reads though it is read well: a sentence; "" where nothing is. */
export function beyondOf(point, news) {
  const alarm = Object.values(news.alarms).find((a) => a.point === point.id && a.active && !ABOUT_HEARING.test(a.id));
  if (alarm) return alarmName(alarm.id);
  const condition = conditionOf(point, news);
  return condition && condition.state === "unmet" ? say("verdict.not_as_needed", { why: condition.text }) : "";
}

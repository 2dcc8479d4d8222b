// What the verdict says to people: its word, what to do first, why, and when. The station decides; this only puts it in order.

import { alarmName, clockTime, conditionName, lasting, nowMs, phaseName, sentence, stateName, titled } from "./told.js";

// display word -> the big word, what stands under it, its mark
const SHOWN = {
  ready: { title: "READY", mark: "ready" },
  in_use: { title: "IN USE", mark: "in_use" },
  reheating: { title: "REHEATING", mark: "reheating" },
  at_rest: { title: "AT REST", mark: "at_rest" },
  not_ready: { title: "NOT READY", mark: "not_ready" },
  cant_tell: { title: "NOT READY", under: "CAN'T TELL", mark: "cant_tell" },
};
const WHY_SHOWN = 3;
export const isMet = (condition) => condition.state === "met" || condition.state === "by_eye";

/** What an alarm is about: of a duty's which duty, else what stands before what it is one of. */
function aboutOf(id) {
  const [base, ...rest] = id.split(":");
  return base === "duty_due" ? rest.join(":") : base;
}

/** What people must do, the most urgent first, as the station puts it: {text, at}. */
const tasksOf = (news) => (news.verdict.waits_for || []).map((text, at) => ({ text, at }));

/** {word, title, under, mark} of a verdict, of the station or of a basin. */
export function shownOf({ display, verdict }) {
  const word = Object.hasOwn(SHOWN, display) ? display : verdict === "ready" ? "ready" : "cant_tell";
  return { ...SHOWN[word], word };
}

/** What is shown of the newest picture, or that there is none: {word, title, under, mark, tasks, why, more, when, isAct}. */
export function verdictOf(line) {
  if (line.isLost) return { ...SHOWN.cant_tell, word: "cant_tell", isLost: true, tasks: [], why: [], more: 0, when: null, isAct: true };
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
const whyReady = (verdict) =>
  `All conditions are met.${titled("phases", verdict.phase) ? ` The station is ${phaseName(verdict.phase)}.` : ""}`;

const LABELS = { not_ready: "ready about", cant_tell: "ready about", in_use: "ready again about", reheating: "ready again about", at_rest: "ready about" };

function whenOf(word, verdict, tasks) {
  if (word === "ready") return null;
  if (!verdict.expected_at) return { text: word === "at_rest" ? "Outside its hours." : "When it will be right is not known." };
  const range = verdict.earliest && verdict.latest ? `, between ${clockTime(verdict.earliest)} and ${clockTime(verdict.latest)}` : "";
  const rest = tasks.length > 0 ? ", once what is listed here is done" : "";
  return {
    at: verdict.expected_at, low: verdict.earliest, high: verdict.latest, label: LABELS[word],
    text: `${sentence(LABELS[word])} ${clockTime(verdict.expected_at)} (in ${lasting(Date.parse(verdict.expected_at) - nowMs())})${range}${rest}.`,
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
  return condition && condition.state === "unmet" ? `not as READY needs it: ${condition.text}` : "";
}

// The journal's entries in words.

import { alarmName, alarmState, clockTime, conditionName, lasting, phaseName, sentence, words } from "./told.js";
import { quantity } from "./units.js";

/** Groups of kinds, as a reader looks for them. */
export const GROUPS = {
  alarms: { title: "Alarms", kinds: ["alarm", "told", "untold"] },
  verdicts: { title: "Verdicts", kinds: ["verdict"] },
  people: { title: "What people did", kinds: ["record"] },
  process: { title: "Water and warmth", kinds: ["phase", "draw", "heat_up", "cool_down", "filter_day", "transfer", "power"] },
};
const GROUPED = Object.values(GROUPS).flatMap((group) => group.kinds);
export const OTHERS = { title: "The station itself" };
export const groupOf = (kind) => (GROUPED.includes(kind) ? Object.keys(GROUPS).find((name) => GROUPS[name].kinds.includes(kind)) : "others");

export const VERDICTS = { ready: "READY", not_ready: "NOT READY", unknown: "CAN'T TELL" };
const KINDS = {
  settings: "settings", settings_refused: "settings refused", clock_step: "clock", filter_day: "filter's day", heat_up: "heat-up",
  cool_down: "cool-down", duty_dropped: "duty dropped", untold: "not told",
};
export const kindName = (kind) => KINDS[kind] || words(kind);

const span = (b) => lasting(b.duration_s * 1000);
const some = (...parts) => parts.filter(Boolean).join(" · ");
const warmth = (b) => `${quantity(b.from_c, "Cel")} to ${quantity(b.to_c, "Cel")} in ${span(b)}, room ${quantity(b.room_c, "Cel")}`;

const WHY_SHOWN = 4;
/** The first reasons; each begins with its condition's id. */
function whyOf(why) {
  const told = why.slice(0, WHY_SHOWN).map((text) => {
    const id = text.split(": ")[0];
    return /^[a-z_]+(:[\w-]+)?$/.test(id) ? conditionName(id) + text.slice(id.length) : text;
  });
  return why.length > WHY_SHOWN ? [...told, `and ${why.length - WHY_SHOWN} more`] : told;
}

// Kinds whose bodies are worth a sentence of their own; each takes the body.
const TEXTS = {
  alarm: (b) => some(`${alarmName(b.id)}: ${alarmState(b.to)}${b.by ? ` by ${b.by}` : ""}`, b.again ? `announced again, ${b.again} times by now` : "", b.why, b.cause),
  verdict: (b) => some(VERDICTS[b.to] || words(b.to || b.verdict || ""), ...Object.entries(b.basins || {}).map(([id, word]) => `${id}: ${VERDICTS[word] || words(word)}`), ...whyOf(b.why || [])),
  phase: (b) => `${b.from ? `${phaseName(b.from)} → ` : ""}${phaseName(b.to || "")}`,
  draw: (b) => some(`${quantity(b.volume_l, "L")} in ${span(b)}`, b.flow_l_min === null ? "" : quantity(b.flow_l_min, "L/min"),
    b.supply_kpa === null ? "" : `supply ${quantity(b.supply_kpa, "kPa")}`),
  heat_up: warmth,
  cool_down: warmth,
  filter_day: (b) => some(`${words(b.filter)}, ${b.date}: ${quantity(b.drop_kpa, "kPa")} of drop`, `${b.draws} draws`, quantity(b.volume_l, "L")),
  started: (b) => some(b.version ? `version ${b.version}` : "", b.after && b.after !== "nothing" ? `after ${words(b.after)}` : "", b.why),
  stopped: (b) => b.why,
  settings: (b) => `in force, digest ${String(b.digest).slice(0, 12)}`,
  settings_refused: (b) => b.why,
  clock_step: (b) => some(b.by_ms ? `set ${b.by_ms > 0 ? "forwards" : "back"} by ${lasting(b.by_ms)}` : "", b.why),
  bus: (b) => `${b.bus} ${b.what}${b.why ? `: ${b.why}` : ""}`,
  power: (b) => (b.outlet ? `${words(b.outlet)} outlet: power ${b.what}` : "whether the machine was powered up meanwhile is not sure"),
  contradiction: (b) => some(`${(b.points || []).join(", ")}: ${b.what === "ended" ? "no longer doubted" : "doubted"}`, b.cause, b.advice),
  advice: (b) => some(b.what, b.advice),
  told: (b) => some(`${b.target}: ${words(b.what)}`, (b.alarms || []).map(alarmName).join(", ")),
  untold: (b) => some(`${b.target || "broker"}: ${words(b.what || b.kind || "")}`, b.why),
};
const HEAD = new Set("record by at counts why_not why_not_msg stands note text why alarm".split(" "));

function recordText(b, entry) {
  const rest = Object.entries(b).filter(([key, value]) => !HEAD.has(key) && !key.endsWith("_msg") && value !== null);
  const facts = rest.map(([key, value]) => fact(key, value, b)).filter(Boolean).slice(0, 6);
  const what = b.record === "note" ? "" : sentence(words(b.record));
  const isLate = b.at && Math.abs(Date.parse(b.at) - Date.parse(entry.at)) > 60e3;
  return some(`${what}${b.alarm ? ` ${alarmName(b.alarm)}` : ""}${what ? ` by ${b.by}` : b.by}`, facts.join(", "), b.text, b.why, b.note,
    isLate ? `happened ${clockTime(b.at)}` : "", b.counts === false ? `does not count: ${b.why_not || ""}` : "");
}
const FACTS = {
  channel_ports: (ports) => (Array.isArray(ports) ? ports.map((one) => `port ${one.port}: ${one.seconds} s`).join(", ") : ports),
  value: (value, b) => `value ${value}${b.unit ? ` ${b.unit}` : ""}`,
  unit: (value, b) => (b.value === undefined ? `unit ${value}` : ""),
  contact_min: (minutes) => `contact ${minutes} min`,
  minutes: (minutes) => `for ${lasting(minutes * 60e3)}`,
  litres: (litres) => quantity(litres, "L"),
  of: (of) => (typeof of === "number" ? `entry ${of}` : `of ${words(of)}`),
};
const A_TIME = /^\d{4}-\d\d-\d\dT/;
function fact(key, value, body) {
  if (FACTS[key]) return FACTS[key](value, body);
  if (value === true) return words(key);
  if (value === false) return `not ${words(key)}`;
  if (Array.isArray(value)) {
    const plain = value.map((one) => (one && typeof one === "object" ? Object.values(one).join(" ") : one));
    return `${words(key)} ${plain.slice(0, 6).join(", ")}`;
  }
  if (typeof value === "object") return "";
  return `${words(key)} ${A_TIME.test(value) ? clockTime(value) : key === "role" ? words(value) : value}`;
}

/** What an entry says, in one clause. */
export function entryText(entry) {
  const body = entry.body || {};
  try {
    if (entry.kind === "record") return recordText(body, entry);
    if (TEXTS[entry.kind]) return TEXTS[entry.kind](body) || "";
  } catch {
    // a body of another version: shown as what it is made of
  }
  const pairs = Object.entries(body).filter(([, value]) => value === null || typeof value !== "object").slice(0, 6);
  return pairs.map(([key, value]) => `${words(key)} ${value}`).join(" · ");
}

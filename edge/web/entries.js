// The journal's entries in words.

import { figure, say, small } from "./say.js";
import { alarmName, alarmState, because, clockTime, conditionName, itemCalled, keyName, known, lasting, phaseName, pointCalled, recordName, sentence, titled, verdictName, words } from "./told.js";
import { asTyped, difference, quantity } from "./units.js";

/** Groups of kinds, as a reader looks for them; the station itself is what is left. */
const KINDS = {
  alarms: ["alarm", "told", "untold"],
  verdicts: ["verdict"],
  people: ["record"],
  process: ["phase", "draw", "heat_up", "cool_down", "filter_day", "transfer", "power"],
};
export const GROUPS = [...Object.keys(KINDS), "others"];
export const groupOf = (kind) => Object.keys(KINDS).find((group) => KINDS[group].includes(kind)) || "others";
export const kindName = (kind) => known("kind", kind);

const span = (b) => lasting(b.duration_s * 1000);
const some = (...parts) => parts.filter(Boolean).join(" · ");
const warmth = (b) => say("entry.warmth", { from: quantity(b.from_c, "Cel"), to: quantity(b.to_c, "Cel"), span: span(b), room: quantity(b.room_c, "Cel") });

const WHY_SHOWN = 4;
/** The first reasons; each begins with its condition's id. */
function whyOf(why) {
  const told = why.slice(0, WHY_SHOWN).map((text) => {
    const id = text.split(": ")[0];
    return /^[a-z_]+(:[\w-]+)?$/.test(id) ? conditionName(id) + text.slice(id.length) : text;
  });
  return why.length > WHY_SHOWN ? [...told, say("entry.more", { n: why.length - WHY_SHOWN })] : told;
}

// Kinds whose bodies are worth a sentence of their own; each takes the body.
const TEXTS = {
  alarm: (b) => some(because(alarmName(b.id), byWhom(eventName(b), b.by)), b.again ? say("entry.again", { n: b.again }) : "", b.why, b.cause),
  verdict: (b) => some(verdictName(b.to || b.verdict || ""), ...Object.entries(b.basins || {}).map(([id, word]) => because(id, verdictName(word))), ...whyOf(b.why || [])),
  phase: (b) => `${b.from ? `${phaseName(b.from)} → ` : ""}${phaseName(b.to || "")}`,
  draw: (b) => some(say("entry.draw", { volume: quantity(b.volume_l, "L"), span: span(b) }), b.flow_l_min === null ? "" : quantity(b.flow_l_min, "L/min"),
    b.supply_kpa === null ? "" : say("entry.supply", { pressure: quantity(b.supply_kpa, "kPa") })),
  heat_up: warmth,
  cool_down: warmth,
  filter_day: (b) => some(say("entry.filter_day", { filter: words(b.filter), date: b.date, drop: quantity(b.drop_kpa, "kPa") }), say("entry.draws", { n: b.draws }), quantity(b.volume_l, "L")),
  started: (b) => some(b.version ? say("entry.version", { version: b.version }) : "", b.after && b.after !== "nothing" ? say("entry.after", { what: known("after", words(b.after).replaceAll(" ", "_")) }) : "", b.why),
  stopped: (b) => b.why,
  settings: (b) => say("entry.settings", { digest: String(b.digest).slice(0, 12) }),
  settings_refused: (b) => b.why,
  clock_step: (b) => some(b.by_ms ? say(b.by_ms > 0 ? "entry.set_forwards" : "entry.set_back", { span: lasting(b.by_ms) }) : "", b.why),
  bus: (b) => because(`${b.bus} ${known("bus", b.what)}`, b.why),
  power: (b) => (b.outlet ? say(b.what === "back" ? "entry.power_back" : "entry.power_lost", { outlet: words(b.outlet) }) : say("entry.power_unsure")),
  contradiction: (b) => some(because((b.points || []).join(", "), say(b.what === "ended" ? "entry.doubt_ended" : "entry.doubted")), b.cause, b.advice),
  advice: (b) => some(b.what, b.advice),
  told: (b) => some(because(b.target, known("told", b.what)), (b.alarms || []).map(alarmName).join(", ")),
  untold: (b) => some(b.target ? because(b.target, known("told", b.what)) : say("entry.broker", { kind: kindName(b.kind || "") }), b.why),
};
/** What somebody did; `by` may be nobody. */
function byWhom(what, by) {
  return by ? say("entry.by", { what, by }) : what;
}
/** What an alarm did: it came, was seen, went; of all else the state that it is in since. */
function eventName({ from, to, by }) {
  if (from === "normal" && to === "unacknowledged") return say("entry.came");
  if (to === "normal") return by ? alarmState("acknowledged") : say("entry.went");
  return alarmState(to);
}
const HEAD = new Set("record by at counts why_not why_not_msg stands note text why alarm".split(" "));

function recordText(b, entry) {
  const facts = OF_RECORD[b.record] ? OF_RECORD[b.record](b) : factsOf(b);
  const signed = [b.by_role && known("role", b.by_role), b.proven && known("proven", b.proven)];
  const kind = sentence(recordName(b.record));
  const what = b.alarm ? say("entry.of_alarm", { what: kind, alarm: alarmName(b.alarm) }) : kind;
  const isLate = b.at && Math.abs(Date.parse(b.at) - Date.parse(entry.at)) > 60e3;
  return some(byWhom(what, b.by), list([...facts, ...signed]), b.text, b.why, b.note,
    isLate ? say("entry.happened", { at: clockTime(b.at) }) : "", b.counts === false ? say("entry.does_not_count", { why: b.why_not }) : "");
}
const list = (facts) => facts.filter(Boolean).join(", ");
const FACTS_SHOWN = 6;
function factsOf(b) {
  const told = Object.entries(b).filter(([key, value]) => !HEAD.has(key) && !key.endsWith("_msg") && value !== null && value !== "");
  return told.map(([key, value]) => fact(key, value, b)).filter(Boolean).slice(0, FACTS_SHOWN);
}
// a quantity's name -> the unit that its numbers are held in
const HELD_IN = { temperature: "Cel", pressure: "kPa", pressure_difference: "kPa", flow: "L/min", volume: "L", conductivity: "uS/cm" };
function measured(value, of) {
  if (of === "share") return say("size.percent", { n: figure(100 * value, 1) });
  if (of.endsWith("_difference")) return difference(value, of === "temperature_difference" ? "Cel" : "kPa");
  return HELD_IN[of] ? quantity(value, HELD_IN[of]) : rounded(value);
}
function limitsOf({ low, high, quantity: of }) {
  const [least, most] = [low, high].map((end) => (typeof end === "number" ? measured(end, of) : ""));
  return least && most ? say("now.range", { low: least, high: most }) : least ? say("fact.least", { n: least }) : most ? say("fact.most", { n: most }) : "";
}
// Records that the station worked something out of: what it comes to, in the viewer's units.
const OF_RECORD = {
  commissioning(b) {
    const number = typeof b.number === "number" ? measured(b.number, b.quantity) : "";
    const limits = number && limitsOf(b);
    const found = b.result === "not_applicable" ? because(keyName("not_applicable"), b.not_applicable) : b.result ? keyName(b.result) : "";
    const told = b.result ? [] : factsOf({ ...b, item: null });
    const value = [number && limits ? say("fact.limits", { value: number, limits }) : number, found, ...told].filter(Boolean).join(", ");
    return [because(itemCalled(b.item), value), b.instrument && `${keyName("instrument")} ${b.instrument}`];
  },
  calibration(b) {
    const shown = (value) => quantity(value, b.unit);
    const isKnown = typeof b.was === "number" && typeof b.becomes === "number";
    const change = !isKnown ? "" : b.adjust === false ? say("fact.checked", { was: shown(b.was) }) : say("fact.corrected", { was: shown(b.was), becomes: shown(b.becomes) });
    const references = (b.points || []).map((one) => asTyped(one.reference)).join(", ");
    return [because(pointCalled(b.point), change), references && say("fact.reference", { value: references, u: asTyped(b.reference_u) }), b.instrument && `${keyName("instrument")} ${b.instrument}`];
  },
};
const rounded = (value) => figure(Number(value.toPrecision(4)));
const named = (ids) => [].concat(ids).map(words).join(", ");
const FACTS = {
  channel_ports: (ports) => (Array.isArray(ports) ? ports.map((one) => say("fact.port", { port: one.port, seconds: one.seconds })).join(", ") : ports),
  value: (value, b) => say("fact.value", { value: asTyped(b.unit ? `${value} ${b.unit}` : value) }),
  unit: (value, b) => (b.value === undefined ? say("fact.unit", { unit: value }) : ""),
  contact_min: (minutes) => say("fact.contact", { n: minutes }),
  contact_s: (s) => because(keyName("contact_s"), lasting(s * 1000)),
  began_s: () => "", // beside what the contact lasted
  done: (is) => (is ? keyName("done") : ""), // of a step that isn't the last it says nothing
  minutes: (minutes) => say("fact.span", { span: lasting(minutes * 60e3) }),
  litres: (litres) => `${figure(litres)} L`, // as it was typed
  of: (of) => (typeof of === "number" ? say("fact.entry", { seq: of }) : say("fact.of", { what: words(of) })),
  step: (step) => known("step", step),
  taken: () => "", // an item's result says it
  timing: (timing) => known("timing", timing),
  what: (what, b) => (b.record === "equipment_change" ? known("equipment", what) : what),
  role: (role) => small(titled("roles", role)) || words(role),
  point: (point) => pointCalled(point),
  filter: (filter) => `${keyName("filter")} ${words(filter)}`,
  filters: (filters) => `${keyName("filters")} ${named(filters)}`,
  outlet: (outlet) => `${keyName("outlet")} ${words(outlet)}`,
  passed: (is) => keyName(is ? "passed" : "failed"),
  by_role: () => "", // behind it
  proven: () => "",
};
const A_TIME = /^\d{4}-\d\d-\d\dT/;
const QUANTITIES = ["reference_u", "reference_resolution", "drift_allowance", "before", "after"];
function fact(key, value, body) {
  if (FACTS[key]) return FACTS[key](value, body);
  if (QUANTITIES.includes(key)) return `${keyName(key)} ${asTyped(value)}`;
  if (value === true) return keyName(key);
  if (value === false) return say("fact.not", { what: keyName(key) });
  if (Array.isArray(value)) {
    const plain = value.map((one) => (one && typeof one === "object" ? Object.values(one).join(" ") : one));
    return `${keyName(key)} ${plain.slice(0, 6).join(", ")}`;
  }
  if (typeof value === "object") return "";
  return `${keyName(key)} ${A_TIME.test(value) ? clockTime(value) : typeof value === "number" ? rounded(value) : value}`;
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
  return pairs.map(([key, value]) => `${keyName(key)} ${value}`).join(" · ");
}

// The fields of a record's form: choices by a tap, numbers by the keypad, text only where nothing else will do. Each is
// {key, element, value(), isSet()}; `value()` is what is sent, undefined where nothing was said.

import { button, make, put, set } from "../dom.js";
import { say, typedNumber } from "../say.js";
import { alarmName, because, clockTime, contactWords, dayName, keyName, known, labelOf, nextDay, nowMs, pointName, sentence, startOfDay, titled, words } from "../told.js";
import { signOf } from "../units.js";
import { pad } from "./pad.js";

const UNITS = { litres: "L", seconds: "s", contact_min: "min", minutes: "min", trip_ms: "ms", trip_ma: "mA" };
const MOST_DAYS = 3650; // nothing that is recorded is older, by the station's own rule
const READ_IN = { concentration_check: ["%", "ppm", "mg/L"] };

function field(key, control, help = "") {
  const name = make("span", "field-name", labelOf(key));
  name.id = `field-${key}`;
  const element = make("div", "field", name, ...(help ? [make("span", "field-help", help)] : []), control);
  element.dataset.key = key;
  control.setAttribute("aria-labelledby", control.id ? `${name.id} ${control.id}` : name.id);
  return element;
}

/** One of several by a tap; `choices`: [[value, text]]. A tap on what is chosen takes it back. */
export function choice(key, choices, { given, help, changed, several = false } = {}) {
  let chosen = given === undefined ? [] : [].concat(given);
  const group = make("div", "choices");
  group.setAttribute("role", "group");
  const show = () => {
    for (const one of group.children) set(one, "aria-pressed", String(chosen.includes(one.value)));
  };
  for (const [value, text] of choices) {
    const one = button("chip-button", text, () => {
      chosen = chosen.includes(one.value) ? chosen.filter((other) => other !== one.value) : several ? [...chosen, one.value] : [one.value];
      show();
      if (changed) changed(chosen[0]);
    });
    one.value = String(value);
    group.append(one);
  }
  show();
  const of = (text) => choices.find(([value]) => String(value) === text)[0];
  return { key, element: field(key, group, help), value: () => (!chosen.length ? undefined : several ? chosen.map(of) : of(chosen[0])), isSet: () => chosen.length > 0 };
}
const flag = (key, yes, no) => choice(key, [[true, sentence(yes)], [false, sentence(no)]]);

/** A number with its unit, by the keypad. `bounds`: [low, high] by unit; `withinDays`: of a date, from today. */
export function number(key, { low, high, bounds, withinDays, unit = UNITS[key] || "", units = [], help, given, changed, title, asText = false, mode } = {}) {
  let said = given || null; // {text, unit}
  const press = button("value-button", "", async () => {
    const answer = await pad({ title: title || labelOf(key), says: help, mode, low, high, bounds, withinDays, text: said && said.text, unit: said ? said.unit : unit || units[0] || "", units });
    if (!answer) return;
    said = answer;
    show();
    if (changed) changed(said);
  });
  press.id = `value-${key}`;
  const show = () => put(press, said ? `${mode ? said.text : typedNumber(said.text)} ${signOf(said.unit)}`.trim() : unit ? say("field.type_in", { unit: signOf(unit) }) : say("field.type"));
  show();
  const value = () => (!said ? undefined : asText ? `${said.text} ${said.unit}`.trim() : mode ? said.text : Number(said.text));
  return { key, element: field(key, press, help), value, isSet: () => Boolean(said), said: () => said, forget: () => ((said = null), show()) };
}

export function text(key, { help, isLong = false, given = "" } = {}) {
  const input = make(isLong ? "textarea" : "input", "text-input");
  Object.assign(input, { maxLength: isLong ? 2000 : 200, autocomplete: "off", value: given });
  if (isLong) input.rows = 3;
  return { key, element: field(key, input, help), value: () => input.value.trim() || undefined, isSet: () => Boolean(input.value.trim()) };
}

/** When it happened: now, or a time of today, of yesterday or of a day that is named, by the station's clock. */
export function moment(key, { mustSay = false } = {}) {
  let ms = null;
  const what = labelOf(key);
  const group = make("div", "choices");
  const now = button("chip-button", say("field.now"), () => {
    ms = null;
    show();
  });
  const timeOn = async (start, titled) => {
    const days = start < startOfDay(nowMs());
    const answer = await pad({ title: titled(dayName(start)), mode: "time", says: say("field.clock"), latest: days ? undefined : nowMs() - start });
    if (!answer) return;
    const [hours, minutes] = answer.text.split(":").map(Number);
    ms = Math.min(start + (hours * 60 + minutes) * 60e3, nextDay(start) - 1);
    show();
  };
  const today = button("chip-button", say("field.today"), () => timeOn(startOfDay(nowMs()), (day) => say("field.at_today", { what, day })));
  const before = button("chip-button", say("field.yesterday"), () => timeOn(startOfDay(startOfDay(nowMs()) - 12 * 3600e3), (day) => say("field.at_yesterday", { what, day })));
  const longAgo = button("chip-button", say("field.earlier"), async () => {
    const day = await pad({ title: labelOf(key), mode: "date", isWhole: true, withinDays: [-MOST_DAYS, 0], says: say("field.day") });
    if (day) timeOn(startOfDay(Date.parse(`${day.text}T12:00:00Z`)), (named) => because(what, named));
  });
  group.append(...(mustSay ? [] : [now]), today, before, longAgo);
  const said = make("span", "field-said");
  const show = () => {
    set(now, "aria-pressed", String(ms === null));
    put(said, ms === null ? "" : clockTime(ms));
  };
  show();
  group.append(said);
  return { key, element: field(key, group), value: () => (ms === null ? undefined : new Date(ms).toISOString()), isSet: () => ms !== null };
}

/** What is read: a number with its unit, or of a contact its word. */
function reading(record, key, plan, keys) {
  const of = plan.by_eye.find((one) => (keys.point ? one.point === keys.point : one.point === null && one.role === keys.role));
  if (record === "entered_reading") {
    if (!of) return null;
    if (of.words.length) return choice(key, of.words.map((word, n) => [word, sentence((contactWords(of.role) || of.words)[n])]));
    return number(key, { units: of.units, unit: of.units[0], bounds: of.bounds, asText: true });
  }
  const duty = plan.duties.find((one) => one.id === keys.duty);
  if (record === "service") {
    if (duty && !duty.unit) return null;
    return duty ? number(key, { unit: duty.unit, units: [duty.unit], asText: true, help: say("field.in_unit", { unit: duty.unit }) }) : text(key, { help: say("field.with_unit") });
  }
  return number(key, { low: 0, units: READ_IN[record] || [], unit: (READ_IN[record] || [])[0], asText: true });
}

/** The alarms that a record may be about, those that stand first. */
function alarmsFor(record, app) {
  const all = Object.values((app.line.news || {}).alarms || {}).filter((a) => (record === "in_service") === (a.state === "out_of_service"));
  all.sort((a, b) => (a.state === "normal") - (b.state === "normal"));
  return all.map((a) => [a.id, alarmName(a.id)]);
}

/** The field of one key of a form; null where there is nothing to choose. `context`: {plan, keys, app, changed}. */
export function fieldOf(record, one, { plan, keys, app, changed }) {
  const { key, kind } = one;
  const lists = {
    filters: () => plan.filters.map(({ id }) => [id, sentence(words(id))]), filter: () => plan.filters.map(({ id }) => [id, sentence(words(id))]),
    outlet: () => plan.outlets.map((id) => [id, sentence(words(id))]), basin: () => (plan.judged_basins.length ? plan.judged_basins.map((id) => [id, sentence(words(id))]) : []),
    duty: () => plan.duties.map(({ id, title }) => [id, title]), alarm: () => alarmsFor(record, app),
    point: () => (record === "entered_reading" ? plan.by_eye.filter((p) => p.point).map((p) => [p.point, `${pointName(p)} (${p.point})`]) : plan.points.map((p) => [p.id, `${pointName(p)} (${p.id})`])),
    role: () => plan.by_eye.filter((p) => !p.point).map((p) => [p.role, titled("roles", p.role) || words(p.role)]),
  };
  if (record === "equipment_change" && key === "what") return choice(key, ["loaner", "swap", "repair", "sensor_fitted"].map((value) => [value, say(`equipment.${value}`)]));
  if (lists[key]) {
    const choices = lists[key]();
    if (!choices.length && key !== "alarm") return null;
    return choice(key, choices, { given: keys[key], several: kind === "names", changed: (value) => changed(key, value), help: key === "basin" ? say("field.whole") : choices.length ? "" : say("field.none") });
  }
  if (kind === "flag") return key === "passed" ? flag(key, keyName("passed"), keyName("failed")) : flag(key, say("station.yes"), say("station.no"));
  if (one.words.length) return choice(key, one.words.map((word) => [word, sentence(known("step", word))]));
  if (kind === "number") return number(key, { low: one.low, high: one.high });
  if (kind === "date") return number(key, { mode: "date", withinDays: one.within_days, help: say("field.date") });
  if (kind === "time" || kind === "any_time") return moment(key, { mustSay: kind === "time" });
  if (kind === "reading") return reading(record, key, plan, keys);
  if (kind === "line" || kind === "note") return text(key, { isLong: kind === "note" });
  return null;
}

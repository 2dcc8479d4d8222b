// The fields of a record's form: choices by a tap, numbers by the keypad, text only where nothing else will do. Each is
// {key, element, value(), isSet()}; `value()` is what is sent, undefined where nothing was said.

import { button, make, put, set } from "../dom.js";
import { alarmName, clockTime, dayName, nextDay, nowMs, pointName, sentence, startOfDay, titled, words } from "../told.js";
import { signOf } from "../units.js";
import { pad } from "./pad.js";

// What a key is called on a form; the form's own words stand beside it.
const LABELS = {
  passed: "Result", filters: "Which filters", filter: "Which filter", outlet: "Which outlet", basin: "Which basin", expires: "Good until, by the label",
  opened: "When its container was opened", litres: "How much", opened_clean_side: "Was the clean side of the water path opened?", lot: "Lot number", product: "Name on its label",
  stirred: "Was it stirred?", strip: "Which test strip", value: "Its value", contact_min: "How long the contact was", began_at: "When the contact began",
  ended_at: "When the contact ended", drained: "Drained afterwards?", rinsed: "Drained and rinsed?", residue_free: "Looked at: free of residue?", trip_ms: "It tripped after",
  trip_ma: "It tripped at", what: "What", duty: "Which duty", point: "Which point", name: "Name of the hold", released_by: "Who may release it", why: "Why", text: "Note",
  note: "Note", instrument: "Read from which instrument", serial: "Serial number of what came", alarm: "Which alarm", of: "Which record", at: "When", time: "The time now, by a watch that is right",
  role: "What was read", reference: "What the reference shows", reference_u: "Its uncertainty", adjust: "What it is for", confirm: "Why so large a correction is right",
};
const UNITS = { litres: "L", contact_min: "min", minutes: "min", trip_ms: "ms", trip_ma: "mA" };
const READ_IN = { concentration_check: ["%", "ppm", "mg/L"] };
export const labelOf = (key) => LABELS[key] || sentence(words(key));

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
const flag = (key, options, [yes, no] = ["Yes", "No"]) => choice(key, [[true, yes], [false, no]], options);

/** A number with its unit, by the keypad. */
export function number(key, { low, high, unit = UNITS[key] || "", units = [], help, given, changed, title, asText = false, mode } = {}) {
  let said = given || null; // {text, unit}
  const press = button("value-button", "", async () => {
    const answer = await pad({ title: title || labelOf(key), says: help, mode, low, high, text: said && said.text, unit: said ? said.unit : unit || units[0] || "", units });
    if (!answer) return;
    said = answer;
    show();
    if (changed) changed(said);
  });
  press.id = `value-${key}`;
  const show = () => put(press, said ? `${said.text}${said.unit ? ` ${signOf(said.unit)}` : ""}` : `Type${unit ? ` (${signOf(unit)})` : "…"}`);
  show();
  const value = () => (!said ? undefined : asText ? `${said.text} ${said.unit}`.trim() : mode ? said.text : Number(said.text));
  return { key, element: field(key, press, help), value, isSet: () => Boolean(said), said: () => said };
}

export function text(key, { help, isLong = false, given = "" } = {}) {
  const input = make(isLong ? "textarea" : "input", "text-input");
  Object.assign(input, { maxLength: isLong ? 2000 : 200, autocomplete: "off", value: given });
  if (isLong) input.rows = 3;
  return { key, element: field(key, input, help), value: () => input.value.trim() || undefined, isSet: () => Boolean(input.value.trim()) };
}

/** When it happened: now, or a time of today or yesterday by the station's clock. */
export function moment(key, { mustSay = false } = {}) {
  let ms = null;
  const group = make("div", "choices");
  const now = button("chip-button", "Now", () => {
    ms = null;
    show();
  });
  const earlier = (days) => async () => {
    const start = days ? startOfDay(startOfDay(nowMs()) - 12 * 3600e3) : startOfDay(nowMs());
    const answer = await pad({ title: `${labelOf(key)}: ${days ? "yesterday" : "today"}, ${dayName(start)}`, mode: "time", says: "Hour and minute, by the station's clock" });
    if (!answer) return;
    const [hours, minutes] = answer.text.split(":").map(Number);
    ms = Math.min(start + (hours * 60 + minutes) * 60e3, nextDay(start) - 1);
    show();
  };
  const today = button("chip-button", "Today at…", earlier(0));
  const before = button("chip-button", "Yesterday at…", earlier(1));
  group.append(...(mustSay ? [] : [now]), today, before);
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
    if (of.words.length) return choice(key, of.words.map((word) => [word, sentence(word)]));
    return number(key, { units: of.units, unit: of.units[0], low: -1e6, asText: true });
  }
  const duty = plan.duties.find((one) => one.id === keys.duty);
  if (record === "service") {
    if (duty && !duty.unit) return null;
    return duty ? number(key, { unit: duty.unit, units: [duty.unit], asText: true, help: `In ${duty.unit}` }) : text(key, { help: "With its unit" });
  }
  return number(key, { units: READ_IN[record] || [], unit: (READ_IN[record] || [])[0], asText: true });
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
  if (record === "equipment_change" && key === "what") return choice(key, ["loaner", "swap", "repair", "sensor_fitted"].map((value) => [value, sentence(words(value))]));
  if (lists[key]) {
    const choices = lists[key]();
    if (!choices.length && key !== "alarm") return null;
    return choice(key, choices, { given: keys[key], several: kind === "names", changed: (value) => changed(key, value), help: key === "basin" ? "Left out: the station as a whole" : choices.length ? "" : "There is none." });
  }
  if (kind === "flag") return key === "passed" ? flag(key, {}, ["Passed", "Failed"]) : flag(key, {});
  if (one.words.length) return choice(key, one.words.map((word) => [word, sentence(words(word))]));
  if (kind === "number") return number(key, { low: one.low, high: one.high });
  if (kind === "date") return number(key, { mode: "date", help: "Year, month, day; or year and month" });
  if (kind === "time" || kind === "any_time") return moment(key, { mustSay: kind === "time" });
  if (kind === "reading") return reading(record, key, plan, keys);
  if (kind === "line" || kind === "note") return text(key, { isLong: kind === "note", help: key === "why" || key === "text" ? "" : sentence(one.says) });
  return null;
}

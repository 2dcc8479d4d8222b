// What the station asks people to record, what else can be recorded, and by which names: as the server says it. Nothing is decided here.

import { ask } from "../line.js";
import { forms } from "../people.js";
import { pointName, sentence, titled, words } from "../told.js";

/** {asks: /api/1/asks, forms: /api/1/forms, trouble, at}: `at` is this page's monotonic time of `asks` [ms]. */
export const wants = { asks: null, forms: null, trouble: "", at: 0 };

let asking = null;
/** Ask anew; several at a time are one. */
export function refresh() {
  asking ??= Promise.all([ask("/api/1/asks"), forms()]).then(([{ ok, body, trouble }, known]) => {
    asking = null;
    wants.trouble = ok ? "" : trouble || "What the station asks for can't be had just now: it gives no answer.";
    if (ok) Object.assign(wants, { asks: body, at: performance.now() });
    wants.forms = known || wants.forms;
  });
  return asking;
}
export const setup = () => (wants.asks && wants.asks.setup) || null;
export const formOf = (record) => (wants.forms && wants.forms.records[record]) || null;

// How kinds are grouped in the list; what acts on alarms stands there.
export const GROUPS = [
  ["Tests and treatment", ["daily_test", "water_path_treatment", "outlet_test", "calibration"]],
  ["The disinfectant", ["concentration_check", "disinfectant_fill", "disinfectant_top_up"]],
  ["Readings and duties", ["entered_reading", "service", "note"]],
  ["Filters and equipment", ["filter_change", "equipment_change"]],
  ["Hold and work", ["hold", "release", "work_begins", "work_ends"]],
  ["Alarms and corrections", ["out_of_service", "in_service", "correction"]],
];
const TITLES = { disinfectant_top_up: "Disinfectant top-up", entered_reading: "Reading by eye", correction: "Take back a record", out_of_service: "Alarm out of service", in_service: "Alarm back in service" };
export const kindTitle = (record) => TITLES[record] || titled("conditions", record) || sentence(titled("records", record) || words(record));

/** A record with what its form is given already, by its plain name. */
export function titleOf(record, keys = {}) {
  const plan = setup();
  const duty = plan && plan.duties.find((one) => one.id === keys.duty);
  if (duty) return duty.title;
  const point = plan && [...plan.points, ...plan.by_eye].find((one) => keys.point && (one.id === keys.point || one.point === keys.point));
  const of = [keys.basin && `basin ${words(keys.basin)}`, keys.filters && words(keys.filters), keys.outlet && words(keys.outlet),
    keys.point && (point ? pointName(point).toLowerCase() : keys.point), keys.role && (titled("roles", keys.role) || words(keys.role)).toLowerCase()].filter(Boolean);
  return kindTitle(record) + (of.length ? `: ${of.join(", ")}` : "");
}
/** What the station says, without the command line's form of a record behind it: here a form stands beside it. */
export const plainly = (text) => text.replace(/\s*\((\w+)[^()]*\)$/, (all, word) => (formOf(word) ? "" : all));

/** The place of a record's form, with what it is given. */
export const placeOf = (record, keys = {}) => `#do/${record}${Object.keys(keys).length ? `?${new URLSearchParams(keys)}` : ""}`;
/** [record, keys] of the page's address; ["", {}] in the list. */
export function placed() {
  const [path, query] = location.hash.replace(/^#/, "").split("?");
  return [path.split("/")[1] || "", Object.fromEntries(new URLSearchParams(query || ""))];
}

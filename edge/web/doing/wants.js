// What the station asks people to record, what else can be recorded, and by which names: as the server says it. Nothing is decided here.

import { ask, asked } from "../line.js";
import { forms } from "../people.js";
import { has, language, say, small } from "../say.js";
import { because, pointName, recordName, sentence, titled, words } from "../told.js";

/** {asks: /api/1/asks, forms: /api/1/forms, trouble, at}: `at` is this page's monotonic time of `asks` [ms]. */
export const wants = { asks: null, forms: null, trouble: "", at: 0, said: "" };

let asking = null;
/** Ask anew; several at a time are one. */
export function refresh() {
  if (wants.said !== language()) Object.assign(wants, { asks: null, forms: null, said: language() }); // no page is made of another's words
  asking ??= Promise.all([ask(asked("/api/1/asks")), forms()]).then(([{ ok, body, trouble }, known]) => {
    asking = null;
    wants.trouble = ok ? "" : trouble || say("do.no_answer");
    if (ok) Object.assign(wants, { asks: body, at: performance.now() });
    wants.forms = known || wants.forms;
  });
  return asking;
}
export const setup = () => (wants.asks && wants.asks.setup) || null;
export const formOf = (record) => (wants.forms && wants.forms.records[record]) || null;

// How kinds are grouped in the list; what acts on alarms stands there.
export const GROUPS = [
  ["tests", ["daily_test", "water_path_treatment", "outlet_test", "calibration", "commissioning"]],
  ["disinfectant", ["concentration_check", "disinfectant_fill", "disinfectant_top_up"]],
  ["readings", ["entered_reading", "service", "note"]],
  ["equipment", ["filter_change", "equipment_change"]],
  ["hold", ["hold", "release", "work_begins", "work_ends"]],
  ["alarms", ["out_of_service", "in_service", "correction"]],
];
export const kindTitle = (record) => (has(`title.${record}`) ? say(`title.${record}`) : titled("conditions", record) || sentence(recordName(record)));

/** A record with what its form is given already, by its plain name. */
export function titleOf(record, keys = {}) {
  const plan = setup();
  const duty = plan && plan.duties.find((one) => one.id === keys.duty);
  if (duty) return duty.title;
  const point = plan && [...plan.points, ...plan.by_eye].find((one) => keys.point && (one.id === keys.point || one.point === keys.point));
  const of = [keys.basin && small(say("now.basin", { basin: words(keys.basin) })), keys.filters && words(keys.filters), keys.outlet && words(keys.outlet),
    keys.point && (point ? small(pointName(point)) : keys.point), keys.role && small(titled("roles", keys.role) || words(keys.role))].filter(Boolean);
  return because(kindTitle(record), of.join(", "));
}

/** [record, keys] of the page's address; ["", {}] in the list. */
export function placed() {
  const [path, query] = location.hash.replace(/^#/, "").split("?");
  return [path.split("/")[1] || "", Object.fromEntries(new URLSearchParams(query || ""))];
}

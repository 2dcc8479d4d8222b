// The list: filters and order, which stand in the address, and the stations page by page.

import { button, draw, keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { ask, asked } from "../line.js";
import { say, small } from "../say.js";
import { clockTime, displayName, priorityName, sentence } from "../told.js";
import { shownOf } from "../verdict.js";

const PAGE = 50;
const MOST = 500; // so many are asked for anew at each turn; what is fetched beyond stays as it came
const CHOICES = {
  sort: [["", () => say("fleet.sort_urgent")], ["name", () => say("fleet.sort_name")], ["filters", () => say("fleet.sort_filters")],
    ["calibration", () => say("fleet.sort_calibration")], ["heard", () => say("fleet.sort_heard")]],
  verdict: [["", () => say("fleet.any")], ["not_ready", () => displayName("not_ready")], ["unknown", () => displayName("cant_tell")], ["ready", () => displayName("ready")]],
  alarm: [["", () => say("fleet.any")], ["high", () => priorityName("high")], ["medium", () => priorityName("medium")], ["low", () => priorityName("low")]],
};
const LABELS = { sort: () => say("fleet.sort"), verdict: () => say("fleet.verdict"), alarm: () => say("fleet.alarm") };
const ONLY = { silent: () => say("fleet.only_silent"), gaps: () => say("fleet.only_gaps"), altered: () => say("fleet.only_altered") };

let at = {};
let wishes = new URLSearchParams();
let wanted = PAGE;
let rows = [];
let rest = []; // behind the first MOST
let next = null;

export const linkOf = (one) => `#station/${encodeURIComponent(one.site)}/${encodeURIComponent(one.station)}`;

export function mount(root, place) {
  wishes = place.wishes;
  [wanted, rows, rest, next] = [PAGE, [], [], null];
  const form = make("form", "narrow", ...Object.keys(CHOICES).map(selectOf), make("div", "only", ...Object.keys(ONLY).map(onlyOf)));
  form.addEventListener("submit", (event) => event.preventDefault());
  const site = make("p", "of-site");
  if (wishes.get("site")) {
    const all = make("a", "all-sites", say("fleet.all_sites"));
    all.href = "#stations";
    site.append(make("b", "", wishes.get("site")), all);
  }
  at = { none: make("p", "none"), list: make("ul", "fleet-list"), more: button("more", say("fleet.more"), more) };
  root.append(section("panel", "stations", say("fleet.stations"), site, form, at.none, at.list, at.more, make("p", "quiet", sentence(say("now.surroundings_only")))));
  toggle(at.more, false);
}
function selectOf(name) {
  const select = make("select", "");
  select.name = name;
  const value = wishes.get(name) || "";
  for (const [word, text] of CHOICES[name]) select.append(new Option(text(), word, false, word === value));
  select.addEventListener("change", () => wish(name, select.value));
  return make("label", "", make("span", "", LABELS[name]()), select);
}
function onlyOf(name) {
  const box = make("input", "");
  box.type = "checkbox";
  box.name = name;
  box.checked = wishes.get(name) === "yes";
  box.addEventListener("change", () => wish(name, box.checked ? "yes" : ""));
  return make("label", "box", box, make("span", "", ONLY[name]()));
}
/** A filter was chosen: it stands in the address, so that the way back and a bookmark have it. */
function wish(name, value) {
  if (value) wishes.set(name, value);
  else wishes.delete(name);
  history.replaceState(null, "", `#stations${wishes.size ? `?${wishes}` : ""}`);
  [wanted, rest, next] = [PAGE, [], null];
  look().then(() => show(false));
}
const pathOf = (limit, after) => {
  const own = new URLSearchParams([...wishes].filter(([name]) => ["sort", "verdict", "alarm", "silent", "gaps", "altered", "site"].includes(name)));
  own.set("limit", limit);
  if (after) own.set("after", after);
  return asked(`/api/1/fleet/stations?${own}`);
};
export async function look() {
  const path = pathOf(wanted);
  const { ok, body } = await ask(path);
  if (!ok || path !== pathOf(wanted)) return ok; // something else was chosen meanwhile
  rows = body.stations;
  if (rest.length === 0) next = body.next;
  return true;
}
async function more() {
  if (wanted < MOST) {
    wanted += PAGE;
    await look();
  } else if (next) {
    const { ok, body } = await ask(pathOf(MOST, next));
    if (ok) [rest, next] = [[...rest, ...body.stations], body.next];
  }
  show(false);
}

export function show(isOld) {
  const known = new Set(rows.map(linkOf));
  const all = [...rows, ...rest.filter((one) => !known.has(linkOf(one)))];
  put(at.none, all.length ? "" : say("fleet.none"));
  keep(at.list, all, linkOf, create, (item, one) => update(item, one, isOld));
  toggle(at.more, next !== null);
}
const create = () => make("li", "", make("a", "fleet-row", markOf(), make("b", "name"), make("b", "its-word"), make("span", "text"), make("span", "facts")));
function update(item, one, isOld) {
  const own = shownOf(one);
  const row = item.firstChild;
  set(row, "href", linkOf(one));
  set(row, "data-word", isOld ? "cant_tell" : own.word);
  set(row, "data-urgent", isUrgent(one, isOld) ? "yes" : null);
  draw(part(row, "mark"), one.silent ? "off" : own.mark);
  put(part(row, "name"), nameOf(one));
  put(part(row, "its-word"), one.silent ? say("fleet.silent") : own.under || own.title);
  put(part(row, "text"), one.first);
  put(part(row, "facts"), factsOf(one).join(" · "));
}
/** Whether somebody has to do something there now. */
export const isUrgent = (one, isOld) => !isOld && !one.silent && (one.alarm === "high" || one.display === "not_ready");
export const nameOf = (one) => `${one.title || one.station} (${one.site}/${one.station})`;
/** What else is worth a look. */
export function factsOf(one) {
  const facts = [];
  if (one.silent && one.last.at) facts.push(say("fleet.heard_last", { at: clockTime(one.last.at), word: displayName(one.last.display) }));
  else if (one.silent) facts.push(say("fleet.never"));
  if (one.alarm) facts.push(say("fleet.alarms", { n: one.alarms, priority: small(priorityName(one.alarm)) }));
  if (one.altered) facts.push(say("fleet.altered"));
  if (one.missing) facts.push(say("fleet.missing", { n: one.missing }));
  if (one.filters_due_at) facts.push(say("fleet.filters_due", { at: clockTime(one.filters_due_at) }));
  if (one.calibration_due_at) facts.push(say("fleet.calibration_due", { at: clockTime(one.calibration_due_at) }));
  return facts;
}

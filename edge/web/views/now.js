// Now: may the station start? If not, what to do first, why, and when. Then everything that the answer rests on.

import { draw, keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { horizon } from "../horizon.js";
import * as room from "../room.js";
import { say } from "../say.js";
import {
  age, alarmName, clockTime, conditionName, contactWords, dayName, isToday, lasting, nowMs, pointName, rank, sentence, speed, stateName,
  timeOfDay, wantsAnswer, words,
} from "../told.js";
import { inWords, quantity } from "../units.js";
import { beyondOf, betweenOf, isMet, mendsItself, shownOf, verdictOf, warmUntil } from "../verdict.js";

export const mark = "ready";

const FAST_GRACE_S = 3; // with a fast clock the second between two pictures is minutes, and no age
const SHORT_WORD = 9; // letters: these fit a narrow screen
const LONG_TASK = 64; // characters: more don't fit two lines that can be read from two metres
const WHEN_LOST = ["now.lost_do_1", "now.lost_do_2", "now.lost_do_3"];
let at = {};

export function mount(root) {
  at = { plate: plate(), call: call() };
  at.todo = section("panel todo", "todo", say("now.then"), make("ol", "tasks"));
  at.conditions = section("panel", "conditions", say("now.conditions"), make("ul", "conditions"));
  at.filters = section("panel", "filters", say("now.filters"), make("ul", "filters"));
  at.points = section("panel", "points", say("now.points"), make("ul", "points"));
  at.room = room.panel();
  at.reckoned = section("panel", "reckoned", say("now.reckoned"), make("ul", "reckonings"));
  for (const element of [at.todo, at.room]) toggle(element, false);
  root.append(at.plate, at.call, at.room, make("div", "columns", make("div", "column", at.todo, at.conditions), make("div", "column", at.filters, at.points, at.reckoned)));
}

function plate() {
  const first = make("a", "first", make("p", "first-label"), make("span", "first-go", say("do.begin")), make("p", "first-text"), make("p", "first-rest"));
  const due = make("div", "due", make("p", "due-label"), make("p", "due-time"));
  const word = make("p", "word", markOf(), make("span", "word-text"));
  const head = make("div", "plate-head", make("div", "words", word, make("p", "under")), due);
  const lost = make("ol", "lost-do", ...WHEN_LOST.map((id) => make("li", "", say(id))));
  const told = make("div", "told", make("ul", "why"), make("p", "when"));
  const element = make("section", "plate", head, first, horizon.make(), told, make("ul", "basins"), lost, make("p", "note"));
  element.id = "verdict";
  element.setAttribute("aria-label", say("now.may_it_start"));
  return element;
}
function call() {
  const element = make("a", "call", markOf(), make("span", "call-text"), make("span", "call-go", say("view.alarms")));
  element.href = "#alarms";
  return element;
}

export function show(app) {
  const shown = verdictOf(app.line);
  showPlate(shown, app.line);
  const news = app.line.news;
  room.show(at.room, shown.isLost ? null : app.line.station);
  showCall(shown.isLost ? null : news);
  for (const element of [at.conditions, at.filters, at.points, at.reckoned]) toggle(element, news);
  if (!shown.isLost) showTasks(shown); // what was to do when it was last heard stays in the list
  if (!news) return;
  showConditions(news, shown);
  showFilters(news);
  showPoints(app.line, shown);
  showReckoned(news);
}

// -- the plate
function showPlate(shown, line) {
  const { plate: element } = at;
  set(element, "data-word", shown.word);
  element.classList.toggle("act", shown.isAct);
  draw(part(part(element, "word"), "mark"), shown.mark);
  put(part(element, "word-text"), shown.title);
  put(part(element, "under"), shown.under);
  // a long word, and the time beside it, are smaller; what stands under it may take two lines
  const head = part(element, "plate-head");
  head.style.setProperty("--letters", Math.max(shown.title.length, SHORT_WORD));
  head.style.setProperty("--under", Math.max(...shown.under.split(" ").map((one) => one.length), SHORT_WORD));
  const when = shown.when;
  const until = !shown.isLost && warmUntil(line.news);
  showDue(part(element, "due"), shown, until);
  showFirst(part(element, "first"), shown);
  horizon.show(part(element, "horizon"), shown.isLost ? null : { now: nowMs(), ready: when && when.at ? when : null, warm: until });
  keep(part(element, "why"), whyRows(shown, line), (row) => row.at, () => make("li", "", make("b", ""), make("span", "")), (item, row) => {
    put(item.children[0], row.name);
    put(item.children[1], row.text);
  });
  const span = until && lasting(Date.parse(until.at) - nowMs());
  const warm = until ? say("now.warm_enough", { at: clockTime(until.at), span, range: betweenOf(until.low, until.high) }) : "";
  put(part(element, "when"), [when ? when.text : "", warm].join(" ").trim());
  showBasins(part(element, "basins"), shown, line);
  toggle(part(element, "lost-do"), shown.isLost);
  put(part(element, "note"), sentence((line.news && line.news.verdict.note) || say("now.surroundings_only")));
}
/** The large time is READY's alone: that it isn't known, or for how long READY can last, is smaller. */
function showDue(element, { word, when }, until) {
  const due = when && when.at ? { of: "ready", ...when } : word === "ready" && until ? { of: "warm", at: until.at, label: say("now.warm_until") }
    : word === "not_ready" ? { of: "unknown", label: say("now.ready_at") } : null;
  toggle(element, due);
  if (!due) return;
  put(part(element, "due-label"), due.label + (!due.at || isToday(due.at) ? "" : `, ${dayName(due.at)}`));
  put(part(element, "due-time"), due.at ? timeOfDay(due.at) : say("now.not_known"));
  set(element, "data-of", due.of);
}
// Of several basins a line each: its word, and the first thing to do.
function showBasins(list, shown, line) {
  const basins = shown.isLost ? [] : line.news.verdict.verdicts || [];
  toggle(list, basins.length > 0);
  keep(list, basins, (b) => b.basin, () => make("li", "basin", markOf(), make("b", "name"), make("b", "word"), make("span", "text")), (element, b) => {
    const own = shownOf(b);
    set(element, "data-word", own.word);
    draw(part(element, "mark"), own.mark);
    put(part(element, "name"), say("now.basin", { basin: words(b.basin) }));
    put(part(element, "word"), [own.title, own.under].filter(Boolean).join(", "));
    put(part(element, "text"), b.verdict === "ready" ? "" : (b.waits_for || [])[0] || "");
  });
}
function whyRows(shown, line) {
  if (shown.isLost) {
    const text = line.heardWall ? say("now.lost", { at: clockTime(line.heardWall, true) }) : say("unheard.never");
    return [{ at: "lost", name: "", text }];
  }
  const rows = shown.why.map((why, n) => ({ at: n, name: why.name, text: why.text }));
  if (shown.more) rows.push({ at: "more", name: "", text: say("now.more", { n: shown.more }) });
  return rows.length ? rows : [{ at: "all", name: "", text: shown.all }];
}
function showFirst(element, shown) {
  const [first] = shown.tasks;
  const isDue = first && shown.word !== "at_rest" && shown.word !== "ready";
  toggle(element, isDue);
  if (!isDue) return;
  const [head, rest] = shortened(first.text);
  put(part(element, "first-label"), shown.tasks.length > 1 ? say("now.first_of", { n: shown.tasks.length }) : say("now.to_do"));
  put(part(element, "first-text"), head);
  set(element, "href", first.place);
  toggle(part(element, "first-go"), first.place);
  put(part(element, "first-rest"), rest);
  toggle(part(element, "first-rest"), rest);
}
/** What fits the big lines, and what doesn't: a long task is parted where it pauses, best where a clause ends. */
export function shortened(text) {
  if (text.length <= LONG_TASK) return [text, ""];
  const at = (pause) => [...text.matchAll(pause)].map((match) => match.index).filter((n) => n >= 12 && n <= LONG_TASK).at(-1);
  const cut = at(/[;:.] /g) ?? at(/, | \(/g) ?? text.lastIndexOf(" ", LONG_TASK);
  return cut > 0 ? [text.slice(0, cut), text.slice(cut).replace(/^[;:.,]? /, "… ")] : [text, ""];
}
function showTasks(shown) {
  const isListed = shown.word !== "at_rest" && shown.word !== "ready";
  const rest = isListed ? shown.tasks.slice(1) : shown.tasks;
  toggle(at.todo, rest.length > 0);
  part(at.todo, "tasks").classList.toggle("whole", !isListed);
  put(part(at.todo, "tasks").previousSibling, say(isListed ? "now.then" : "now.to_do_before"));
  keep(part(at.todo, "tasks"), rest, (task) => `${task.at} ${task.text}`, () => make("li", "", make("a", "task")), (item, task) => {
    put(item.firstChild, task.text);
    set(item.firstChild, "href", task.place);
  });
}
function showCall(news) {
  const waiting = Object.values(news ? news.alarms : {}).filter(wantsAnswer).sort((a, b) => Number(b.active) - Number(a.active) || rank(a.priority) - rank(b.priority));
  toggle(at.call, waiting.length > 0);
  if (!waiting.length) return;
  set(at.call, "data-priority", waiting[0].active ? waiting[0].priority : "over");
  draw(part(at.call, "mark"), waiting[0].active ? waiting[0].priority : "gone");
  const alarm = alarmName(waiting[0].id);
  put(part(at.call, "call-text"), waiting.length > 1 ? say("now.alarms_wait", { alarm, n: waiting.length - 1 }) : say("now.alarm_waits", { alarm }));
}

// -- conditions: what is met takes one line, what isn't says why
function showConditions(news, shown) {
  const create = () => make("li", "condition", markOf(), make("span", "name"), make("span", "text"), make("span", "state"));
  keep(part(at.conditions, "conditions"), news.verdict.conditions || [], (c) => c.id, create, (element, c) => {
    const state = ["met", "unmet", "unknown", "by_eye"].includes(c.state) ? c.state : "unknown";
    const waits = state === "unmet" && (!shown.isAct || c.expected_at); // it mends itself
    set(element, "data-state", waits ? "waits" : state);
    draw(part(element, "mark"), shown.isLost ? "off" : waits ? "waiting" : state);
    put(part(element, "name"), conditionName(c.id));
    put(part(element, "state"), stateName(state));
    put(part(element, "text"), [c.text, !isMet(c) && c.expected_at ? say("now.expected", { at: clockTime(c.expected_at) }) : ""].filter(Boolean).join(" · "));
  });
}

// -- filters: days left, with their interval
function showFilters(news) {
  const left = Object.entries(news.estimates || {}).filter(([name]) => /^filter:.*:left$/.test(name));
  toggle(at.filters, left.length > 0);
  const most = Math.max(30, ...left.flatMap(([, e]) => [e.value, e.high]).filter((v) => typeof v === "number"));
  const create = () => make("li", "filter", make("span", "name"), make("span", "left"), horizon.bar(), make("span", "text"));
  keep(part(at.filters, "filters"), left, ([name]) => name, create, (element, [name, e]) => {
    const isKnown = typeof e.value === "number";
    put(part(element, "name"), sentence(words(name.split(":")[1])));
    put(part(element, "left"), isKnown ? say("now.days_left", { n: Math.floor(e.value) }) : say("now.left_unknown"));
    horizon.showBar(part(element, "bar"), isKnown ? { value: e.value, low: e.low, high: e.high, most } : null);
    const drop = (news.estimates[name.replace(/:left$/, ":drop")] || {}).value;
    const said = isKnown && e.low !== null && e.high !== null ? say("now.days_range", { low: Math.floor(e.low), high: Math.ceil(e.high) }) : e.why;
    put(part(element, "text"), [said, typeof drop === "number" ? say("now.drop", { pressure: quantity(drop, "kPa") }) : ""].filter(Boolean).join(" · "));
  });
}

// -- estimates: what the station reckons from what it measures, each with its 90 % interval
const RECKONED = ["needed_reservoir_temperature", "basin_temperature", "supply_capacity", "fill_time", "heating_must_start_by", "night_flow"];
function reckonedText(value, unit) {
  if (unit === "time") return clockTime(value);
  return quantity(value, unit);
}
function showReckoned(news) {
  const found = RECKONED.map((name) => [say(`estimate.${name}`), (news.estimates || {})[name]]).filter(([, e]) => e);
  toggle(at.reckoned, found.length > 0);
  const create = () => make("li", "reckoning", make("span", "name"), make("span", "worth"), make("span", "text"));
  keep(part(at.reckoned, "reckonings"), found, ([text]) => text, create, (element, [text, e]) => {
    const isKnown = e.value !== null && e.value !== undefined;
    const hasRange = isKnown && e.low !== null && e.high !== null && e.low !== e.high;
    put(part(element, "name"), text);
    put(part(element, "worth"), isKnown ? reckonedText(e.value, e.unit) : say("now.not_known"));
    put(part(element, "text"), [hasRange ? say("now.range", { low: reckonedText(e.low, e.unit), high: reckonedText(e.high, e.unit) }) : "", e.why].filter(Boolean).join(" · "));
  });
}

// -- points
const QUALITY_MARKS = { good: "met", uncertain: "unknown", bad: "bad" };

/** What a point is now: {state, mark, seconds, isOld, text}. */
export function stateOf(point, line) {
  const since = line.heardAt ? line.silence() : 0;
  const more = speed() > 1 && since <= FAST_GRACE_S ? 0 : since * speed();
  const seconds = typeof point.age_s === "number" ? point.age_s + more : null;
  const isOld = line.isLost || point.quality === "bad" || seconds === null || (typeof point.stale_after_s === "number" && seconds > point.stale_after_s);
  const state = isOld || !QUALITY_MARKS[point.quality] ? "bad" : point.quality;
  const reason = [point.text || words(point.reason || ""), point.detail, point.advice].filter(Boolean).join(". ");
  if (line.isLost) return { state: "bad", mark: "bad", seconds, isOld, text: point.quality === "good" ? "" : reason };
  if (state === "bad") return { state, mark: "bad", seconds, isOld, text: point.quality === "good" ? say("now.stale") : say("now.bad", { why: reason }) };
  const beyond = beyondOf(point, line.news);
  const texts = [beyond && sentence(beyond), state === "uncertain" ? say("now.uncertain", { why: reason }) : ""].filter(Boolean);
  return { state: beyond ? "beyond" : state, mark: beyond ? "beyond" : QUALITY_MARKS[state], seconds, isOld, text: texts.join(". ") };
}
/** [number or word, unit] of a point's value. */
export function valueOf(point) {
  const contact = contactWords(point.role);
  if (contact && (point.value === 0 || point.value === 1)) return [contact[point.value], ""];
  return inWords(point.value, point.unit, point.shown);
}
function showPoints(line, shown) {
  const value = () => make("span", "value", make("span", "number"), make("small"));
  const create = () => make("li", "point", markOf(), make("span", "name", make("span", "role"), make("small", "id")), value(), make("span", "age"), make("span", "text"));
  keep(part(at.points, "points"), Object.values(line.news.points), (p) => p.id, create, (element, p) => {
    const now = stateOf(p, line);
    const [number, unit] = valueOf(p);
    set(element, "data-state", now.state);
    set(element, "data-waits", now.state === "beyond" && (!shown.isAct || mendsItself(p, line.news)) ? "" : null);
    element.classList.toggle("old", now.isOld);
    draw(part(element, "mark"), now.mark);
    set(part(element, "mark"), "title", say(`state.${now.state}`));
    put(part(element, "role"), pointName(p));
    put(part(element, "id"), ` ${p.id}`);
    put(part(element, "number"), number);
    put(part(element, "value").querySelector("small"), unit && ` ${unit}`);
    put(part(element, "age"), now.seconds === null ? say("now.no_reading") : say("now.old", { age: age(now.seconds) }));
    put(part(element, "text"), now.text);
  });
}

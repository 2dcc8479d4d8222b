// Trends: what was measured and what was said of it, over one time axis that is moved and widened by finger, mouse and keys.

import { button, keep, make, part, put, section, set, show as toggle } from "../dom.js";
import { happened } from "../happened.js";
import { drawPlot, makePlot } from "../lane.js";
import { Readings } from "../readings.js";
import { Span, RANGES, bucketWidth, ticksOf } from "../span.js";
import { figure, say } from "../say.js";
import { blocksOf, lay, showBlocks, showLegend, toldOf, wordName } from "../strip.js";
import { alarmName, because, clockTime, dayLong, dayName, lasting, nowMs, priorityName, reasonName, sentence, timeOfDay, words } from "../told.js";
import { converterOf, inWords, quantity, signOf } from "../units.js";
import { crossingOf, extremesOf, foreseenTo, together } from "../trend_words.js";
import { drive } from "../steering.js";


const STYLES = ["first", "second", "third"];
// What is drawn: `roles` of points, their unit as held, and the least height of the scale in it. Titles are `lane.<name>`, lines `curve.<role>`.
const LANES = {
  reservoir: { roles: ["reservoir_temperature"], held: "Cel", least: 2 },
  pressure: { roles: ["supply_pressure", "between_filters_pressure", "filtered_pressure"], held: "kPa", least: 20 },
  flow: { roles: ["supply_flow"], held: "L/min", least: 8, isFromZero: true },
  filters: { roles: [], held: "kPa", least: 5, isFromZero: true },
};
const FORESEEN = ["reservoir_ready", "reservoir_below_needed"]; // estimates of when it will be warm enough, and until when
const FOLLOW_LEAST_MS = 5000; // while it follows now, readings come no oftener
const ALARM_ROWS = 3;
const WORDS_TOLD = 4; // changes of the verdict that are told one by one
const TABLE_MOST = 120;
const DAY_MS = 86400e3;

let at = {};
let state = null;

export function mount(root, app) {
  const kept = state; // what was looked at when somebody went to another view
  state = {
    app, span: kept ? kept.span : new Span(), range: kept ? kept.range : "six_hours", moment: null, isTables: false, drawn: "", followed: 0, view: null,
    readings: new Readings(() => again()), happened: happened(() => again()),
  };
  at = { lanes: {} };
  at.reins = reins();
  at.trouble = make("p", "trouble");
  at.trouble.setAttribute("role", "status");
  at.axis = make("div", "axis", make("div", "ticks-of"), make("span", "axis-now"), make("span", "cross"));
  Object.entries({ role: "slider", tabindex: "0", "aria-label": say("trends.moment"), "aria-describedby": "trend-keys" }).forEach(([name, value]) => at.axis.setAttribute(name, value));
  at.readout = make("div", "readout", make("p", "when-of"), make("ul", "values-of"));
  at.score = make("div", "panel score", make("div", "head-of", at.readout, at.axis), said(), ...Object.keys(LANES).map(lane));
  at.keys = make("p", "quiet", say("trends.keys"));
  at.keys.id = "trend-keys";
  root.append(at.reins, at.trouble, at.score, at.keys);
  drive(at, {
    view: () => state.view, isHere: () => document.body.dataset.view === "trends",
    move: (share) => change(() => state.span.move(share, nowMs(), state.view)),
    zoom: (factor, about) => change(() => state.span.zoom(factor, about, state.view), ""),
    moment: (ms) => read(ms), step: (n) => stepMoment(n), now: toNow,
  });
}
function again() {
  state.drawn = "";
  if (document.body.dataset.view === "trends") show(state.app);
}
function change(how, range) {
  how();
  if (range !== undefined) state.range = range;
  state.drawn = "";
  show(state.app);
}
function toNow() {
  state.moment = null;
  change(() => (state.span.end = null));
}

// -- what moves it
function reins() {
  const ranges = make("div", "ranges");
  ranges.setAttribute("role", "group");
  ranges.setAttribute("aria-label", say("trends.how_long"));
  for (const name of Object.keys(RANGES)) {
    const one = button("chip-button", say(`range.${name}`), () => change(() => {
      const { view, span } = state;
      const middle = state.moment ?? (view.from + view.to) / 2;
      span.length = RANGES[name];
      if (!span.isLive) span.end = middle + span.length / 2 >= nowMs() ? null : middle + span.length / 2;
    }, name));
    one.dataset.range = name;
    ranges.append(one);
  }
  const move = (share) => () => change(() => state.span.move(share, nowMs(), state.view));
  const zoom = (factor) => () => change(() => state.span.zoom(factor, state.moment ?? (state.span.isLive ? nowMs() : (state.view.from + state.view.to) / 2), state.view), "");
  const steps = make("div", "steps-of");
  for (const [name, text, does] of [
    [say("trends.earlier"), "‹", move(-0.5)], [say("trends.shorter"), "+", zoom(0.5)], [say("trends.longer"), "−", zoom(2)], [say("trends.later"), "›", move(0.5)],
  ]) {
    const one = button("step-button", text, does);
    one.setAttribute("aria-label", name);
    one.title = name;
    steps.append(one);
  }
  const tables = button("chip-button to-tables", say("trends.tables"), () => change(() => (state.isTables = !state.isTables)));
  steps.append(button("to-now", say("trends.now"), toNow), tables);
  return make("div", "panel reins", ranges, steps);
}

// -- lanes
function lane(name) {
  const of = LANES[name];
  const plot = makePlot(STYLES.slice(0, Math.max(1, of.roles.length || 3)));
  plot.append(make("div", "draws-of"), make("div", "flags"));
  plot.append(make("span", "now-line"), make("span", "cross"));
  const table = make("div", "scroll");
  const element = section("trend", `trend-${name}`, say(`lane.${name}`), make("p", "summary"), plot, table);
  at.lanes[name] = { element, plot, table };
  return element;
}
/** The verdict as a strip, and alarms as spans below it. */
function said() {
  const strip = make("div", "strip-row");
  const rows = make("div", "alarm-rows");
  const table = make("div", "scroll");
  const element = section("trend", "trend-said", say("lane.said"), make("p", "summary"), make("div", "plot-like", strip, rows, make("span", "now-line"), make("span", "cross")), make("ul", "legend"), table);
  at.said = { element, strip, rows, table };
  return element;
}

/** The points of a lane, each with its name, style and how its values are shown. */
function pointsOf(name, news) {
  const of = LANES[name];
  const found = of.roles.flatMap((role, n) => Object.values(news.points).filter((point) => point.role === role).map((point) => ({ point, n })));
  const isAlone = (role) => found.filter(({ point }) => point.role === role).length === 1;
  return found.slice(0, STYLES.length).map(({ point, n }, nth) => ({
    point, style: STYLES[of.roles.length > 1 ? n : nth], name: isAlone(point.role) ? say(`curve.${point.role}`) : point.id,
  }));
}
const allPoints = (news) => Object.keys(LANES).flatMap((name) => pointsOf(name, news).map((one) => one.point.id));

export function show(app) {
  const news = app.line.news;
  toggle(at.score, news);
  if (!news) return put(at.trouble, app.line.isLost ? say("trends.never") : "");
  const now = nowMs();
  const width = at.axis.clientWidth || 600;
  const view = { ...state.span.at(now, foreseenUntil(news, now)), now };
  state.view = view;
  const bucket = bucketWidth(state.span.length, width);
  state.readings.want(allPoints(news), view.from, view.to, bucket, now);
  if (state.span.isLive && !app.line.isLost && now - state.followed > Math.max(FOLLOW_LEAST_MS, bucket / 4)) {
    state.followed = now;
    state.readings.follow(bucket, now);
  }
  state.happened.want(view.from, view.to, now, app.book.newest);
  const pixel = (view.to - view.from) / width;
  const drawn = [Math.round(view.from / pixel), pixel, width, state.moment, Math.round(now / Math.max(pixel, 1000)), app.line.isLost, innerHeight].join();
  if (state.drawn === drawn) return null;
  state.drawn = drawn;
  put(at.trouble, [...new Set([state.readings.trouble, state.happened.trouble])].filter(Boolean).join(" "));
  toggle(at.trouble, at.trouble.textContent);
  showReins();
  showAxis(view, width);
  showSaid(view);
  const stretch = state.readings.best(view.from, view.to, bucket);
  for (const name of Object.keys(LANES)) showLane(name, view, news, stretch);
  showReadout(view, news, stretch);
  return null;
}

/** Up to when something is foreseen that is worth a place beside now. */
function foreseenUntil(news, now) {
  const ends = FORESEEN.map((of) => news.estimates[of]).filter((one) => one && one.value && one.high).map((one) => Date.parse(one.high));
  const ahead = ends.filter((end) => end > now);
  return ahead.length ? Math.min(...ahead) : null;
}

function showReins() {
  for (const one of at.reins.querySelectorAll("[data-range]")) set(one, "aria-pressed", String(one.dataset.range === state.range));
  const now = part(at.reins, "to-now");
  set(now, "aria-pressed", String(state.span.isLive));
  set(part(at.reins, "to-tables"), "aria-pressed", String(state.isTables));
}

/** Lay the upright lines of a kind, one in each lane, at an instant; null: nowhere. */
function place(name, ms, view) {
  const share = ms === null ? -1 : (ms - view.from) / (view.to - view.from);
  for (const element of at.score.getElementsByClassName(name)) {
    toggle(element, share >= 0 && share <= 1);
    element.style.left = `${(100 * share).toFixed(3)}%`;
  }
}
function showAxis(view, width) {
  const ticks = ticksOf(view.from, view.to, 68 / width);
  keep(part(at.axis, "ticks-of"), ticks, (tick) => tick.at, () => make("span", "tick-of"), (element, tick) => {
    put(element, tick.text);
    set(element, "data-day", tick.isDay ? "" : null);
    element.style.left = `${((100 * (tick.at - view.from)) / (view.to - view.from)).toFixed(2)}%`;
  });
  const { isLost } = state.app.line;
  const nowAt = part(at.axis, "axis-now");
  const share = (view.now - view.from) / (view.to - view.from);
  toggle(nowAt, share >= 0 && share <= 1);
  put(nowAt, say(isLost ? "trends.last_heard" : "horizon.now"));
  nowAt.style.left = `${(100 * share).toFixed(2)}%`;
  set(nowAt, "data-side", share > 0.9 ? "left" : null);
  at.score.classList.toggle("unheard", isLost);
  place("now-line", view.now, view);
  place("cross", state.moment, view);
}

// -- the verdict and alarms
function showSaid(view) {
  const told = state.happened.told;
  const blocks = told ? blocksOf(told.verdict).map((block) => (block.to >= told.until ? { ...block, to: Math.max(block.to, view.now) } : block)).filter((b) => b.to > view.from && b.from < view.to) : [];
  state.blocks = blocks;
  showBlocks(at.said.strip, blocks, view.from, view.to);
  showLegend(part(at.said.element, "legend"));
  const alarms = told ? told.alarms.map((alarm) => ({ ...alarm, from: Date.parse(alarm.from), to: alarm.to ? Date.parse(alarm.to) : view.now, isOn: !alarm.to })).filter((a) => a.to > view.from && a.from < view.to) : [];
  state.alarms = alarms;
  const rows = packed(alarms, (view.to - view.from) / 200);
  keep(at.said.rows, Object.keys(rows.shown), (n) => n, () => make("div", "alarm-row"), () => null);
  [...at.said.rows.children].forEach((row, n) => keep(row, rows.shown[n], (alarm) => `${alarm.id} ${alarm.from}`, () => make("span", "alarm-of", make("span", "alarm-text")), (element, alarm) => {
    lay(element, alarm, view.from, view.to);
    set(element, "data-priority", alarm.priority);
    set(element, "data-on", alarm.isOn && !state.app.line.isLost ? "" : null);
    const wide = (Math.min(alarm.to, view.to) - Math.max(alarm.from, view.from)) / (view.to - view.from);
    put(element.firstChild, wide > 0.09 ? alarmName(alarm.id) : "");
  }));
  const word = state.span.length > 40 * DAY_MS ? dayName : clockTime;
  const more = rows.left + (told ? told.more_alarms : 0);
  const counted = alarms.length + (told ? told.more_alarms : 0);
  put(part(at.said.element, "summary"), !told ? say(state.happened.trouble ? "trends.not_known_now" : "trends.being_read") : together([
    `${sentence(toldOf(blocks, word, WORDS_TOLD))}.`, alarmWords(alarms, counted, word), more ? say("trends.not_drawn", { n: more }) : "",
  ]));
  fill(at.said.table, [say("column.alarm"), say("column.priority"), say("column.from"), say("column.to")], () =>
    alarms.map((a) => [alarmName(a.id), priorityName(a.priority), clockTime(a.from), a.isOn ? say("trends.still_there") : clockTime(a.to)]));
}
function alarmWords(alarms, counted, word) {
  if (!counted) return say("trends.no_alarm");
  const first = alarms.slice(0, 2).map(({ id, from, to, isOn }) => {
    const [alarm, at] = [alarmName(id), word(from)];
    if (!isOn) return say("trends.alarm_for", { alarm, at, span: lasting(to - from) });
    return say(state.app.line.isLost ? "trends.alarm_stood" : "trends.alarm_stands", { alarm, at });
  });
  const all = say(counted === 1 ? "trends.alarm_one" : "trends.alarms", { n: counted, alarms: first.join("; ") + (counted > 2 ? "; …" : "") });
  return all.replace(/….$/, "…"); // which ends it already
}
/** In as few rows as they need, at most ALARM_ROWS; what has no place is counted. Alarms come the most urgent first. */
function packed(alarms, gap) {
  const shown = [];
  let left = 0;
  for (const alarm of alarms) {
    const row = shown.find((one) => one.every((other) => alarm.from >= other.to + gap || alarm.to + gap <= other.from));
    if (row) row.push(alarm);
    else if (shown.length < ALARM_ROWS) shown.push([alarm]);
    else left += 1;
  }
  return { shown, left };
}

// -- a lane
function showLane(name, view, news, stretch) {
  const of = LANES[name];
  const { element, plot } = at.lanes[name];
  const { unit, convert } = converterOf(of.held);
  const data = name === "filters" ? filterData(news, view, convert) : pointData(name, news, stretch, convert, view);
  toggle(element, data.isThere);
  if (!data.isThere) return;
  const size = { width: plot.clientWidth || 600, height: plot.clientHeight || 150 };
  drawPlot(plot, view, { ...data, least: convert(of.least) - convert(0), isFromZero: of.isFromZero }, size);
  const sign = signOf(unit);
  put(element.firstChild, say("name.point_of", { what: say(`lane.${name}`), of: sign }));
  put(part(element, "summary"), data.summary(sign));
  showDraws(plot, name, view);
  keep(part(plot, "flags"), (data.flags || []).filter((flag) => flag.at > view.from && flag.at < view.to), (flag) => flag.text, () => make("span", "flag"), (flag, one) => {
    put(flag, one.text);
    flag.style.left = `${((100 * (one.at - view.from)) / (view.to - view.from)).toFixed(2)}%`;
    set(flag, "data-side", (one.at - view.from) / (view.to - view.from) > 0.6 ? "left" : null);
  });
  fill(at.lanes[name].table, data.head(sign), data.rows);
}

const valueNow = (point) => (state.app.line.isLost || point.quality === "bad" ? null : point.value);

function pointData(name, news, stretch, convert, view) {
  const points = pointsOf(name, news);
  const { held } = LANES[name];
  const all = (list) => list.map((value) => (value === null ? null : convert(value)));
  const series = points.map(({ point, style, name: text }) => {
    const own = stretch && stretch.points[point.id];
    const end = valueNow(point);
    const columns = own ? { min: all(own.min), mean: all(own.mean), max: all(own.max), quality: own.quality } : {};
    return { name: text, style, end: state.span.isLive && typeof end === "number" ? convert(end) : null, ...columns };
  });
  const data = {
    isThere: points.length > 0, isRead: stretch !== null || Boolean(state.readings.trouble), from: stretch ? stretch.from : 0, width: stretch ? stretch.width : 1, series, limits: [], dots: [], foreseen: [], flags: [],
  };
  const needed = name === "reservoir" && news.estimates.needed_reservoir_temperature ? news.estimates.needed_reservoir_temperature.value : null;
  if (typeof needed === "number") {
    data.limits.push({ value: convert(needed), name: say("trends.needed_now") });
    const value = points.length ? valueNow(points[0].point) : null;
    for (const id of FORESEEN) {
      const when = news.estimates[id];
      if (!when || !when.value || typeof value !== "number") continue;
      data.foreseen.push(foreseenTo(view.now, value, needed, when).map((one) => ({ at: one.at, low: convert(one.low), high: convert(one.high) })));
      if (Date.parse(when.value) - view.now > 0.15 * (view.to - view.from)) data.flags.push({ at: Date.parse(when.value), text: say(id === "reservoir_ready" ? "trends.warm_about" : "trends.warm_until", { at: timeOfDay(when.value) }) });
    }
  }
  const shown = (value) => quantity(value, held);
  const first = points[0] && stretch && stretch.points[points[0].point.id];
  data.summary = () => together([
    ...points.map(({ point, name: text }) => extremesOf(stretch && stretch.points[point.id], stretch, view, shown, points.length > 1 ? text : "")),
    typeof needed === "number" ? crossingOf(first, stretch, view, needed, shown) : "",
    ...FORESEEN.map((id) => (name === "reservoir" ? foreseenWords(id, news.estimates[id]) : "")),
    name === "flow" && state.happened.told ? drawWords(state.happened.told, view) : "",
  ]);
  data.head = (sign) => [say("column.time"), ...points.flatMap(({ name: what }) => [say("name.point_of", { what, of: sign }), say("column.least"), say("column.greatest")])];
  data.rows = () => rowsOf(stretch, view, series);
  return data;
}
function foreseenWords(id, one) {
  if (!one || !one.value || state.app.line.isLost) return "";
  const range = one.low && one.high ? say("trends.between", { low: timeOfDay(one.low), high: timeOfDay(one.high) }) : "";
  return say(id === "reservoir_ready" ? "trends.ready" : "trends.stays", { at: clockTime(one.value), range });
}
function drawWords(told, view) {
  const seen = told.draws.filter((draw) => Date.parse(draw.to) > view.from && Date.parse(draw.from) < view.to);
  const count = told.more_draws || seen.length;
  if (!count) return say("trends.no_draw");
  const volume = seen.reduce((sum, draw) => sum + (draw.volume_l || 0), 0);
  const inAll = volume ? say("trends.in_all", { volume: quantity(volume, "L") }) : "";
  return count === 1 ? say("trends.draw_one", { volume: inAll }) : say("trends.draws", { n: count, volume: inAll });
}

/** Normalised drops: of each draw where there is room for them, else of each day; now, the limit, and when it will be reached. */
function filterData(news, view, convert) {
  const told = state.happened.told;
  const { isLost } = state.app.line;
  const ids = Object.keys(news.estimates).filter((id) => /^filter:.*:drop$/.test(id)).map((id) => id.split(":")[1]).slice(0, STYLES.length);
  const data = { isThere: ids.length > 0, isRead: told !== null || Boolean(state.happened.trouble), from: 0, width: 1, series: [], limits: [], dots: [], foreseen: [], flags: [] };
  const facts = ids.map((id, n) => {
    const drop = news.estimates[`filter:${id}:drop`];
    const left = news.estimates[`filter:${id}:left`];
    const condition = (news.verdict.conditions || []).find((one) => one.id === `filter:${id}`);
    const limit = condition && condition.unit === "kPa" && typeof condition.limit === "number" ? condition.limit : null;
    const ofDraws = told ? told.draws.filter((draw) => typeof draw.drops_kpa[id] === "number").map((draw) => ({ at: Date.parse(draw.to), value: draw.drops_kpa[id] })) : [];
    const ofDays = told ? told.filter_days.filter((day) => day.filter === id).map((day) => ({ at: Date.parse(day.at), value: day.drop_kpa })) : [];
    const dots = ofDraws.length ? ofDraws : ofDays;
    const value = typeof drop.value === "number" ? drop.value : null;
    const newest = value === null || isLost ? [] : [{ at: view.now, value }];
    data.dots.push([...dots, ...newest].map((dot) => ({ at: dot.at, value: convert(dot.value) })));
    data.series.push({ name: words(id), style: STYLES[n], end: value === null || !state.span.isLive ? null : convert(value) });
    if (value !== null && limit !== null && !isLost && left && typeof left.low === "number") {
      const when = { value: view.now + (left.value ?? left.low) * DAY_MS, low: view.now + left.low * DAY_MS, high: view.now + (left.high ?? left.low * 4) * DAY_MS };
      data.foreseen.push(foreseenTo(view.now, value, limit, when).map((one) => ({ at: one.at, low: convert(one.low), high: convert(one.high) })));
    }
    return { id, value, limit, left, dots };
  });
  const limits = [...new Set(facts.map((one) => one.limit).filter((limit) => limit !== null))];
  for (const limit of limits) data.limits.push({ value: convert(limit), name: limits.length > 1 ? say("trends.limit_of", { filter: words(facts.find((one) => one.limit === limit).id) }) : say("trends.limit") });
  const inView = (dots) => dots.filter((dot) => dot.at > view.from && dot.at < view.to);
  data.summary = () => together(facts.map(({ id, value, limit, left, dots }) => {
    const seen = inView(dots).map((dot) => dot.value);
    const range = seen.length ? say("trends.here", { low: quantity(Math.min(...seen), "kPa"), high: quantity(Math.max(...seen), "kPa") }) : "";
    const known = value === null ? say("now.not_known") : quantity(value, "kPa");
    const drop = value === null || limit === null ? known : say("trends.of_limit", { drop: known, limit: quantity(limit, "kPa") });
    return `${because(sentence(words(id)), [range, say(isLost ? "trends.drop_last" : "trends.drop_now", { drop }), endWords(left)].filter(Boolean).join(", "))}.`;
  }));
  data.head = (sign) => [say("column.time"), say("column.stage"), say("name.point_of", { what: say("column.drop"), of: sign })];
  data.rows = () => facts.flatMap(({ id, dots }) => inView(dots).map((dot) => [dot.at, [clockTime(dot.at), words(id), quantity(dot.value, "kPa")]])).sort((a, b) => b[0] - a[0]).map(([, row]) => row);
  return data;
}

/** When a filter will be at its limit, or why that isn't known. */
function endWords(left) {
  if (!left) return "";
  if (typeof left.value !== "number") return left.why ? say("trends.ends_why", { why: left.why }) : "";
  const n = Math.round(left.value);
  return left.low === null || left.high === null ? say("trends.ends", { n }) : say("trends.ends_between", { n, low: Math.floor(left.low), high: Math.ceil(left.high) });
}

function showDraws(plot, name, view) {
  if (name !== "flow") return;
  const draws = state.happened.told ? state.happened.told.draws.map((draw) => ({ ...draw, from: Date.parse(draw.from), to: Date.parse(draw.to) })).filter((draw) => draw.to > view.from && draw.from < view.to) : [];
  keep(part(plot, "draws-of"), draws, (draw) => draw.from, () => make("span", "draw-of"), (element, draw) => lay(element, draw, view.from, view.to));
}

// -- a table of what is shown, made once it is open
function fill(box, head, rows) {
  toggle(box, state.isTables);
  if (!state.isTables) return box.replaceChildren();
  const all = rows();
  const shown = all.slice(0, TABLE_MOST);
  const top = make("tr", "", ...head.map((text) => {
    const cell = make("th", "", text);
    cell.scope = "col";
    return cell;
  }));
  const body = make("tbody", "", ...shown.map((row) => make("tr", "", ...row.map((text, n) => make(n ? "td" : "th", "", text)))));
  const place = box.scrollTop;
  box.replaceChildren(make("table", "", make("thead", "", top), body));
  if (!shown.length) box.append(make("p", "quiet", say("trends.nothing_here")));
  if (all.length > shown.length) box.append(make("p", "quiet", say("trends.newest_of", { shown: shown.length, n: all.length })));
  box.tabIndex = 0;
  set(box, "role", "group");
  set(box, "aria-label", say("trends.table"));
  box.scrollTop = place;
  return box;
}
/** The buckets in view, newest first, as they are said. */
function rowsOf(stretch, view, series) {
  if (!stretch) return [];
  const rows = [];
  const number = (value) => (value === null || value === undefined ? "—" : figure(Number(value.toFixed(2))));
  const mean = (one, n) => (one.mean[n] !== null && doubtOf(one.quality[n]) ? `${number(one.mean[n])} (${doubtOf(one.quality[n])})` : number(one.mean[n]));
  for (let n = stretch.n - 1; n >= 0; n -= 1) {
    const from = stretch.from + n * stretch.width;
    if (from + stretch.width <= view.from || from >= view.to) continue;
    rows.push([stretch.width >= DAY_MS ? dayName(from) : clockTime(from, stretch.width < 60e3), ...series.flatMap((one) => (one.mean ? [mean(one, n), number(one.min[n]), number(one.max[n])] : ["—", "—", "—"]))]);
  }
  return rows;
}

/** What is said of a bucket whose readings were not all good. */
const doubtOf = (quality) => (quality === "u" ? say("trends.unsure") : quality === "b" ? say("trends.partly_bad") : "");

// -- the values at a moment
function read(ms) {
  state.moment = ms;
  state.drawn = "";
  show(state.app);
}
function stepMoment(n) {
  const { view, span } = state;
  const width = bucketWidth(span.length, at.axis.clientWidth || 600);
  const from = state.moment ?? Math.min(view.now, view.to);
  const next = n === -Infinity ? view.from + width / 2 : Math.min(view.now, from + n * width);
  if (next < view.from) span.move(-0.25, nowMs(), view);
  if (next > view.to) span.move(0.25, nowMs(), view);
  read(next);
}
function showReadout(view, news, stretch) {
  const moment = state.moment;
  const { isLost } = state.app.line;
  const ms = moment ?? view.now;
  const block = (state.blocks || []).find((one) => one.from <= ms && (ms < one.to || (ms === view.now && one.to === ms)) && one.high > 0.999);
  const word = block ? wordName(block.what) : "";
  const whenRead = () => `${sentence(dayLong(ms))}, ${timeOfDay(ms, Boolean(stretch) && stretch.width < 60e3)}`;
  const when = moment !== null ? whenRead() : isLost ? say("trends.last_heard_at", { at: clockTime(ms, true) }) : say("trends.now_at", { at: timeOfDay(ms) });
  put(part(at.readout, "when-of"), [when, word].filter(Boolean).join(" · "));
  const values = Object.keys(LANES).flatMap((name) => pointsOf(name, news).map(({ point, style, name: text }) => {
    const { held } = LANES[name];
    if (moment === null) {
      const isOld = isLost && typeof point.value === "number";
      const value = typeof valueNow(point) === "number" || isOld ? quantity(point.value, held, point.shown) : say("now.not_known");
      return { text, style, value: isOld ? say("trends.was", { value }) : value, more: "" };
    }
    const own = stretch && stretch.points[point.id];
    const n = stretch ? Math.floor((ms - stretch.from) / stretch.width) : -1;
    if (!own || n < 0 || n >= stretch.n || own.mean[n] === null) {
      const why = own && own.reason[n];
      return { text, style, value: say(own && own.quality[n] === "b" ? "trends.not_believed" : "now.no_reading"), more: why ? reasonName(why) : "" };
    }
    const range = own.max[n] - own.min[n] > 0 ? say("now.range", { low: inWords(own.min[n], held)[0], high: inWords(own.max[n], held)[0] }) : "";
    return { text, style, value: quantity(own.mean[n], held), more: [range, doubtOf(own.quality[n])].filter(Boolean).join(", ") };
  }));
  keep(part(at.readout, "values-of"), values, (one) => `${one.style} ${one.text}`, () => make("li", "value-of", make("span", "swatch"), make("span", "value-name"), make("b", "value-text"), make("small", "value-more")), (item, one) => {
    set(item, "data-style", one.style);
    put(part(item, "value-name"), one.text);
    put(part(item, "value-text"), one.value);
    put(part(item, "value-more"), one.more);
  });
  set(at.axis, "aria-valuemin", Math.round(view.from / 1000));
  set(at.axis, "aria-valuemax", Math.round(view.to / 1000));
  set(at.axis, "aria-valuenow", Math.round(Math.min(Math.max(ms, view.from), view.to) / 1000));
  set(at.axis, "aria-valuetext", [when, word, ...values.map((one) => `${one.text} ${one.value}${one.more ? `, ${one.more}` : ""}`)].filter(Boolean).join("; "));
}

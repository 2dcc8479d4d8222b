// Station: how well the instrument itself is, how it is set up, and how this device shows it.

import { choose, chosen, light } from "../device.js";
import { keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { firstPanel, showFirst } from "../first.js";
import { ask } from "../line.js";
import { LANGUAGES, figure, has, say } from "../say.js";
import { supportPanel } from "../support.js";
import { age, because, clockTime, dayName, isToday, known, pointName, sentence, timeOfDay, titled, words } from "../told.js";
import { CHOICES, offsetIn } from "../units.js";
import { stateOf, valueOf } from "./now.js";
import { headOf } from "./alarms.js";

export const mark = "aside";

const HEALTH_EVERY_MS = 5000;
let at = {};
let seen = {};

export function mount(root, app) {
  seen = { healthAt: -Infinity, health: null };
  at.device = section("panel", "device", say("station.device"), ...choosers(app));
  at.health = section("panel", "health", say("station.health"), make("p", "health-word", markOf(), make("span", "health-text")), make("dl", "facts"));
  at.first = firstPanel(() => app.line.anew());
  at.about = section("panel", "about", say("station.about"), make("dl", "facts"));
  at.points = section("panel wide", "calibration", say("station.points"), make("div", "scroll", make("table", "points-table")));
  at.settings = section("panel wide", "settings", say("station.settings"), make("p", "quiet"), make("div", "settings"));
  root.append(make("div", "columns", make("div", "column", at.about, at.health), make("div", "column", at.device, at.first, supportPanel())), at.points, at.settings);
  at.rows = make("tbody");
  part(at.points, "points-table").append(headOf(...["point", "reads", "quality", "calibrated", "due", "u"].map((column) => say(`column.${column}`))), at.rows);
  askSettings();
}

export function show(app) {
  showAbout(app.line);
  showReviewed(app.line.station);
  showFirst(at.first, app.line.station);
  if (performance.now() - seen.healthAt > HEALTH_EVERY_MS) askHealth();
  showHealth(app.line.isLost);
  if (app.line.news) showPoints(app.line);
}

// -- this screen
const SCHEMES = ["device", "day", "dark"];

function choosers(app) {
  const speech = [["device", say("choice.device")], ...Object.entries(LANGUAGES).map(([tag, { name }]) => [tag, name])];
  const again = () => {
    show(app);
    app.line.anew();
  };
  const units = Object.entries(CHOICES).map(([what, values]) => chooser(say(`chooser.${what}`), values.map((value) => [value, say(`choice.${value}`)]), `units.${what}`, "station", again));
  return [
    chooser(say("chooser.language"), speech, "lang", "device", () => document.dispatchEvent(new Event("language"))), make("p", "reviewed quiet"),
    ...units, chooser(say("chooser.light"), SCHEMES.map((value) => [value, say(`choice.${value}`)]), "scheme", "device", light),
  ];
}
function showReviewed(about) {
  const note = part(at.device, "reviewed");
  put(note, say("station.unreviewed"));
  toggle(note, about && about.reviewed === false);
}
function chooser(text, values, key, otherwise, then) {
  const group = make("div", "choices");
  group.setAttribute("role", "radiogroup");
  group.setAttribute("aria-label", text);
  for (const [value, name] of values) {
    const input = make("input");
    Object.assign(input, { type: "radio", name: key, value, checked: chosen(key, otherwise) === value });
    input.addEventListener("change", () => {
      choose(key, value);
      then();
    });
    const text = make("span", "", name);
    if (key === "lang" && value !== otherwise) text.lang = value;
    group.append(make("label", "choice", input, text));
  }
  return make("div", "chooser", make("span", "chooser-name", text), group);
}

// -- which station
function facts(list, rows) {
  const create = () => make("div", "fact", make("dt"), make("dd"));
  keep(list, rows.filter(([, value]) => value !== null && value !== undefined && value !== ""), ([name]) => name, create, (element, [name, value, state]) => {
    put(element.firstChild, name);
    put(element.lastChild, value);
    set(element, "data-state", state || null);
  });
}
function showAbout(line) {
  const about = line.station;
  if (!about) return;
  const clock = !line.news ? "" : say(line.news.verdict.trusted ? "station.trusted" : "station.not_trusted");
  facts(part(at.about, "facts"), [
    [say("about.name"), about.title], [say("about.site"), about.site], [say("about.station"), about.station], [say("about.timezone"), about.timezone],
    [say("about.clock"), clock], [say("about.version"), about.version], [say("about.boot"), about.boot ? String(about.boot).slice(0, 8) : ""],
    [say("about.demo"), about.demo ? say("station.demo", { scenario: about.demo, speed: about.speed }) : ""],
  ]);
}

// -- health
async function askHealth() {
  seen.healthAt = performance.now();
  const { body } = await ask("/health");
  seen.health = body && body.parts ? body : null;
}
const HEALTH = { ok: ["met", "health.ok"], degraded: ["unknown", "health.degraded"], failed: ["bad", "health.failed"] };
const fine = (is) => (is ? null : "bad");
const bytes = (n) => (n >= 1e9 ? say("size.gb", { n: figure(n / 1e9, 1) }) : n >= 1e6 ? say("size.mb", { n: figure(n / 1e6, 1) }) : say("size.kb", { n: Math.ceil(n / 1e3) }));

function showHealth(isLost) {
  const health = isLost ? null : seen.health;
  const [sign, text] = health ? HEALTH[health.status] || HEALTH.failed : ["unknown", isLost ? "health.not_heard" : "health.not_known"];
  const word = part(at.health, "health-word");
  set(word, "data-state", sign);
  if (part(word, "mark").dataset.mark !== sign) part(word, "mark").replaceWith(markOf(sign));
  put(part(word, "health-text"), say(text));
  toggle(part(at.health, "facts"), health);
  if (!health) return;
  const { parts } = health;
  const { judge = {}, journal = {}, series = {}, buses = {}, mqtt, telling } = parts;
  facts(part(at.health, "facts"), [
    [say("health.judge"), judge.ok === undefined ? "" : say(judge.ok ? "health.judges" : "health.judge_trouble", { age: age(health.judge_quiet_s) }), fine(judge.ok !== false)],
    [say("health.uptime"), typeof parts.uptime_s === "number" ? age(parts.uptime_s) : ""],
    [say("health.store"), parts.store && typeof parts.store !== "object" ? String(parts.store) : "", fine(parts.store === "ok" || typeof parts.store === "object")],
    [say("health.journal"), health.last_seq === null ? String(parts.journal) : because([say("health.entries", { n: health.last_seq }), journal.bytes ? bytes(journal.bytes) : ""].filter(Boolean).join(", "), journal.trouble), fine(!journal.trouble && health.last_seq !== null)],
    [say("health.readings"), series.trouble || (typeof series.lost_readings === "number" ? say("health.readings_lost", { lost: series.lost_readings, wait: series.waiting }) : ""), fine(!series.trouble && !series.lost_readings)],
    [say("health.disk"), typeof series.free_bytes === "number" ? say(series.low ? "health.disk_low" : "health.disk_free", { free: bytes(series.free_bytes) }) : "", fine(!series.low)],
    ...Object.entries(buses).map(([name, bus]) => [say("health.bus", { bus: name }), busText(bus), fine(bus.state === "ok")]),
    [say("health.mqtt"), mqtt ? (mqtt.connected ? say("health.connected", { n: mqtt.behind }) : because(say("health.not_connected"), mqtt.last_error)) : "", fine(!mqtt || mqtt.connected)],
    ...Object.entries((telling && telling.targets) || {}).map(([name, target]) => [say("health.tells", { target: name }), targetText(target), fine(!target.untold_since)]),
    [say("health.stuck"), (parts.stuck || []).join(", "), "bad"],
    [say("health.streams"), String(health.streams)],
  ]);
}
function busText(bus) {
  const state = because(`${words(bus.kind)}, ${known("bus", bus.state)}`, bus.why);
  return [state, bus.faults ? say("health.faults", { n: bus.faults }) : "", bus.remark].filter(Boolean).join("; ");
}
function targetText(target) {
  if (target.untold_since) return because(say("health.untold", { at: clockTime(target.untold_since) }), target.why);
  return target.told_at ? say("health.told", { at: clockTime(target.told_at) }) : say("health.nothing_told");
}

// -- points
function showPoints(line) {
  const create = () => {
    const name = make("th", "", make("span", "role"), make("small", "id"));
    name.scope = "row";
    return make("tr", "", name, ...["reads", "quality", "calibrated", "due-day", "u"].map((cell) => make("td", cell)));
  };
  keep(at.rows, Object.values(line.news.points), (p) => p.id, create, (row, p) => {
    const now = stateOf(p, line);
    set(row, "data-state", now.state);
    row.classList.toggle("old", now.isOld);
    put(part(row, "role"), pointName(p));
    put(part(row, "id"), ` ${p.id}`);
    put(part(row, "reads"), valueOf(p).filter(Boolean).join(" "));
    put(part(row, "quality"), now.isOld && p.quality !== "bad" ? say("quality.stale") : qualityOf(p));
    const fix = p.correction;
    put(part(row, "calibrated"), fix ? correctionOf(fix, p.unit) : p.unit === "1" ? "—" : say("station.not_calibrated"));
    put(part(row, "due-day"), fix && fix.due_at ? (isToday(fix.due_at) ? timeOfDay(fix.due_at) : dayName(fix.due_at)) : "—");
    put(part(row, "u"), typeof p.u === "number" ? `± ${apart(2 * p.u, p.unit)}` : p.unit === "1" ? "—" : say("station.u_unknown"));
  });
}
const TWO_DIGITS = { minimumSignificantDigits: 2, maximumSignificantDigits: 2 };
/** How far two values are apart, to two digits, in the unit that is chosen here. */
function apart(value, held) {
  const [number, sign] = offsetIn(value, 1, held);
  return `${figure(number, undefined, TWO_DIGITS)} ${sign}`.trim();
}
const qualityOf = (p) => (p.errors ? say("station.bad_readings", { quality: known("quality", p.quality), n: p.errors }) : known("quality", p.quality));
function correctionOf(fix, unit) {
  const when = fix.at ? dayName(fix.at) : say("station.yes");
  const [offset, sign] = offsetIn(fix.offset, fix.gain, unit);
  return because(when, `× ${figure(fix.gain, 4)}, ${offset >= 0 ? "+" : "−"} ${figure(Math.abs(offset), 3)} ${sign}`);
}

// -- settings
async function askSettings() {
  const { ok, body, trouble } = await ask("/api/1/settings");
  if (!at.settings.isConnected) return;
  const line = part(at.settings, "quiet");
  if (!ok) return put(line, trouble || say("station.no_settings"));
  put(line, say("station.settings_of", { at: clockTime(body.dated_at || body.at), digest: String(body.digest).slice(0, 16) }));
  part(at.settings, "settings").replaceChildren(...Object.entries(body.document).map(([name, value]) => table(name, value)));
}
const TITLES = { api: "API", mqtt: "MQTT" };
function table(name, value) {
  const items = Array.isArray(value) ? value : [value];
  const blocks = items.map((item) => {
    const rows = item && typeof item === "object" && !Array.isArray(item) ? Object.entries(item) : [["", item]];
    const head = item && typeof item === "object" && item.id ? make("h3", "", String(item.id)) : "";
    return make("div", "setting", head, make("dl", "facts", ...rows.filter(([key]) => key !== "id").map(([key, one]) => make("div", "fact", make("dt", "", words(key)), make("dd", "", plain(one))))));
  });
  const details = make("details", "settings-group", make("summary", "", TITLES[name] || (has(`section.${name}`) ? known("section", name) : titled("conditions", name) || sentence(words(name)))), make("div", "setting-blocks", ...blocks));
  details.dataset.name = name;
  return details;
}
function plain(value) {
  if (Array.isArray(value)) return value.map(plain).join(", ");
  if (value && typeof value === "object") return Object.entries(value).map(([key, one]) => `${words(key)} ${plain(one)}`).join("; ");
  return value === true ? say("station.yes") : value === false ? say("station.no") : String(value);
}

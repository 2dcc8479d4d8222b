// Station: how well the instrument itself is, how it is set up, and how this device shows it.

import { choose, chosen, light } from "../device.js";
import { keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { ask } from "../line.js";
import { age, clockTime, dayName, pointName, sentence, words } from "../told.js";
import { CHOICES, signOf } from "../units.js";
import { stateOf, valueOf } from "./now.js";
import { headOf } from "./alarms.js";

export const title = "Station";
export const mark = "aside";

const HEALTH_EVERY_MS = 5000;
let at = {};
let seen = {};

export function mount(root, app) {
  seen = { healthAt: -Infinity, health: null };
  at.device = section("panel", "device", "This screen", ...choosers(app), make("p", "quiet",
    "Numbers of points and estimates are shown in these units. Sentences stay in the station's own for now."));
  at.health = section("panel", "health", "How well it is", make("p", "health-word", markOf(), make("span", "health-text")), make("dl", "facts"));
  at.about = section("panel", "about", "Which station", make("dl", "facts"));
  at.points = section("panel wide", "calibration", "Points and their calibration", make("div", "scroll", make("table", "points-table")));
  at.settings = section("panel wide", "settings", "Settings in force", make("p", "quiet"), make("div", "settings"));
  root.append(make("div", "columns", make("div", "column", at.about, at.health), make("div", "column", at.device)), at.points, at.settings);
  at.rows = make("tbody");
  part(at.points, "points-table").append(headOf("Point", "Reads", "Quality", "Calibrated", "Due again", "Uncertainty"), at.rows);
  askSettings();
}

export function show(app) {
  showAbout(app.line);
  if (performance.now() - seen.healthAt > HEALTH_EVERY_MS) askHealth();
  showHealth(app.line.isLost);
  if (app.line.news) showPoints(app.line);
}

// -- this screen
const CHOICE_WORDS = { station: "as the station", degC: "°C", degF: "°F", psi: "psi", kPa: "kPa", bar: "bar", L: "litres", gal: "gallons" };
const SCHEMES = { device: "as this device", day: "day", dark: "dark" };

function choosers(app) {
  const units = Object.entries(CHOICES).map(([what, values]) => chooser(sentence(what === "volume" ? "volume and flow" : what), values.map((value) => [value, CHOICE_WORDS[value]]),
    `units.${what}`, "station", () => show(app)));
  return [...units, chooser("Light", Object.entries(SCHEMES), "scheme", "device", light)];
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
    group.append(make("label", "choice", input, make("span", "", name)));
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
  const clock = !line.news ? "" : line.news.verdict.trusted ? "trusted" : "not trusted yet";
  facts(part(at.about, "facts"), [
    ["Name", about.title], ["Site", about.site], ["Station", about.station], ["Time zone", about.timezone], ["Board's clock", clock],
    ["Version of Warmwell", about.version], ["Boot", about.boot ? String(about.boot).slice(0, 8) : ""],
    ["Demo", about.demo ? `${about.demo}, ${about.speed} times as fast` : ""],
  ]);
}

// -- health
async function askHealth() {
  seen.healthAt = performance.now();
  const { body } = await ask("/health");
  seen.health = body && body.parts ? body : null;
}
const HEALTH = { ok: ["met", "Well"], degraded: ["unknown", "It judges, but a part is in trouble"], failed: ["bad", "It can't be relied on"] };
const fine = (is) => (is ? null : "bad");
const bytes = (n) => (n >= 1e9 ? `${(n / 1e9).toFixed(1)} GB` : n >= 1e6 ? `${(n / 1e6).toFixed(1)} MB` : `${Math.ceil(n / 1e3)} kB`);

function showHealth(isLost) {
  const health = isLost ? null : seen.health;
  const [sign, text] = health ? HEALTH[health.status] || HEALTH.failed : ["unknown", isLost ? "Not heard" : "Not known yet"];
  const word = part(at.health, "health-word");
  set(word, "data-state", sign);
  if (part(word, "mark").dataset.mark !== sign) part(word, "mark").replaceWith(markOf(sign));
  put(part(word, "health-text"), text);
  toggle(part(at.health, "facts"), health);
  if (!health) return;
  const { parts } = health;
  const { judge = {}, journal = {}, series = {}, buses = {}, mqtt, telling } = parts;
  facts(part(at.health, "facts"), [
    ["Judge", judge.ok === undefined ? "" : `${judge.ok ? "judges" : "in trouble"}; renewed ${age(health.judge_quiet_s)} ago`, fine(judge.ok !== false)],
    ["Runs for", typeof parts.uptime_s === "number" ? age(parts.uptime_s) : ""],
    ["Store", parts.store && typeof parts.store !== "object" ? String(parts.store) : "", fine(parts.store === "ok" || typeof parts.store === "object")],
    ["Journal", health.last_seq === null ? String(parts.journal) : `${health.last_seq} entries${journal.bytes ? `, ${bytes(journal.bytes)}` : ""}${journal.trouble ? `: ${journal.trouble}` : ""}`, fine(!journal.trouble && health.last_seq !== null)],
    ["Readings", series.trouble || (typeof series.lost_readings === "number" ? `${series.lost_readings} lost, ${series.waiting} wait` : ""), fine(!series.trouble && !series.lost_readings)],
    ["Disk", typeof series.free_bytes === "number" ? `${bytes(series.free_bytes)} free${series.low ? ", nearly full" : ""}` : "", fine(!series.low)],
    ...Object.entries(buses).map(([name, bus]) => [`Bus ${name}`, `${words(bus.kind)}, ${bus.state}${bus.why ? `: ${bus.why}` : ""}${bus.faults ? `; ${bus.faults} faults` : ""}${bus.remark ? `; ${bus.remark}` : ""}`, fine(bus.state === "ok")]),
    ["Told by MQTT", mqtt ? (mqtt.connected ? `connected, ${mqtt.behind} behind` : `not connected${mqtt.last_error ? `: ${mqtt.last_error}` : ""}`) : "", fine(!mqtt || mqtt.connected)],
    ...Object.entries((telling && telling.targets) || {}).map(([name, target]) => [`Tells ${name}`, targetText(target), fine(!target.untold_since)]),
    ["Makes no progress", (parts.stuck || []).join(", "), "bad"],
    ["Screens that look on", String(health.streams)],
  ]);
}
function targetText(target) {
  if (target.untold_since) return `can't be told since ${clockTime(target.untold_since)}${target.why ? `: ${target.why}` : ""}`;
  return target.told_at ? `told last ${clockTime(target.told_at)}` : "nothing to tell yet";
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
    put(part(row, "quality"), now.isOld && p.quality !== "bad" ? "stale" : p.quality + (p.errors ? `, ${p.errors} bad since the start` : ""));
    const fix = p.correction;
    put(part(row, "calibrated"), fix ? `${fix.at ? dayName(fix.at) : "yes"}: × ${fix.gain.toFixed(4)}, ${fix.offset >= 0 ? "+" : "−"} ${Math.abs(fix.offset).toFixed(3)} ${signOf(p.unit)}` : p.unit === "1" ? "—" : "not yet");
    put(part(row, "due-day"), fix && fix.due_at ? clockTime(fix.due_at).replace(/ \d\d:\d\d.*/, "") : "—");
    put(part(row, "u"), typeof p.u === "number" ? `± ${(2 * p.u).toPrecision(2)} ${signOf(p.unit)}` : p.unit === "1" ? "—" : "not known");
  });
}

// -- settings
async function askSettings() {
  const { ok, body, trouble } = await ask("/api/1/settings");
  if (!at.settings.isConnected) return;
  const line = part(at.settings, "quiet");
  if (!ok) return put(line, trouble || "The settings can't be had just now.");
  put(line, `The station file as taken ${clockTime(body.dated_at || body.at)}, digest ${String(body.digest).slice(0, 16)}. Passwords and addresses of people stand in no settings.`);
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
  const details = make("details", "settings-group", make("summary", "", TITLES[name] || sentence(words(name))), make("div", "setting-blocks", ...blocks));
  details.dataset.name = name;
  return details;
}
function plain(value) {
  if (Array.isArray(value)) return value.map(plain).join(", ");
  if (value && typeof value === "object") return Object.entries(value).map(([key, one]) => `${words(key)} ${plain(one)}`).join("; ");
  return value === true ? "yes" : value === false ? "no" : String(value);
}

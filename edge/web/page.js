"use strict";
// The page shows what the station says, and says itself when the station has not been heard: nothing old may look live.
// Everything that comes from outside is written with textContent.

const LOST_AFTER_S = 5; // a snapshot comes each second
const REOPEN_AFTER_S = 12; // a connection over which nothing comes is opened anew
const FAST_GRACE_S = 3; // with a fast clock the second between two snapshots is minutes, and no age
const ENTRIES_SHOWN = 15;

const UNITS = { Cel: "°C", degC: "°C", degF: "°F", "uS/cm": "µS/cm", 1: "" };
const PRIORITIES = ["high", "medium", "low"];
const SHAPES = {
  met: "M4 13l5 5L20 7", by_eye: "M2 12s4-6 10-6 10 6 10 6-4 6-10 6S2 12 2 12zM12 10a2 2 0 100 4 2 2 0 000-4z",
  unmet: "M5 5l14 14M19 5L5 19", unknown: "M8 9a4 4 0 117 3c-2 1-3 2-3 4M12 20v.5", triangle: "M12 3L22 20H2zM12 10v5M12 17v.5",
};
const SHAPE_OF = { good: "met", uncertain: "unknown", bad: "unmet" };

const $ = (id) => document.getElementById(id);
const state = { station: null, news: null, newsAt: null, lastSeq: null, source: null, openedAt: null, entries: new Map(), asked: false };

// -- time ------------------------------------------------------------------------------------------------------------
// Two clocks: one stops while a tablet sleeps, the other can be set. The longer time counts.
const instant = () => ({ wall: Date.now(), mono: performance.now() });
function secondsSince(then) {
  if (!then) return Infinity;
  const now = instant();
  return Math.max(now.wall - then.wall, now.mono - then.mono, 0) / 1000;
}
function local(when, options) {
  const zone = state.station && state.station.timezone;
  try {
    return new Intl.DateTimeFormat("en-GB", { timeZone: zone || "UTC", ...options }).format(new Date(when));
  } catch {
    return String(when);
  }
}
const A_DAY = { year: "numeric", month: "2-digit", day: "2-digit" };
const dayOf = (when) => local(when, A_DAY);
const TO_THE_MINUTE = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
const TO_THE_SECOND = { ...TO_THE_MINUTE, second: "2-digit" };
const shownAt = (ms) => local(ms, { ...A_DAY, ...TO_THE_SECOND });
// Clocks that are set back show an hour (in one zone half of one) a second time: then it is said with its offset.
function comesTwice(when) {
  const ms = new Date(when).getTime();
  return [-3600e3, -1800e3, 1800e3, 3600e3].some((apart) => shownAt(ms + apart) === shownAt(ms));
}
function clockTime(when, seconds) {
  const time = { ...(seconds ? TO_THE_SECOND : TO_THE_MINUTE), ...(comesTwice(when) ? { timeZoneName: "shortOffset" } : {}) };
  const today = state.news ? state.news.at : Date.now();
  const day = dayOf(when) === dayOf(today) ? "" : local(when, { weekday: "short", day: "numeric", month: "short" }) + " ";
  return day + local(when, time);
}
function age(s) {
  if (s === null || s === undefined || !Number.isFinite(s)) return "never";
  if (s < 60) return `${Math.round(s)} s`;
  if (s < 5400) return `${Math.round(s / 60)} min`;
  return s < 172800 ? `${(s / 3600).toFixed(1)} h` : `${Math.round(s / 86400)} d`;
}

// -- small helpers ---------------------------------------------------------------------------------------------------
function put(element, text) {
  const plain = text === null || text === undefined ? "" : String(text);
  if (element.textContent !== plain) element.textContent = plain;
}
function set(element, name, value) {
  if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}
function make(tag, className, ...children) {
  const element = document.createElement(tag);
  if (className) element.className = className;
  element.append(...children);
  return element;
}
function draw(element, shape) {
  if (element.dataset.shape === shape) return;
  element.dataset.shape = shape;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  const looks = { viewBox: "0 0 24 24", fill: "none", stroke: "currentColor", "stroke-width": "3.2", "stroke-linecap": "round", "stroke-linejoin": "round" };
  for (const [name, value] of Object.entries(looks)) svg.setAttribute(name, value);
  path.setAttribute("d", SHAPES[shape] || SHAPES.unknown);
  svg.append(path);
  element.replaceChildren(svg);
}
// Keep one element per key, in order, so that focus and reading position stay where they are.
function keep(list, items, key, create, update) {
  const old = new Map([...list.children].map((element) => [element.dataset.key, element]));
  items.forEach((item, at) => {
    const name = String(key(item));
    let element = old.get(name);
    old.delete(name);
    if (!element) {
      element = create(item);
      element.dataset.key = name;
    }
    if (list.children[at] !== element) list.insertBefore(element, list.children[at] || null);
    update(element, item);
  });
  for (const element of old.values()) element.remove();
}
const words = (id) => String(id).replaceAll("_", " ");
// The station hands out its words with what it says of itself (/api/1/station). What has none is shown by its id.
function titled(table, id) {
  const titles = (state.station && state.station.words && state.station.words[table]) || {};
  return Object.hasOwn(titles, id) ? titles[id] : null;
}
function named(table, id, between = " ") {
  const [base, ...rest] = String(id).split(":");
  return (titled(table, base) || words(base)) + (rest.length ? between + words(rest.join(" ")) : "");
}
const conditionName = (id) => named("conditions", id, /^(free|no_hold|daily_test):/.test(id) ? ", basin " : " ");
const alarmName = (id) => named("alarms", id, ": ");
const part = (element, name) => element.querySelector("." + name);

// -- verdict ---------------------------------------------------------------------------------------------------------
function showVerdict() {
  const isLost = secondsSince(state.newsAt) > LOST_AFTER_S;
  document.body.classList.toggle("lost", isLost);
  const verdict = state.news && state.news.verdict;
  const word = isLost || !verdict ? "unknown" : verdict.verdict;
  set($("verdict"), "data-verdict", ["ready", "not_ready"].includes(word) ? word : "unknown");
  put($("word-text"), word === "ready" ? "READY" : "NOT READY");
  put($("cannot"), word === "ready" || word === "not_ready" ? "" : "CAN'T TELL");
  draw($("sign"), word === "ready" ? "met" : word === "not_ready" ? "unmet" : "unknown");
  put($("why"), isLost ? lostText() : why(verdict));
  put($("when"), isLost ? "" : expected(verdict));
  showBasins(verdict, isLost);
  if (verdict && verdict.note) put($("note"), verdict.note);
  put($("live-word"), isLost ? "NOT LIVE" : state.station && state.station.speed > 1 ? `live, ${state.station.speed} times as fast` : "live");
  put($("clock"), isLost || !verdict ? "" : clockTime(verdict.at, true) + (verdict.trusted ? "" : " (clock not trusted yet)"));
  document.title = `${word === "ready" ? "READY" : word === "not_ready" ? "NOT READY" : "CAN'T TELL"} · ${stationName()}`;
  const waits = verdict ? verdict.waits_for || [] : [];
  $("todo").hidden = waits.length === 0;
  keep($("waits"), waits.map((text, at) => ({ text, at })), (item) => `${item.at} ${item.text}`, () => make("li"), (element, item) => put(element, item.text));
}
// Of several basins a line each: its word, and the first thing to do.
function showBasins(verdict, isLost) {
  const basins = (verdict && verdict.verdicts) || [];
  $("basins").hidden = basins.length === 0;
  keep($("basins"), basins, (b) => b.basin, () => make("li", "", make("span", "name"), make("span", "word"), make("span", "text")), (element, b) => {
    const word = isLost ? "unknown" : b.verdict;
    const first = word === "ready" ? "" : (b.waits_for || [])[0] || "";
    put(part(element, "name"), `${b.basin}: `);
    put(part(element, "word"), word === "ready" ? "READY" : word === "not_ready" ? "NOT READY" : "NOT READY, CAN'T TELL");
    put(part(element, "text"), first && ` · ${first}`);
  });
}
function lostText() {
  if (!state.newsAt) return "Nothing has been heard from the station yet.";
  return `No connection since ${clockTime(state.newsAt.wall, true)}. What is shown below is old.`;
}
function why(verdict) {
  const open = (verdict.conditions || []).filter((c) => c.state === "unmet" || c.state === "unknown");
  if (open.length === 0) return titled("phases", verdict.phase) ? `All conditions are met. Station ${titled("phases", verdict.phase)}.` : "All conditions are met.";
  open.sort((a, b) => (a.state === "unmet" ? 0 : 1) - (b.state === "unmet" ? 0 : 1));
  const told = open.slice(0, 3).map((c) => `${conditionName(c.id)}: ${c.text || named("condition_states", c.state)}`);
  return told.join(" · ") + (open.length > 3 ? ` · and ${open.length - 3} more` : "");
}
function expected(verdict) {
  if (verdict.verdict === "ready") return "";
  if (!verdict.expected_at) return "When it will be right is not known.";
  const range = verdict.earliest && verdict.latest ? ` (${clockTime(verdict.earliest)} to ${clockTime(verdict.latest)})` : "";
  const rest = (verdict.waits_for || []).length > 0 ? ", once the list below is done" : "";
  return `Ready about ${clockTime(verdict.expected_at)}${range}${rest}`;
}
const stationName = () => (state.station && (state.station.title || state.station.station)) || "Warmwell";

// -- conditions, points, alarms --------------------------------------------------------------------------------------
function row(...more) {
  return make("li", "row", make("span", "mark"), make("span", "name"), ...more);
}
function pointRow(...more) {
  const element = row(...more);
  part(element, "name").append(make("span", "role"), make("small", "id"));
  return element;
}
function showConditions() {
  const conditions = (state.news && state.news.verdict.conditions) || [];
  keep($("condition-list"), conditions, (c) => c.id, () => row(make("span", "state"), make("span", "text")), (element, c) => {
    const word = SHAPES[c.state] ? c.state : "unknown";
    set(element, "data-state", word);
    set(part(element, "mark"), "aria-hidden", "true");
    draw(part(element, "mark"), word);
    put(part(element, "name"), conditionName(c.id));
    put(part(element, "state"), named("condition_states", word));
    put(part(element, "text"), [c.text, word !== "met" && c.expected_at ? `expected ${clockTime(c.expected_at)}` : ""].filter(Boolean).join(" · "));
  });
}
function shownValue(point) {
  const contact = titled("contacts", point.role);
  if (contact && (point.value === 0 || point.value === 1)) return [contact[point.value], ""];
  const { value, unit } = point.shown || { value: point.value, unit: point.unit };
  if (value === null || value === undefined) return ["—", ""];
  const text = typeof value === "number" ? value.toFixed(Math.abs(value) >= 1000 ? 0 : Math.abs(value) < 10 ? 2 : 1) : String(value);
  return [text, UNITS[unit] ?? unit ?? ""];
}
function showPoints() {
  const points = state.news ? Object.values(state.news.points) : [];
  const speed = (state.station && state.station.speed) || 1;
  const since = state.newsAt ? secondsSince(state.newsAt) : 0;
  const more = speed > 1 && since <= FAST_GRACE_S ? 0 : since * speed;
  const create = () => pointRow(make("span", "value", make("span", "number"), make("small")), make("span", "age"), make("span", "text"));
  keep($("point-list"), points, (p) => p.id, create, (element, p) => {
    const seconds = typeof p.age_s === "number" ? p.age_s + more : null;
    const isOld = p.quality === "bad" || seconds === null || (typeof p.stale_after_s === "number" && seconds > p.stale_after_s);
    const quality = isOld ? "bad" : SHAPE_OF[p.quality] ? p.quality : "bad";
    const [number, unit] = shownValue(p);
    set(element, "data-state", quality);
    element.classList.toggle("old", isOld);
    set(part(element, "mark"), "aria-hidden", "true");
    draw(part(element, "mark"), SHAPE_OF[quality]);
    put(part(element, "role"), named("roles", p.role) + (p.of ? `, ${p.of}` : ""));
    put(part(element, "id"), ` ${p.id}`);
    put(part(element, "number"), number);
    put(part(element, "value").querySelector("small"), unit ? " " + unit : "");
    put(part(element, "age"), seconds === null ? "no reading" : `${age(seconds)} old`);
    const reason = p.quality === "good" && isOld ? "stale: no news of it" : quality === "good" ? "" : [p.text || words(p.reason || ""), p.detail, p.advice].filter(Boolean).join(". ");
    put(part(element, "text"), quality === "good" ? "" : `${quality}: ${reason}`);
  });
}
const wantsAnswer = (alarm) => /unacknowledged$/.test(alarm.state);
function showAlarms() {
  const all = state.news ? Object.values(state.news.alarms) : [];
  const lit = all.filter((a) => a.state !== "normal").sort(byWeight);
  const ids = new Set(lit.map((a) => a.id));
  const causes = lit.filter((a) => !ids.has(a.consequence_of));
  const ordered = causes.flatMap((cause) => [cause, ...lit.filter((a) => a.consequence_of === cause.id)]);
  const missed = lit.filter((a) => !ordered.includes(a));
  $("no-alarms").hidden = lit.length > 0;
  put($("no-alarms"), !state.news ? "Not known yet." : document.body.classList.contains("lost") ? "None when last heard; not known now." : "None.");
  keep($("alarm-list"), [...ordered, ...missed], (a) => a.id, createAlarm, updateAlarm);
}
function byWeight(a, b) {
  const weight = (x) => [!x.active ? 2 : wantsAnswer(x) ? 0 : 1, PRIORITIES.indexOf(x.priority) + 1 || 9];
  const [x, y] = [weight(a), weight(b)];
  return x[0] - y[0] || x[1] - y[1] || String(b.since).localeCompare(String(a.since));
}
function createAlarm(alarm) {
  const button = make("button", "answer", "Acknowledge");
  button.type = "button";
  button.addEventListener("click", () => askWho(alarm.id));
  const mark = make("span", "mark");
  mark.setAttribute("aria-hidden", "true");
  const head = make("p", "head", mark, make("span", "what"));
  return make("li", "alarm", head, button, make("p", "facts"), make("p", "more cause"), make("p", "more consequence"), make("p", "more response"));
}
function updateAlarm(element, a) {
  set(element, "data-priority", a.priority || "low");
  element.classList.toggle("answered", !wantsAnswer(a));
  element.classList.toggle("follows", Boolean(a.consequence_of));
  draw(part(element, "mark"), "triangle");
  put(part(element, "what"), alarmName(a.id));
  const facts = [`${a.priority || "low"} priority`, named("alarm_states", a.state)];
  if (a.since) facts.push(`since ${a.since_at_latest ? "at the latest " : ""}${clockTime(a.since)}`);
  if (a.first_out) facts.push("came first");
  if (a.again) facts.push(`announced again ${a.again} times${a.escalated ? ", its priority raised" : ""}`);
  if (a.crossings > 1) facts.push(`came ${a.crossings} times`);
  if (a.aside_by) facts.push(`put aside by ${a.aside_by}${a.aside_until ? ` until ${clockTime(a.aside_until)}` : ""}${a.aside_why ? `: ${a.aside_why}` : ""}`);
  if (a.acknowledged_by) facts.push(`seen by ${a.acknowledged_by}`);
  if (a.consequence_of) facts.push(`follows from ${alarmName(a.consequence_of)}`);
  put(part(element, "facts"), facts.join(" · "));
  put(part(element, "cause"), a.cause);
  put(part(element, "consequence"), a.active ? a.consequence : "");
  put(part(element, "response"), a.active && a.response ? `Do: ${a.response}` : "");
  const button = part(element, "answer");
  button.hidden = !wantsAnswer(a);
  button.disabled = document.body.classList.contains("lost");
  set(button, "aria-label", `Acknowledge ${alarmName(a.id)}`);
}

// -- journal ---------------------------------------------------------------------------------------------------------
function entryText(entry) {
  const b = entry.body || {};
  if (entry.kind === "alarm") return `${alarmName(b.id)}: ${named("alarm_states", b.to)}${b.by ? " by " + b.by : ""}${b.cause ? " · " + b.cause : ""}`;
  if (entry.kind === "verdict") return [words(b.to || b.verdict || ""), ...Object.entries(b.basins || {}).map(([id, word]) => `${id}: ${words(word)}`)].join(" · ");
  if (entry.kind === "record") return `${words(b.record)} by ${b.by}${b.counts === false ? " · does not count: " + (b.why_not || "") : ""}`;
  if (entry.kind === "phase") return `${words(b.from || "")} → ${words(b.to || "")}`;
  const pairs = Object.entries(b).filter(([, value]) => value === null || typeof value !== "object").slice(0, 5);
  return pairs.map(([key, value]) => `${words(key)} ${value}`).join(" · ");
}
function addEntries(entries) {
  for (const entry of entries) {
    state.entries.set(entry.seq, entry);
    state.lastSeq = Math.max(state.lastSeq ?? 0, entry.seq);
  }
  const newest = [...state.entries.keys()].sort((a, b) => b - a);
  for (const seq of newest.slice(ENTRIES_SHOWN)) state.entries.delete(seq);
  const shown = newest.slice(0, ENTRIES_SHOWN).map((seq) => state.entries.get(seq));
  const create = () => make("li", "", make("time"), make("span", "kind"), make("span", "text"));
  keep($("entry-list"), shown, (e) => e.seq, create, (element, e) => {
    const time = element.querySelector("time");
    const at = e.dated_at || e.at;
    const isMoved = Math.abs(Date.parse(at) - Date.parse(e.at)) > 1000;
    put(time, clockTime(at, true) + (e.dated_at && (e.trusted || isMoved) ? "" : "?"));
    set(time, "datetime", at);
    put(part(element, "kind"), words(e.kind));
    put(part(element, "text"), entryText(e) + (isMoved ? ` · stamped ${dayOf(e.at)} ${local(e.at, TO_THE_SECOND)}` : ""));
  });
}
async function loadEntries(seq) {
  try {
    const answer = await fetch(`/api/1/journal?after=${Math.max(0, seq - ENTRIES_SHOWN)}&limit=100`);
    if (answer.ok) addEntries((await answer.json()).entries);
  } catch {
    state.asked = false; // asked again with the next snapshot
  }
}

// -- acknowledging ---------------------------------------------------------------------------------------------------
let answering = null;
function remembered(name) {
  try {
    if (name !== undefined) sessionStorage.setItem("warmwell.by", name);
    return sessionStorage.getItem("warmwell.by") || "";
  } catch {
    return "";
  }
}
function askWho(id) {
  answering = id;
  put($("who-alarm"), `${alarmName(id)}: acknowledging says that you have seen it. Its cause stays until it is mended.`);
  put($("who-fault"), "");
  $("who-name").value = remembered();
  $("who-send").disabled = false;
  $("who").showModal();
  $("who-name").focus();
}
async function sendAnswer(event) {
  event.preventDefault();
  const by = $("who-name").value.trim();
  if (!by) return put($("who-fault"), "Say who you are.");
  $("who-send").disabled = true;
  put($("who-fault"), "");
  try {
    const answer = await fetch(`/api/1/alarms/${encodeURIComponent(answering)}/acknowledge`, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ by }), signal: AbortSignal.timeout(15000),
    });
    if (answer.ok) {
      remembered(by);
      $("who").close();
    } else {
      const problem = await answer.json().catch(() => ({}));
      put($("who-fault"), problem.detail || `The station answered ${answer.status}. Look in the journal before you send it again.`);
    }
  } catch {
    put($("who-fault"), "No answer from the station: it is not known whether it was kept. Look in the journal, then try again.");
  }
  $("who-send").disabled = false;
}

// -- the line to the station -----------------------------------------------------------------------------------------
function takeSnapshot(news) {
  state.news = news;
  state.newsAt = instant();
  if (!state.asked) {
    state.asked = true;
    loadEntries(news.seq || 0);
  }
  showAll();
}
function open() {
  if (state.source) state.source.close();
  state.openedAt = instant();
  const source = new EventSource(state.lastSeq === null ? "/api/1/stream" : `/api/1/stream?after=${state.lastSeq}`);
  state.source = source;
  const read = (event, use) => {
    try {
      use(JSON.parse(event.data));
    } catch (fault) {
      console.warn("an event could not be read", fault.message);
    }
  };
  source.addEventListener("snapshot", (event) => read(event, takeSnapshot));
  source.addEventListener("entry", (event) => read(event, (entry) => {
    addEntries([entry]);
    if (entry.kind === "clock_step") loadEntries(entry.seq); // what stands before it has other dates now
  }));
  source.addEventListener("reset", () => {
    state.entries.clear();
    state.lastSeq = null;
    state.asked = false;
  });
}
// First which station this is, for its zone and the pace of its clock: no time is shown in a guessed zone.
async function begin() {
  state.openedAt = instant();
  try {
    const answer = await fetch("/api/1/station", { signal: AbortSignal.timeout(5000) });
    if (!answer.ok) return;
    state.station = await answer.json();
  } catch {
    return; // tick() tries again
  }
  put($("title"), stationName());
  open();
}
function showAll() {
  showVerdict();
  showConditions();
  showPoints();
  showAlarms();
}
function tick() {
  showAll();
  const isClosed = !state.source || state.source.readyState === EventSource.CLOSED;
  const isMute = Math.min(secondsSince(state.newsAt), secondsSince(state.openedAt)) > REOPEN_AFTER_S;
  if ((isClosed && secondsSince(state.openedAt) > 3) || isMute) begin();
}
$("who-form").addEventListener("submit", sendAnswer);
$("who-cancel").addEventListener("click", () => $("who").close());
window.addEventListener("pagehide", () => state.source && state.source.close());
window.addEventListener("pageshow", (event) => event.persisted && begin());
begin();
setInterval(tick, 1000);
showAll();

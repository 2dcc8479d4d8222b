// Record: what happened, in words, newest first, day by day; and each day as a strip of what the verdict was.

import { timeOf } from "../book.js";
import { GROUPS, entryText, groupOf, kindName } from "../entries.js";
import { button, keep, make, part, put, set, show as toggle } from "../dom.js";
import { say } from "../say.js";
import { dayOf, dayTitle, isToday, nextDay, nowMs, phaseName, sentence, startOfDay, stamped, timeOfDay, verdictName } from "../told.js";

export const mark = "by_eye";

const SHOWN_AT_FIRST = 150;
const MORE = 150;
const HOUR = 3600e3;
let at = {};
let seen = {};

export function mount(root, app) {
  seen = { version: -1, group: "all", search: "", most: SHOWN_AT_FIRST, read: false };
  const groups = make("div", "chips");
  groups.setAttribute("role", "group");
  groups.setAttribute("aria-label", say("record.which"));
  for (const name of ["all", ...GROUPS]) {
    const one = button("chip-button", say(`group.${name}`), () => choose(app, { group: name }));
    one.dataset.group = name;
    groups.append(one);
  }
  const search = make("input", "search");
  Object.assign(search, { id: "search", type: "search", placeholder: say("record.find_hint"), maxLength: 80, autocomplete: "off" });
  search.addEventListener("input", () => choose(app, { search: search.value }));
  const label = make("label", "search-label", say("record.find"));
  label.htmlFor = "search";
  at = {
    groups, days: make("div", "days"), empty: make("p", "quiet"), trouble: make("p", "trouble"),
    earlier: button("earlier", say("record.earlier"), () => goBack(app)),
  };
  at.trouble.setAttribute("role", "status");
  root.append(make("div", "panel finder", groups, make("div", "finding", label, search), legend()), at.trouble, at.days, at.empty, at.earlier);
}
function choose(app, what) {
  Object.assign(seen, what, { most: SHOWN_AT_FIRST, version: -1 });
  show(app);
}
async function goBack(app) {
  seen.most += MORE;
  at.earlier.disabled = true;
  const before = matching(app).length;
  // pages until something of what is looked for comes up, or enough of them
  for (let pages = 0; pages < 10 && (await app.book.earlier()); pages++) if (matching(app).length >= before + 20) break;
  at.earlier.disabled = false;
  seen.version = -1;
  show(app);
}

const textOf = (entry) => `${kindName(entry.kind)} ${entryText(entry)}`;
function matching(app) {
  const wanted = seen.search.trim().toLowerCase();
  return app.book.all().filter((entry) => (seen.group === "all" || groupOf(entry.kind) === seen.group) && (!wanted || textOf(entry).toLowerCase().includes(wanted)));
}

export function show(app) {
  const { book } = app;
  if (book.oldest !== null && book.entries.size < SHOWN_AT_FIRST && !seen.read) {
    seen.read = true;
    book.earlier();
  }
  const today = dayOf(nowMs()) + Math.floor(nowMs() / 600e3); // the strip of today grows
  if (seen.version === book.version && seen.today === today) return;
  Object.assign(seen, { version: book.version, today });
  for (const one of at.groups.children) set(one, "aria-pressed", String(one.dataset.group === seen.group));
  put(at.trouble, book.trouble);
  toggle(at.trouble, book.trouble);
  const found = matching(app);
  const days = new Map();
  for (const entry of found.slice(0, seen.most)) {
    const day = dayOf(timeOf(entry));
    if (!days.has(day)) days.set(day, []);
    days.get(day).push(entry);
  }
  keep(at.days, [...days], ([day]) => day, createDay, (element, [, entries]) => showDay(element, entries, book));
  put(at.empty, found.length ? "" : say(book.entries.size === 0 ? "record.nothing_read" : "record.none_of_kind"));
  toggle(at.empty, !found.length);
  toggle(at.earlier, found.length > seen.most || !(book.isWhole || book.isFull));
}

function createDay() {
  const strip = make("div", "strip", make("div", "strip-row"), make("div", "strip-hours"));
  strip.setAttribute("role", "img");
  return make("section", "panel day", make("h2", ""), strip, make("ol", "entries"));
}
function showDay(element, entries, book) {
  const ms = timeOf(entries[0]);
  put(element.children[0], isToday(ms) ? say("record.today", { day: dayTitle(ms) }) : sentence(dayTitle(ms)));
  showStrip(part(element, "strip"), ms, book);
  const create = () => make("li", "entry", make("time"), make("span", "kind"), make("span", "text", make("b", "word-of"), make("span", "rest")));
  keep(part(element, "entries"), entries, (e) => e.seq, create, (item, e) => {
    const when = e.dated_at || e.at;
    const isMoved = Math.abs(Date.parse(when) - Date.parse(e.at)) > 1000;
    set(item, "data-group", groupOf(e.kind));
    set(item, "data-to", e.kind === "verdict" ? e.body.to : null);
    const time = item.firstChild;
    put(time, timeOfDay(when, true) + (e.dated_at && (e.trusted || isMoved) ? "" : "?"));
    set(time, "datetime", when);
    put(part(item, "kind"), kindName(e.kind));
    const [head, ...rest] = e.kind === "verdict" ? entryText(e).split(" · ") : ["", entryText(e)];
    put(part(item, "word-of"), head);
    put(part(item, "rest"), [head && rest.length ? "" : null, ...rest].filter((one) => one !== null).join(" · ") + (isMoved ? ` · ${say("record.stamped", { at: stamped(e.at) })}` : ""));
  });
}

// -- a day's strip: as the station's own word for people goes, from the entries of verdicts and phases
const STRIP = ["ready", "in_use", "reheating", "at_rest", "not_ready", "unknown"];
const VERDICTS = ["ready", "not_ready", "unknown"];
const stripName = (what) => (VERDICTS.includes(what) ? verdictName(what) : phaseName(what));
const OF_THE_CYCLE = ["free", "reservoir"];
const ALSO_AT_REST = ["outlet", "no_leak", "no_hold", "sensors"];

/** The word of a verdict's entry in a phase: a cycle, its reheat and the night are none of anybody's business. */
function wordOf(body, phase) {
  if (body.to === "ready" || !body.conditions) return body.to;
  const stand = Object.keys(body.conditions).filter((id) => ["unmet", "unknown"].includes(body.conditions[id])).map((id) => id.split(":")[0]);
  if (phase === "at_rest" && stand.length && !stand.some((id) => ALSO_AT_REST.includes(id))) return phase;
  if (["in_use", "reheating"].includes(phase) && stand.length && stand.every((id) => OF_THE_CYCLE.includes(id))) return phase;
  return body.to;
}

/** Spans of a stretch of time: [{from, to, what}]; while nothing was watched there is none. `entries`: oldest first. */
export function spansOf(entries, from, to) {
  const found = [];
  let [what, since, phase, verdict] = [null, from, null, null];
  const change = (ms, next) => {
    if (next === what) return;
    if (what !== null && ms > Math.max(since, from)) found.push({ from: Math.max(since, from), to: Math.min(ms, to), what });
    [what, since] = [next, ms];
  };
  for (const entry of entries) {
    const ms = timeOf(entry);
    if (ms >= to) break;
    if (entry.kind === "started" || entry.kind === "stopped") {
      verdict = null;
      change(ms, null);
    } else if (entry.kind === "phase") {
      phase = entry.body.to;
      if (verdict) change(ms, wordOf(verdict, phase));
    } else if (entry.kind === "verdict") {
      if (!found.length && what === null && entry.body.from && since === from) [what, since] = [entry.body.from, from]; // it had been so before
      verdict = entry.body;
      change(ms, wordOf(verdict, phase));
    }
  }
  change(to, null);
  return found;
}
function showStrip(element, ms, book) {
  const from = startOfDay(ms);
  const end = nextDay(ms);
  const to = Math.min(end, nowMs());
  const spans = spansOf(book.all().reverse(), from, to);
  const place = (one, at) => {
    one.style.left = `${(100 * (at - from)) / (end - from)}%`;
  };
  keep(part(element, "strip-row"), spans, (span) => `${span.from} ${span.what}`, () => make("span", "span"), (block, span) => {
    place(block, span.from);
    block.style.width = `${(100 * (span.to - span.from)) / (end - from)}%`;
    set(block, "data-what", span.what);
  });
  const marks = [];
  for (let hour = from; hour < end; hour += 3 * HOUR) marks.push(hour);
  keep(part(element, "strip-hours"), marks, (hour) => hour, () => make("span"), (one, hour) => {
    place(one, hour);
    put(one, timeOfDay(hour).slice(0, 5));
  });
  const told = spans.map((span) => say("record.span", { what: stripName(span.what), from: timeOfDay(span.from), to: timeOfDay(span.to) }));
  set(element, "aria-label", told.length ? say("record.day", { spans: told.join("; ") }) : say("record.day_unknown"));
}

/** What the colours and patterns of a strip mean. */
function legend() {
  const samples = STRIP.map((what) => {
    const sample = make("span", "span");
    sample.dataset.what = what;
    return make("li", "", sample, stripName(what));
  });
  return make("ul", "legend", ...samples);
}

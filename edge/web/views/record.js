// Record: what happened, in words, newest first, day by day; and each day as a strip of what the verdict was.

import { timeOf } from "../book.js";
import { ask } from "../line.js";
import { blocksOf, showBlocks, showLegend, toldOf } from "../strip.js";
import { GROUPS, entryText, groupOf, kindName } from "../entries.js";
import { button, keep, make, part, put, set, show as toggle } from "../dom.js";
import { say } from "../say.js";
import { dayOf, dayTitle, isToday, nextDay, nowMs, sentence, startOfDay, stamped, timeOfDay } from "../told.js";

export const mark = "by_eye";

const SHOWN_AT_FIRST = 150;
const MORE = 150;
const HOUR = 3600e3;
let at = {};
let seen = {};
const told = new Map(); // a day's begin -> {version, blocks}

export function mount(root, app) {
  told.clear();
  seen = { version: -1, group: "all", search: "", most: SHOWN_AT_FIRST, read: null };
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
    groups, legend: make("ul", "legend"), days: make("div", "days"), empty: make("p", "quiet"), trouble: make("p", "trouble"),
    earlier: button("earlier", say("record.earlier"), () => goBack(app)),
  };
  at.trouble.setAttribute("role", "status");
  root.append(make("div", "panel finder", groups, make("div", "finding", label, search), at.legend), papers(app), at.trouble, at.days, at.empty, at.earlier);
}
/** The reports: what offers them is loaded when somebody opens this part. */
function papers(app) {
  const rows = make("div", "paper-rows");
  const told = make("p", "papers-told quiet", say("papers.says"));
  const root = make("details", "panel papers", make("summary", "", say("papers.title")), told, rows);
  root.addEventListener("toggle", async () => {
    if (!root.open || rows.childElementCount) return;
    try {
      const { fill } = await import("../papers.js");
      const known = app.line.news || (await ask("/api/1/points")).body || {}; // opened before the first news
      if (!rows.childElementCount) fill(rows, known.points || {});
      put(told, say("papers.says"));
    } catch {
      put(told, say("papers.lost"));
    }
  });
  return root;
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

const textOf = (entry) => `${kindName(entry.kind)} ${entryText(entry)} ${say("fact.entry", { seq: entry.seq })}`;
function matching(app) {
  const wanted = seen.search.trim().toLowerCase();
  return app.book.all().filter((entry) => (seen.group === "all" || groupOf(entry.kind) === seen.group) && (!wanted || textOf(entry).toLowerCase().includes(wanted)));
}

export function show(app) {
  const { book } = app;
  showLegend(at.legend);
  if (book.oldest !== null && book.entries.size < SHOWN_AT_FIRST && seen.read !== book.entries) {
    if (seen.read) told.clear(); // the stream began anew: another journal, or the same from another place
    seen.read = book.entries;
    book.earlier();
  }
  const today = dayOf(nowMs()) + Math.floor(nowMs() / 600e3); // the strip of today grows
  if (seen.version === book.version && seen.today === today) return;
  Object.assign(seen, { version: book.version, today });
  for (const one of at.groups.children) set(one, "aria-pressed", String(one.dataset.group === seen.group));
  put(at.trouble, book.trouble);
  toggle(at.trouble, book.trouble);
  const found = matching(app);
  seen.taken = book.takenBack();
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
  const create = () => make("li", "entry", make("time"), make("span", "kind"), make("span", "text", make("b", "word-of"), make("span", "rest"), make("span", "beside")), make("span", "seq"));
  keep(part(element, "entries"), entries, (e) => e.seq, create, (item, e) => {
    const when = e.dated_at || e.at;
    const isMoved = Math.abs(Date.parse(when) - Date.parse(e.at)) > 1000;
    set(item, "data-group", groupOf(e.kind));
    const isTaken = seen.taken.has(e.seq);
    item.classList.toggle("taken", isTaken);
    set(item, "data-to", e.kind === "verdict" ? e.body.to : null);
    const time = item.firstChild;
    put(time, timeOfDay(when, true) + (e.dated_at && (e.trusted || isMoved) ? "" : "?"));
    set(time, "datetime", when);
    put(part(item, "kind"), kindName(e.kind));
    const [head, ...rest] = e.kind === "verdict" ? entryText(e).split(" · ") : ["", entryText(e)];
    put(part(item, "word-of"), head);
    put(part(item, "rest"), [head && rest.length ? "" : null, ...rest].filter((one) => one !== null).join(" · ") + (isMoved ? ` · ${say("record.stamped", { at: stamped(e.at) })}` : ""));
    put(part(item, "beside"), isTaken ? say("record.taken") : "");
    put(part(item, "seq"), say("fact.entry", { seq: e.seq }));
  });
}

// -- a day's strip
const OF_THE_WORD = ["verdict", "phase", "started", "stopped"];
/** What is known of a day: asked for once, and of today again when something of it has come. */
function blocksOfDay(from, end, book) {
  const all = book.all();
  const steps = all.filter((entry) => entry.kind === "clock_step").length; // then every day has other dates
  const newest = all.find((entry) => OF_THE_WORD.includes(entry.kind));
  const version = isToday(from) ? `${steps} ${newest ? newest.seq : 0} ${Math.floor(nowMs() / 600e3)}` : String(steps);
  const known = told.get(from);
  if (known && known.version === version) return known.blocks;
  told.set(from, { version, blocks: known ? known.blocks : [] });
  const [begin, until] = [Math.max(from, 0), Math.min(end, nowMs())];
  if (begin >= until) return []; // of a day that by the clock of now hasn't come, nothing is known
  ask(`/api/1/history?from=${begin / 1000}&to=${until / 1000}`).then(({ ok, body }) => {
    if (!ok) return;
    told.set(from, { version, blocks: blocksOf(body.verdict) });
    seen.version = -1;
  });
  return told.get(from).blocks;
}
function showStrip(element, ms, book) {
  const from = startOfDay(ms);
  const end = nextDay(ms);
  const blocks = blocksOfDay(from, end, book);
  showBlocks(part(element, "strip-row"), blocks, from, end);
  const marks = [];
  for (let hour = from; hour < end; hour += 3 * HOUR) marks.push(hour);
  keep(part(element, "strip-hours"), marks, (hour) => hour, () => make("span"), (one, hour) => {
    one.style.left = `${(100 * (hour - from)) / (end - from)}%`;
    put(one, timeOfDay(hour).slice(0, 5));
  });
  set(element, "aria-label", say("record.day", { spans: toldOf(blocks, timeOfDay, Infinity) }));
}

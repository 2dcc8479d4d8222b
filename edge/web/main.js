// The shell: which view is shown, the navigation, what every view has above it, and the moments at which all is shown anew.
//
// Plain modules, no build step: each file is served as it stands. line.js has the stream and how old it is, book.js the journal, verdict.js
// what the verdict says and asks for, told.js times and words, units.js units, device.js what this screen remembers, entries.js entries in
// words, people.js records and who signs them, horizon.js what lies ahead of now, dom.js elements and marks.
// Of trends: span.js the stretch of time, readings.js and happened.js what is known of it, lane.js and strip.js draw, steering.js the hands.

import { Book } from "./book.js";
import { light } from "./device.js";
import { $, draw, make, markOf, part, put, set, show as toggle } from "./dom.js";
import { Line } from "./line.js";
import { clockTime, nowMs, stationName, timeOfDay, wantsAnswer } from "./told.js";
import { verdictOf } from "./verdict.js";
import * as alarms from "./views/alarms.js";
import * as now from "./views/now.js";
import * as record from "./views/record.js";
import * as station from "./views/station.js";
import * as trends from "./views/trends.js";

const LOOK_EVERY_MS = 500;
// A view is a module: `title` and `mark` for the navigation, mount(root, app) once it is gone to, show(app) twice a second and with each
// picture. `app` is {line, book}. Its place (#name) is its name here.
const VIEWS = { now, alarms, trends, record, station };

const app = { line: null, book: null };
let viewed = null;

// -- navigation
function placeOf(hash) {
  const name = hash.replace(/^#/, "").split("/")[0];
  return Object.hasOwn(VIEWS, name) ? name : "now";
}
function buildNav() {
  for (const [name, view] of Object.entries(VIEWS)) {
    const link = make("a", "tab", markOf(view.mark), make("span", "tab-text", view.title), make("span", "count"));
    link.href = `#${name}`;
    link.dataset.view = name;
    $("nav").append(link);
  }
  const chip = make("a", "chip", markOf(), make("span", "chip-text"));
  chip.href = "#now";
  chip.id = "chip";
  $("bar").insertBefore(chip, $("pulse"));
}
function go() {
  const name = placeOf(location.hash);
  if (viewed === name) return;
  const isFirst = viewed === null;
  viewed = name;
  document.body.dataset.view = name;
  const main = $("main");
  main.replaceChildren();
  for (const link of $("nav").children) set(link, "aria-current", link.dataset.view === name ? "page" : null);
  VIEWS[name].mount(main, app);
  showAll();
  scrollTo(0, 0);
  if (!isFirst) main.focus({ preventScroll: true });
}

// -- what stands above every view
function showShell() {
  const { line } = app;
  const shown = verdictOf(line);
  document.body.classList.toggle("lost", shown.isLost);
  const isFast = line.station && line.station.speed > 1;
  put($("live-word"), shown.isLost ? "NOT LIVE" : isFast ? `live, ${line.station.speed} times as fast` : "live");
  put($("clock"), shown.isLost ? "" : timeOfDay(nowMs(), true) + (line.news.verdict.trusted ? "" : " (clock not trusted yet)"));
  const word = shown.under || shown.title;
  const title = `${word} · ${stationName()}`;
  if (document.title !== title) document.title = title;
  set($("chip"), "data-word", shown.word);
  $("chip").classList.toggle("act", shown.isAct);
  draw(part($("chip"), "mark"), shown.mark);
  put(part($("chip"), "chip-text"), word);
  toggle($("lost-strip"), shown.isLost && viewed !== "now");
  if (shown.isLost) put($("lost-strip"), line.heardWall ? `Not heard since ${clockTime(line.heardWall, true)}: what stands here is old. Don't start by it.` : "Nothing has been heard from the station yet.");
  // said to screen readers when it changes, and only then
  put($("said"), shown.isLost ? (line.heardWall ? "NOT READY, CAN'T TELL: the station is not heard" : "") : `${shown.title}${shown.under ? `, ${shown.under}` : ""}`);
  showCount();
}
function showCount() {
  const news = app.line.news;
  const waiting = news ? Object.values(news.alarms).filter(wantsAnswer) : [];
  const count = part($("nav").querySelector('[data-view="alarms"]'), "count");
  put(count, waiting.length ? String(waiting.length) : "");
  set(count, "aria-label", waiting.length ? `${waiting.length} wait for an answer` : null);
  set(count, "data-priority", waiting.some((alarm) => alarm.active && alarm.priority === "high") ? "high" : null);
}
function showAll() {
  showShell();
  VIEWS[viewed].show(app);
}

app.line = new Line({
  news: () => {
    put($("title"), stationName());
    app.book.begin(app.line.lastSeq);
    showAll();
  },
  entry: (entry) => {
    app.book.add([entry]);
    if (entry.kind === "clock_step") app.book.again(); // what stands before it has other dates now
  },
  reset: () => app.book.clear(),
});
app.book = new Book();

light();
buildNav();
addEventListener("hashchange", go);
addEventListener("pagehide", () => app.line.close());
addEventListener("pageshow", (event) => event.persisted && app.line.begin());
go();
app.line.begin();
setInterval(() => {
  showAll();
  app.line.look();
}, LOOK_EVERY_MS);

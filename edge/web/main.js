// The shell: which view is shown, the navigation, what every view has above it, and the moments at which all is shown anew.
//
// Plain modules, no build step: each file is served as it stands. line.js has the stream and how old it is, book.js the journal, verdict.js
// what the verdict says and asks for, told.js times and words, units.js units, device.js what this screen remembers, entries.js entries in
// words, people.js records and who signs them, session.js who is signed in, sign.js the dialog and the header's sign, scan.js card
// scanners, horizon.js what lies ahead of now, room.js the other stations, dom.js elements and marks, say.js and words/ the page's own words. doing/ has the pages of
// the view Do: wants.js what is asked, draft.js what is begun, pad.js the keypad, fields.js and form.js the forms, commission.js the
// commissioning list. Of trends: span.js the
// stretch of time, readings.js and happened.js what is known of it, lane.js and strip.js draw, trend_words.js what is said of a line,
// steering.js the hands.

import { Book } from "./book.js";
import { light } from "./device.js";
import { $, draw, make, markOf, part, put, set, show as toggle } from "./dom.js";
import { Line } from "./line.js";
import { say, speak } from "./say.js";
import { askToSign, beginSigning, showSign } from "./sign.js";
import { clockTime, nowMs, stationName, timeOfDay, wantsAnswer } from "./told.js";
import { verdictOf } from "./verdict.js";
import * as alarms from "./views/alarms.js";
import * as now from "./views/now.js";
import * as record from "./views/record.js";
import * as station from "./views/station.js";

const LOOK_EVERY_MS = 500;
const AGAIN_MS = 3000; // words that can't be had are asked for again
const HEARD_WITHIN_MS = 4000;
const FETCH_REST_MS = 10000;
// A view is a module: `mark` for the navigation, mount(root, app) once it is gone to, or when another language is chosen, show(app) twice a
// second and with each picture, moved(app) where its place goes on (#name/more), left() once it is gone from. `app` is {line, book}. Its
// place (#name) is its name here, its title the words `view.<name>`. The first look at Now fetches only what is small.
const VIEWS = {
  now,
  do: fetched("do", "by_hand"),
  alarms,
  trends: fetched("trends", "trend"),
  record,
  station,
};

const app = { line: null, book: null };
let viewed = null;

/** A view whose module is fetched once it is gone to, or when there is time; asked for again where the station doesn't answer. */
function fetched(name, mark) {
  let view = null;
  let asking = null;
  const take = (found) => (view = found);
  const again = () => new Promise((done) => setTimeout(done, AGAIN_MS)).then(() => ((asking = null), get()));
  const get = () => (asking ??= import(`./views/${name}.js`).then(take, again));
  const mountLate = () => viewed === name && mount();
  return {
    mark,
    get,
    mount: (root, app) => (view ? view.mount(root, app) : void get().then(mountLate)),
    show: (app) => view?.show(app),
    moved: (app) => view?.moved?.(app),
    left: () => view?.left?.(),
  };
}

// -- navigation
function placeOf(hash) {
  const name = hash.replace(/^#/, "").split("/")[0];
  return Object.hasOwn(VIEWS, name) ? name : "now";
}
function buildNav() {
  for (const [name, view] of Object.entries(VIEWS)) {
    const link = make("a", "tab", markOf(view.mark), make("span", "tab-text"), make("span", "count"));
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
  document.body.classList.toggle("within", location.hash.includes("/")); // a page of a view, with a way back of its own
  if (viewed === name) return VIEWS[name].moved?.(app);
  const isFirst = viewed === null;
  if (!isFirst) VIEWS[viewed].left?.();
  for (const one of document.querySelectorAll("dialog[open]")) one.close(); // it asked for something of the view before
  viewed = name;
  document.body.dataset.view = name;
  for (const link of $("nav").children) set(link, "aria-current", link.dataset.view === name ? "page" : null);
  mount();
  scrollTo(0, 0);
  if (!isFirst) $("main").focus({ preventScroll: true });
}
function mount() {
  $("main").replaceChildren();
  VIEWS[viewed].mount($("main"), app);
  showAll();
}
/** The words of the page itself. */
function sayShell() {
  put($("skip"), say("page.skip"));
  set($("nav"), "aria-label", say("page.views"));
  for (const link of $("nav").children) put(part(link, "tab-text"), say(`view.${link.dataset.view}`));
}
/** Another language was chosen: all is said anew, and asked for anew. Focus and place stay. */
async function speakAnew() {
  if (!(await speak())) return void setTimeout(speakAnew, AGAIN_MS);
  const held = document.activeElement && document.activeElement.name;
  const at = scrollY;
  sayShell();
  mount();
  const again = held && [...document.getElementsByName(held)].find((one) => one.checked);
  if (again) again.focus({ preventScroll: true });
  scrollTo(0, at);
  await app.line.anew();
  showAll();
}

// -- what stands above every view
function showShell() {
  const { line } = app;
  const shown = verdictOf(line);
  document.body.classList.toggle("lost", shown.isLost);
  const isFast = line.station && line.station.speed > 1;
  put($("live-word"), shown.isLost ? say("shell.not_live") : isFast ? say("shell.live_fast", { speed: line.station.speed }) : say("shell.live"));
  const time = timeOfDay(nowMs(), true);
  put($("clock"), shown.isLost ? "" : line.news.verdict.trusted ? time : say("shell.clock_untrusted", { time }));
  const word = shown.under || shown.title;
  const title = `${word} · ${stationName()}`;
  if (document.title !== title) document.title = title;
  set($("chip"), "data-word", shown.word);
  $("chip").classList.toggle("act", shown.isAct);
  draw(part($("chip"), "mark"), shown.mark);
  put(part($("chip"), "chip-text"), word);
  const isLong = line.heardWall || performance.now() > HEARD_WITHIN_MS; // at first nothing moves under a finger
  toggle($("lost-strip"), shown.isLost && viewed !== "now" && isLong);
  if (shown.isLost) put($("lost-strip"), line.heardWall ? say("shell.lost", { at: clockTime(line.heardWall, true) }) : say("unheard.never"));
  // said to screen readers when it changes, and only then
  const lost = line.heardWall ? say("shell.said_lost", { word: shown.title, under: shown.under }) : "";
  put($("said"), shown.isLost ? lost : [shown.title, shown.under].filter(Boolean).join(", "));
  showCount();
}
function showCount() {
  const news = app.line.news;
  const waiting = news ? Object.values(news.alarms).filter(wantsAnswer) : [];
  const count = part($("nav").querySelector('[data-view="alarms"]'), "count");
  put(count, waiting.length ? String(waiting.length) : "");
  set(count, "aria-label", waiting.length ? say("shell.waiting", { n: waiting.length }) : null);
  set(count, "data-priority", waiting.some((alarm) => alarm.active && alarm.priority === "high") ? "high" : null);
}
function showAll() {
  showShell();
  showSign();
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
  refused: async () => (await askToSign(say("sign.looking"))) && app.line.begin(),
});
app.book = new Book();

light();
buildNav();
beginSigning(() => viewed && showAll());
sayShell();
addEventListener("hashchange", go);
document.addEventListener("language", speakAnew);
addEventListener("pagehide", () => app.line.close());
addEventListener("pageshow", (event) => event.persisted && app.line.begin());
go();
app.line.begin();
setInterval(() => {
  showAll();
  app.line.look();
}, LOOK_EVERY_MS);
setTimeout(() => Object.values(VIEWS).forEach((view) => view.get?.()), FETCH_REST_MS); // there, too, once the station isn't

// Do: what the station asks people to record, the most urgent first; what is begun; then all else that can be recorded, by its plain name.

import { draw, keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { whoMay, whyNot } from "../people.js";
import { say } from "../say.js";
import { session } from "../session.js";
import { age, clockTime, displayName, sentence } from "../told.js";
import { placeOf, verdictOf } from "../verdict.js";
import { calibration } from "../doing/calibrate.js";
import { backLine } from "../doing/done.js";
import { allDrafts } from "../doing/draft.js";
import { recordForm } from "../doing/form.js";
import { headOf } from "../doing/head.js";
import { dailyTest } from "../doing/test.js";
import { treatment } from "../doing/treatment.js";
import { GROUPS, formOf, kindTitle, placed, refresh, setup, titleOf, wants } from "../doing/wants.js";

const ASK_EVERY_MS = 5000;
const UNDER_WAY = ["contact", "contact_done", "afterwards", "cant_be_timed"]; // a treatment's states, but for none
let at = {};
let page = null;
let seen = {};

export function mount(root, app) {
  seen = { askedAt: performance.now(), record: 0, drafts: [] };
  left();
  at = { root, shown: undefined };
  refresh().then(() => at.root === root && moved(app));
  look();
  moved(app);
}
/** Another view is shown: what comes late must not show in it. */
export function left() {
  if (page) page.end();
  page = null;
  at = {};
}
async function look() {
  const found = await allDrafts();
  if (found) seen.drafts = found.drafts;
}

/** The place in this view is another. */
export function moved(app) {
  const place = location.hash;
  const isKnown = wants.asks && wants.asks.setup && wants.forms && app.line.station; // the station has the words
  if (!at.root || at.shown === (isKnown ? place : null)) return;
  if (page) page.end();
  at.shown = isKnown ? place : null;
  const [record, keys] = placed();
  page = !isKnown ? waiting() : record ? pageOf(record, keys, app) : list();
  at.root.replaceChildren(page.element);
  page.show(app);
  scrollTo(0, 0);
  const heading = part(page.element, "doing-title");
  if (heading && document.activeElement === document.body) heading.focus({ preventScroll: true });
}
function pageOf(record, keys, app) {
  const plan = setup();
  if (!formOf(record)) return list();
  const why = whyNot(formOf(record), record);
  if (why && ["daily_test", "water_path_treatment"].includes(record)) return mayNot(record, keys, why); // forms say so themselves
  if (record === "daily_test" && plan.daily_test) {
    if (!keys.basin && plan.judged_basins.length) return whichBasin(plan);
    if (!keys.basin || plan.basins.some((one) => one.id === keys.basin)) return dailyTest(keys.basin || "", app);
  }
  if (record === "water_path_treatment" && plan.treatment && !keys.whole) return treatment(app);
  if (record === "calibration") return calibration(keys, app);
  if (record === "commissioning") return fetched("commission", keys, app);
  const { whole, ...rest } = keys;
  return recordForm(record, rest, app);
}
/** A page whose module is fetched once it is gone to. */
function fetched(module, keys, app) {
  const element = waiting().element;
  let found = null;
  let isOver = false;
  const came = (made) => {
    if (isOver) return;
    found = made.page(keys);
    element.replaceWith(found.element);
    found.show(app);
  };
  import(`../doing/${module}.js`).then(came, () => put(element.firstChild, say("do.no_answer")));
  return { element, show: () => found?.show(app), end: () => ((isOver = true), found?.end()) };
}
function mayNot(record, keys, why) {
  const words = make("p", "may-not", why);
  const hint = make("p", "quiet", say("do.who_may"));
  return { ...still(make("div", "doing", headOf(titleOf(record, keys)), make("section", "panel", words, hint))), isRefusal: true };
}
const still = (element) => ({ element, show() {}, end() {} });
function waiting() {
  const text = make("p", "quiet", say("do.waiting"));
  const element = make("section", "panel", text);
  return { element, show: () => put(text, wants.trouble || say("do.waiting")), end() {} };
}
function whichBasin(plan) {
  const links = plan.judged_basins.map((basin) => link("kind", placeOf("daily_test", { basin }), sentence(basin)));
  return still(make("div", "doing", headOf(say("do.which_basin")), make("section", "panel", make("div", "kinds", ...links))));
}
function link(className, place, text) {
  const element = make("a", className, text);
  element.href = place;
  return element;
}

export function show(app) {
  const now = performance.now();
  const news = app.book.newest;
  if (now - seen.askedAt > ASK_EVERY_MS || seen.record !== news) {
    Object.assign(seen, { askedAt: now, record: news });
    refresh().then(() => moved(app));
    if (!placed()[0]) look();
  }
  if (seen.role !== session().role) {
    if (page && page.isRefusal) at.shown = undefined; // somebody else may
    seen.role = session().role;
  }
  moved(app);
  if (page) page.show(app);
}

// -- the list
function list() {
  const asked = section("asked", "asked", say("do.asked"), make("div", "calm", markOf(), make("div", "stands", make("p", "none-text"), make("ul", "why"), make("p", "when"))), make("ul", "ask-list"));
  const begun = section("panel", "begun", say("do.begun"), make("ul", "begun-list"));
  const later = section("panel", "later", say("do.later"), make("ul", "later-list"));
  const all = section("panel", "all", say("do.others"), make("div", "kind-groups", ...GROUPS.map(([name, kinds]) => {
    const group = make("div", "kind-group", make("h3", "", say(`kinds.${name}`)), make("div", "kinds", ...kinds.map(kindLink)));
    return group;
  })));
  const trouble = make("p", "trouble");
  const back = make("div", "lately");
  const element = make("div", "do-list", trouble, back, asked, begun, all, later);
  return { element, end() {}, show: showList };
  function showList(app) {
    put(trouble, wants.trouble || (wants.asks.is_silent ? say("do.silent") : ""));
    toggle(trouble, trouble.textContent);
    const { asks } = wants.asks;
    const shown = verdictOf(app.line);
    showStands(part(asked, "calm"), shown, asks);
    keep(part(asked, "ask-list"), inOrder(shown.tasks, asks), (one) => (one.record ? idOf(one) : one.text), createAsk, updateAsk);
    toggle(begun, seen.drafts.length);
    keep(part(begun, "begun-list"), seen.drafts, (one) => `${one.record} ${one.basin || ""}`, createBegun, updateBegun);
    toggle(later, wants.asks.later.length);
    keep(part(later, "later-list"), wants.asks.later, (one) => `${one.record} ${JSON.stringify(one.keys)}`, createLater, (row, one) => put(part(row, "later-when"), clockTime(one.due_at)));
    for (const one of element.querySelectorAll("a[data-record]")) mayBe(one);
    if (!back.firstChild) {
      const line = backLine(() => refresh());
      if (line) back.append(line);
    }
  }
}
function kindLink(record) {
  const one = link("kind", placeOf(record), "");
  one.dataset.record = record;
  one.append(make("span", "kind-name", kindTitle(record)), make("span", "kind-may"));
  return one;
}
/** What somebody may not record is shown as such, with who may. */
function mayBe(element) {
  const form = formOf(element.dataset.record);
  const why = whyNot(form, element.dataset.record);
  element.classList.toggle("not-mine", Boolean(why));
  put(part(element, "kind-may"), why ? say("do.records_this", { may: sentence(whoMay(form)) }) : "");
}
const idOf = (one) => `${one.record} ${JSON.stringify(one.keys)}`;
/** What is asked in the verdict's order, with what READY waits for and no record answers in its place; then what else is owed. */
function inOrder(tasks, asks) {
  const rows = new Map();
  for (const { text, answers } of tasks) {
    if (!answers.length) rows.set(text, { text, for_ready: true });
    for (const one of asks) if (answers.some((answer) => idOf(answer) === idOf(one))) rows.set(idOf(one), one);
  }
  for (const one of asks) rows.set(idOf(one), one);
  return [...rows.values()];
}
/** Where nothing is to be recorded: how the station stands all the same, so that it reads as no all-clear. */
function showStands(element, shown, asks) {
  toggle(element, !asks.length);
  if (asks.length) return;
  const isCalm = ["ready", "in_use", "reheating", "at_rest"].includes(shown.word);
  draw(part(element, "mark"), shown.mark);
  const none = shown.isLost ? say("do.none_when_heard") : isCalm ? say("do.none") : say("do.none_but");
  put(part(element, "none-text"), shown.isLost || !isCalm ? none : `${none} ${displayName(shown.word)}.`);
  const rows = [...shown.why, ...(shown.more ? [{ name: "", text: say("do.more", { n: shown.more }) }] : [])];
  keep(part(element, "why"), rows, (why) => why.name, () => make("li", "", make("b", ""), make("span", "")), (item, why) => {
    put(item.children[0], why.name);
    put(item.children[1], why.text);
  });
  put(part(element, "when"), shown.when ? shown.when.text : "");
}
function createAsk(one) {
  if (!one.record) {
    const what = make("div", "ask-go", markOf("unmet"), make("span", "ask-texts", make("span", "ask-title"), make("span", "ask-why")));
    return make("li", "ask-item", what);
  }
  const go = link("ask-go", placeOf(one.record, one.keys), "");
  go.dataset.record = one.record;
  go.append(markOf("unmet"), make("span", "ask-texts", make("span", "ask-title"), make("span", "ask-text"), make("span", "ask-why"), make("span", "kind-may")), make("span", "ask-open"));
  return make("li", "ask-item", go);
}
function updateAsk(element, one) {
  set(element, "data-for", one.for_ready && !one.instead ? "ready" : null);
  if (!one.record) {
    put(part(element, "ask-title"), one.text);
    put(part(element, "ask-why"), `${say("do.ready_waits")} · ${say("do.no_record")}`);
    return;
  }
  put(part(element, "ask-title"), one.instead ? say("do.instead", { what: titleOf(one.record, one.keys) }) : titleOf(one.record, one.keys));
  put(part(element, "ask-text"), one.instead ? "" : one.text);
  put(part(element, "ask-why"), [one.for_ready ? say("do.ready_waits") : "", one.why && sentence(one.why)].filter(Boolean).join(" · "));
  put(part(element, "ask-open"), isBegun(one) ? say("do.go_on") : say("do.begin"));
}
const isBegun = (one) => (one.record === "water_path_treatment" && UNDER_WAY.includes(wants.asks.treatment.state)) || seen.drafts.some((draft) => draft.record === one.record && (draft.basin || "") === (one.keys.basin || ""));
function createBegun(one) {
  const go = link("kind", placeOf(one.record, one.basin ? { basin: one.basin } : {}), "");
  go.append(make("span", "kind-name", titleOf(one.record, one.basin ? { basin: one.basin } : {})), make("span", "begun-text"));
  return make("li", "", go);
}
function updateBegun(element, one) {
  const ago = age(one.begun_ago_s);
  const begun = one.by ? say("do.begun_by", { by: one.by, age: ago }) : say("do.begun_ago", { age: ago });
  put(part(element, "begun-text"), one.state.running ? `${begun}, ${say("do.running")}` : begun);
}
function createLater(one) {
  return make("li", "later-item", make("span", "later-name", titleOf(one.record, one.keys)), make("span", "later-when"));
}

// Alarms: what stands, most urgent first, each with its consequences under it; what came and went; what is put aside; how they performed.

import { entryText } from "../entries.js";
import { timeOf } from "../book.js";
import { button, draw, keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { ask } from "../line.js";
import { acknowledge, dialog, record } from "../people.js";
import { figure, say } from "../say.js";
import { PRIORITIES, age, alarmName, alarmState, atHour, because, clockTime, lasting, nextDay, nowMs, priorityName, rank, sentence, wantsAnswer } from "../told.js";

export const mark = "medium";

const LATELY = 12;
const ASIDE = ["shelved", "out_of_service"];
let at = {};
let seen = {};

export function mount(root) {
  seen = { version: -1, read: false };
  at.none = make("p", "calm", markOf("met"), make("span", "none-text"));
  at.standing = section("alarms", "standing", say("alarms.standing"), at.none, make("ul", "alarm-list"));
  at.over = section("alarms", "over", say("alarms.over"), make("ul", "alarm-list"));
  at.aside = section("alarms", "aside", say("alarms.aside"), make("ul", "alarm-list"));
  at.lately = section("panel", "lately", say("alarms.lately"), make("ol", "entries"), make("p", "quiet"));
  at.figures = section("panel", "figures", say("alarms.figures"), make("p", "quiet"), make("table", "figures"));
  root.append(at.standing, at.over, at.aside, make("div", "columns", at.lately, at.figures));
  askFigures();
}

/** Alarms in the order in which they are shown: consequences behind their cause. */
function ordered(alarms) {
  const lit = [...alarms].sort(byWeight);
  const ids = new Set(lit.map((a) => a.id));
  const causes = lit.filter((a) => !ids.has(a.consequence_of));
  const under = (cause, depth) => lit.filter((a) => a.consequence_of === cause.id && depth < 5).flatMap((a) => [a, ...under(a, depth + 1)]);
  const found = [...new Set(causes.flatMap((cause) => [cause, ...under(cause, 0)]))];
  return [...found, ...lit.filter((a) => !found.includes(a))];
}
function byWeight(a, b) {
  const weight = (x) => [!x.active ? 2 : wantsAnswer(x) ? 0 : 1, rank(x.priority)];
  const [x, y] = [weight(a), weight(b)];
  return x[0] - y[0] || x[1] - y[1] || String(b.since).localeCompare(String(a.since));
}

export function show(app) {
  const news = app.line.news;
  const { isLost } = app.line;
  const lit = news ? Object.values(news.alarms).filter((a) => a.state !== "normal") : [];
  const aside = lit.filter((a) => ASIDE.includes(a.state));
  const over = lit.filter((a) => !a.active && !ASIDE.includes(a.state));
  const standing = lit.filter((a) => a.active && !ASIDE.includes(a.state));
  toggle(at.none, standing.length === 0);
  put(part(at.none, "none-text"), say(!news ? "alarms.not_known" : isLost ? "alarms.none_when_heard" : "alarms.none"));
  toggle(part(at.none, "mark"), news && !isLost);
  for (const [place, alarms] of [[at.standing, ordered(standing)], [at.over, ordered(over)], [at.aside, ordered(aside)]]) {
    keep(part(place, "alarm-list"), alarms, (a) => a.id, (a) => create(app, a.id), (element, a) => update(element, a, isLost));
  }
  toggle(at.over, over.length);
  toggle(at.aside, aside.length);
  showLately(app);
}

// -- one alarm
const RESTING = "over";
function create(app, ident) {
  const its = () => app.line.news.alarms[ident];
  const buttons = make("div", "buttons",
    button("answer main", say("alarms.acknowledge"), () => askAnswer(its())),
    button("reset", say("alarms.reset"), () => askReset(its())),
    button("shelve", say("alarms.shelve"), () => askShelve(its())),
    button("unshelve", say("alarms.unshelve"), () => askBack(its())));
  const texts = make("div", "texts", make("p", "cause"), make("p", "response"), make("p", "consequence"), make("p", "facts"));
  return make("li", "alarm", make("p", "head", markOf(), make("span", "title", make("span", "what"), make("span", "priority"))), texts, buttons);
}
function update(element, a, isLost) {
  const isAside = ASIDE.includes(a.state);
  set(element, "data-priority", !a.active || isAside || a.state === "suppressed_by_design" ? RESTING : a.priority || "low"); // what is suppressed asks for nothing itself
  element.classList.toggle("answered", !wantsAnswer(a));
  element.classList.toggle("follows", Boolean(a.consequence_of));
  draw(part(element, "mark"), isAside ? "aside" : !a.active ? "gone" : PRIORITIES.includes(a.priority) ? a.priority : "low");
  put(part(element, "what"), alarmName(a.id));
  put(part(element, "priority"), say("alarms.priority", { priority: priorityName(a.priority || "low") }));
  put(part(element, "cause"), sentence(a.cause));
  put(part(element, "response"), a.active && a.response ? say("alarms.do", { what: a.response }) : "");
  put(part(element, "consequence"), a.active && a.consequence ? say("alarms.else", { what: a.consequence }) : "");
  put(part(element, "facts"), factsOf(a).join(" · "));
  const actions = { answer: wantsAnswer(a), reset: /^latched/.test(a.state), shelve: a.active && !isAside, unshelve: isAside };
  for (const [name, is] of Object.entries(actions)) {
    const one = part(element, name);
    toggle(one, is);
    one.disabled = isLost;
    set(one, "aria-label", `${one.textContent.replace("…", "")} ${alarmName(a.id)}`);
  }
}
function factsOf(a) {
  const facts = [sentence(alarmState(a.state))];
  if (a.since) facts.push(say(a.since_at_latest ? "alarms.since_at_latest" : "alarms.since", { at: clockTime(a.since) }));
  if (a.first_out) facts.push(say("alarms.came_first"));
  if (a.active && a.respond_within_s && wantsAnswer(a)) facts.push(say("alarms.within", { span: lasting(a.respond_within_s * 1000) }));
  if (a.again) facts.push(say(a.escalated ? "alarms.again_raised" : "alarms.again", { n: a.again }));
  if (a.crossings > 1) facts.push(say("alarms.came", { n: a.crossings }));
  if (a.aside_by) facts.push(asideText(a));
  if (a.acknowledged_by) facts.push(say("alarms.seen_by", { by: a.acknowledged_by }));
  if (a.consequence_of) facts.push(say("alarms.follows_from", { alarm: alarmName(a.consequence_of) }));
  if (a.latching) facts.push(say("alarms.latching"));
  if (a.duty) facts.push(a.duty.text);
  return facts;
}

function asideText(a) {
  const text = a.aside_until ? say("alarms.aside_until", { by: a.aside_by, at: clockTime(a.aside_until) }) : say("alarms.aside_by", { by: a.aside_by });
  return because(text, a.aside_why);
}

// -- what people do about one
function askAnswer(a) {
  dialog({
    title: say("alarms.acknowledge"), kind: "acknowledge", text: say("alarms.acknowledge_text", { alarm: alarmName(a.id) }),
    choices: [{ text: say("alarms.have_seen"), value: "seen", isMain: true }],
    send: (value, typed) => acknowledge(a.id, typed),
  });
}
function askReset(a) {
  dialog({
    title: say("alarms.reset"), kind: "reset", text: say("alarms.reset_text", { alarm: alarmName(a.id) }), why: say("alarms.found"),
    choices: [{ text: say("alarms.reset_it"), value: "reset", isMain: true }],
    send: (value, typed, why) => record("reset", { alarm: a.id, ...(why ? { why } : {}) }, typed),
  });
}
const MOST_MINUTES = 1440; // the longest shelf that a station takes
/** "Until tomorrow" is six in the morning, before the first shift; never longer than a day. */
export function minutesToTomorrow(now) {
  return Math.min(MOST_MINUTES, Math.round((atHour(nextDay(now), 6) - now) / 60e3));
}
function askShelve(a) {
  const tomorrow = minutesToTomorrow(nowMs());
  const choices = [10, 60, 480].map((minutes) => ({ text: lasting(minutes * 60e3), value: minutes }));
  choices.push({ text: say("alarms.until", { at: clockTime(nowMs() + tomorrow * 60e3) }), value: tomorrow });
  dialog({
    title: say("alarms.put_aside"), kind: "shelve", text: say("alarms.shelve_text", { alarm: alarmName(a.id) }),
    why: say("alarms.why"), must: true, choices,
    send: (minutes, typed, why) => record("shelve", { alarm: a.id, minutes, why }, typed),
  });
}
function askBack(a) {
  const isShelved = a.state === "shelved";
  dialog({
    title: say("alarms.unshelve"), kind: isShelved ? "unshelve" : "in_service", text: say("alarms.back_text", { alarm: alarmName(a.id) }), why: say("alarms.why_perhaps"),
    choices: [{ text: say("alarms.take_it_back"), value: "back", isMain: true }],
    send: (value, typed, why) => record(isShelved ? "unshelve" : "in_service", { alarm: a.id, ...(why ? { why } : {}) }, typed),
  });
}

// -- lately, and the figures
function showLately(app) {
  const { book } = app;
  if (book.oldest !== null && book.entries.size < 50 && !seen.read) {
    seen.read = true;
    book.earlier();
  }
  if (seen.version === app.book.version) return;
  seen.version = app.book.version;
  const entries = app.book.all().filter((e) => e.kind === "alarm").slice(0, LATELY);
  const create = () => make("li", "entry", make("time"), make("span", "text"));
  keep(part(at.lately, "entries"), entries, (e) => e.seq, create, (item, e) => {
    put(item.firstChild, clockTime(timeOf(e)));
    put(part(item, "text"), entryText(e));
  });
  put(part(at.lately, "quiet"), say(entries.length ? "alarms.all_in_record" : "alarms.nothing_read"));
}

// how each figure is said
const n = (value) => figure(value, Number.isInteger(value) ? 0 : value < 10 ? 2 : 1);
const percent = (value) => say("size.percent", { n: n(value) });
const count = (value) => String(Object.keys(value).length);
const FIGURES = {
  announced: n, per_day: n, most_in_period: n, periods_over: percent, hours_over: percent, flooded: percent, chattering: count, fleeting: count,
  stale: count, most_standing: n,
};
async function askFigures() {
  const { ok, body, trouble } = await ask("/api/1/alarms/performance");
  const place = at.figures;
  if (!place.isConnected) return;
  if (!ok) return put(part(place, "quiet"), trouble || say("alarms.no_figures"));
  const days = (Date.parse(body.to) - Date.parse(body.from)) / 86400e3;
  put(part(place, "quiet"), say("alarms.figures_of", { n: Math.round(days) }));
  const rows = Object.entries(FIGURES).map(([key, told]) => [say(`figure.${key}`), told(body[key]), targetOf(body.targets[key], told), isWithin(body[key], body.targets[key])]);
  if (body.answered_s) rows.push([say("figure.answered_s"), age(body.answered_s[0]), "", null]);
  rows.push([say("figure.unanswered"), n(body.unanswered), "", null]);
  place.querySelector("table").replaceChildren(headOf(say("figure.name"), say("figure.value"), say("figure.target")), make("tbody", "", ...rows.map(figureRow)));
}
function targetOf(target, told) {
  if (!target) return "";
  if (target.most === 0) return say("target.none");
  const isMost = "most" in target;
  return say(isMost ? "target.most" : "target.below", { n: (told === percent ? percent : n)(isMost ? target.most : target.below) });
}
function isWithin(value, target) {
  if (!target) return null;
  const amount = typeof value === "number" ? value : Object.keys(value).length;
  return "most" in target ? amount <= target.most : amount < target.below;
}
export function headOf(...titles) {
  const cells = titles.map((text) => {
    const cell = make("th", "", text);
    cell.scope = "col";
    return cell;
  });
  return make("thead", "", make("tr", "", ...cells));
}
function figureRow([what, value, target, isFine]) {
  const name = make("th", "", what);
  name.scope = "row";
  const row = make("tr", "", name, make("td", "figure", value), make("td", "", [target, isFine === false ? say("figure.beyond") : ""].filter(Boolean).join(", ")));
  if (isFine === false) row.dataset.state = "beyond";
  return row;
}

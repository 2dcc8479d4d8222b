// Alarms: what stands, most urgent first, each with its consequences under it; what came and went; what is put aside; how they performed.

import { entryText } from "../entries.js";
import { timeOf } from "../book.js";
import { button, draw, keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { ask } from "../line.js";
import { acknowledge, dialog, record } from "../people.js";
import { PRIORITIES, age, alarmName, alarmState, atHour, clockTime, lasting, nowMs, rank, nextDay, sentence, wantsAnswer } from "../told.js";

export const title = "Alarms";
export const mark = "medium";

const LATELY = 12;
const ASIDE = ["shelved", "out_of_service"];
let at = {};
let seen = {};

export function mount(root) {
  seen = { version: -1, read: false };
  at.none = make("p", "calm", markOf("met"), make("span", "none-text"));
  at.standing = section("alarms", "standing", "Stands now", at.none, make("ul", "alarm-list"));
  at.over = section("alarms", "over", "Came and went, nobody has answered yet", make("ul", "alarm-list"));
  at.aside = section("alarms", "aside", "Put aside", make("ul", "alarm-list"));
  at.lately = section("panel", "lately", "Lately", make("ol", "entries"), make("p", "quiet"));
  at.figures = section("panel", "figures", "How the alarms have performed", make("p", "quiet"), make("table", "figures"));
  root.append(at.standing, at.over, at.aside, make("div", "columns", at.lately, at.figures));
  askFigures();
}

/** Alarms in the order in which they are shown: consequences behind their cause. */
export function ordered(alarms) {
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
  put(part(at.none, "none-text"), !news ? "Not known yet." : isLost ? "None when last heard; not known now." : "None.");
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
    button("answer main", "Acknowledge", () => askAnswer(its())),
    button("reset", "Reset", () => askReset(its())),
    button("shelve", "Put aside…", () => askShelve(its())),
    button("unshelve", "Take back", () => askBack(its())));
  const texts = make("div", "texts", make("p", "cause"), make("p", "response"), make("p", "consequence"), make("p", "facts"));
  return make("li", "alarm", make("p", "head", markOf(), make("span", "title", make("span", "what"), make("span", "priority"))), texts, buttons);
}
function update(element, a, isLost) {
  const isAside = ASIDE.includes(a.state);
  set(element, "data-priority", !a.active || isAside || a.consequence_of ? RESTING : a.priority || "low"); // a consequence asks for nothing itself
  element.classList.toggle("answered", !wantsAnswer(a));
  element.classList.toggle("follows", Boolean(a.consequence_of));
  draw(part(element, "mark"), isAside ? "aside" : !a.active ? "gone" : PRIORITIES.includes(a.priority) ? a.priority : "low");
  put(part(element, "what"), alarmName(a.id));
  put(part(element, "priority"), `${a.priority || "low"} priority`);
  put(part(element, "cause"), sentence(a.cause));
  put(part(element, "response"), a.active && a.response ? `Do: ${a.response}` : "");
  put(part(element, "consequence"), a.active && a.consequence ? `Else: ${a.consequence}` : "");
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
  if (a.since) facts.push(`since ${a.since_at_latest ? "at the latest " : ""}${clockTime(a.since)}`);
  if (a.first_out) facts.push("came first");
  if (a.active && a.respond_within_s && wantsAnswer(a)) facts.push(`to be dealt with within ${lasting(a.respond_within_s * 1000)}`);
  if (a.again) facts.push(`announced again ${a.again} times${a.escalated ? ", its priority raised" : ""}`);
  if (a.crossings > 1) facts.push(`came ${a.crossings} times`);
  if (a.aside_by) facts.push(`put aside by ${a.aside_by}${a.aside_until ? ` until ${clockTime(a.aside_until)}` : ""}${a.aside_why ? `: ${a.aside_why}` : ""}`);
  if (a.acknowledged_by) facts.push(`seen by ${a.acknowledged_by}`);
  if (a.consequence_of) facts.push(`follows from ${alarmName(a.consequence_of)}`);
  if (a.latching) facts.push("stays until somebody resets it");
  if (a.duty) facts.push(a.duty.text);
  return facts;
}

// -- what people do about one
function askAnswer(a) {
  dialog({
    title: "Acknowledge", kind: "acknowledge", text: `${alarmName(a.id)}: acknowledging says that you have seen it. Its cause stays until it is mended.`,
    choices: [{ text: "I have seen it", value: "seen", isMain: true }],
    send: (value, typed) => acknowledge(a.id, typed),
  });
}
function askReset(a) {
  dialog({
    title: "Reset", kind: "reset", text: `${alarmName(a.id)} stays until somebody resets it. Do so once its cause is gone and you have looked.`, why: "What was found (may be left out)",
    choices: [{ text: "Reset it", value: "reset", isMain: true }],
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
  const choices = [10, 60, 480].map((minutes) => ({ text: minutes < 60 ? `${minutes} min` : `${minutes / 60} h`, value: minutes }));
  choices.push({ text: `until ${clockTime(nowMs() + tomorrow * 60e3)}`, value: tomorrow });
  dialog({
    title: "Put aside", kind: "shelve", text: `${alarmName(a.id)} says nothing until then, here or anywhere else. What it warns of goes on; READY still goes by it.`,
    why: "Why", must: true, choices,
    send: (minutes, typed, why) => record("shelve", { alarm: a.id, minutes, why }, typed),
  });
}
function askBack(a) {
  const isShelved = a.state === "shelved";
  dialog({
    title: "Take back", kind: isShelved ? "unshelve" : "in_service", text: `${alarmName(a.id)} speaks again from now on.`, why: "Why (may be left out)",
    choices: [{ text: "Take it back", value: "back", isMain: true }],
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
  put(part(at.lately, "quiet"), entries.length ? "All of it stands in the record." : "Nothing in what has been read of the record.");
}

// what, its figure, how it is said
const n = (value) => (Number.isInteger(value) ? String(value) : value.toFixed(value < 10 ? 2 : 1));
const percent = (value) => `${n(value)} %`;
const count = (value) => String(Object.keys(value).length);
const FIGURES = [
  ["announced", "Announced", n], ["per_day", "A day, on an average", n], ["most_in_period", "In ten minutes, at the most", n],
  ["periods_over", "Ten minutes with too many", percent], ["hours_over", "Hours with too many", percent], ["flooded", "Time in floods", percent],
  ["chattering", "Alarms that chatter", count], ["fleeting", "Fleeting alarms", count], ["stale", "Stood for more than a day", count],
  ["most_standing", "Stood at one time, at the most", n],
];
async function askFigures() {
  const { ok, body, trouble } = await ask("/api/1/alarms/performance");
  const place = at.figures;
  if (!place.isConnected) return;
  if (!ok) return put(part(place, "quiet"), trouble || "The figures can't be had just now.");
  const days = (Date.parse(body.to) - Date.parse(body.from)) / 86400e3;
  put(part(place, "quiet"), `The last ${Math.round(days)} days, beside the targets of ISA-18.2, IEC 62682 and EEMUA 191 (from public summaries).`);
  const rows = FIGURES.map(([key, what, say]) => [what, say(body[key]), targetOf(body.targets[key], say), isWithin(body[key], body.targets[key])]);
  if (body.answered_s) rows.push(["Acknowledged, half within", age(body.answered_s[0]), "", null]);
  rows.push(["Never acknowledged", n(body.unanswered), "", null]);
  place.querySelector("table").replaceChildren(headOf("Figure", "Value", "Target"), make("tbody", "", ...rows.map(figureRow)));
}
const share = (value, say) => (say === percent ? percent(value) : n(value));
const targetOf = (target, say) => (!target ? "" : target.most === 0 ? "none" : "most" in target ? `up to ${share(target.most, say)}` : `below ${share(target.below, say)}`);
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
  const row = make("tr", "", name, make("td", "figure", value), make("td", "", [target, isFine === false ? "beyond it" : ""].filter(Boolean).join(", ")));
  if (isFine === false) row.dataset.state = "beyond";
  return row;
}

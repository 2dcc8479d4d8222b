// The commissioning list: what is to be looked at and measured before a station counts as commissioned, item by item. What is recorded
// stands in the journal, so it is gone on with on any device; numbers are taken as the station reads them, or typed. What the station times
// (a pressure decay) it times itself, with this page or without it: what is left and what was seen is its own word.

import { button, draw, keep, make, markOf, part, put, set, show as toggle } from "../dom.js";
import { ask, asked } from "../line.js";
import { record, signing, whyNot } from "../people.js";
import { either, say } from "../say.js";
import { onChange } from "../session.js";
import { clockTime, itemCalled, labelOf } from "../told.js";
import { placeOf } from "../verdict.js";
import { donePage, note } from "./done.js";
import { choice, number, text } from "./fields.js";
import { headOf } from "./head.js";
import { formOf } from "./wants.js";

const KIND = "commissioning";
const ASK_EVERY_MS = 2000;
const ASK_SOON_MS = 500; // while the station times an item
const MARKS = { passed: "met", failed: "bad", not_applicable: "off", open: "unknown", reopened: "gone" };

/** The page: {element, show(), end()}; of one item where `keys.item` names it. */
export function page(keys) {
  const root = make("div", "doing commission");
  let told = null;
  let trouble = "";
  let askedAt = -Infinity;
  let isGone = false;
  let isTimed = false;
  const shown = keys.item ? itemPage(keys.item, root, () => refresh(true)) : listPage(root);

  async function refresh(isSoon) {
    if (!isSoon && performance.now() - askedAt < (isTimed ? ASK_SOON_MS : ASK_EVERY_MS)) return;
    askedAt = performance.now();
    const { ok, body, trouble: why } = await ask(asked("/api/1/commissioning"));
    trouble = ok ? "" : why || say("do.no_answer");
    told = ok ? body : told;
    isTimed = Boolean(told && told.items.some((one) => one.id === keys.item && one.timing && one.timing.left_s !== null));
    if (!isGone) shown.show(told, trouble);
  }
  return { element: root, show: () => void refresh(false), end: () => ((isGone = true), shown.end()) };
}

// -- the list
function listPage(root) {
  const left = make("p", "comm-left");
  const fault = make("p", "trouble");
  const groups = make("div", "comm-groups");
  toggle(fault, false);
  const paper = make("a", "link-button", say("comm.report"));
  Object.assign(paper, { href: asked("/api/1/report/commissioning"), target: "_blank", rel: "noopener" });
  root.append(headOf(say("comm.title")), make("section", "panel", left, make("p", "quiet", say("comm.says")), fault, make("div", "buttons", paper)), groups);
  return { show, end() {} };

  function show(told, trouble) {
    put(fault, trouble);
    toggle(fault, trouble);
    if (!told) return;
    put(left, !told.items.length ? say("do.waiting") : told.commissioned ? say("comm.done") : say("comm.left", { left: told.left, all: told.items.length }));
    const of = (group) => told.items.filter((one) => one.group === group.id);
    keep(groups, told.groups.filter((group) => of(group).length), (group) => group.id, (group) => make("section", "panel", make("h3", "", group.title), make("ul", "comm-items")), (element, group) => {
      keep(part(element, "comm-items"), of(group), (one) => one.id, createRow, updateRow);
    });
  }
}
function createRow(one) {
  const go = make("a", "kind comm-item", markOf(), make("span", "comm-texts", make("span", "kind-name"), make("span", "comm-state"), make("span", "comm-text")));
  go.href = placeOf(KIND, { item: one.id });
  return make("li", "", go);
}
function updateRow(row, one) {
  const go = row.firstChild;
  set(go, "data-state", one.state);
  draw(part(go, "mark"), MARKS[one.state]);
  put(part(go, "kind-name"), one.title);
  put(part(go, "comm-state"), one.by && one.at ? say("comm.by", { state: one.state_text, by: one.by, at: clockTime(one.at) }) : one.state_text);
  put(part(go, "comm-text"), one.text);
  toggle(part(go, "comm-text"), one.text);
}

// -- one item
function itemPage(ident, root, again) {
  const head = headOf(say("comm.title"));
  const what = make("p", "comm-do");
  const caution = make("p", "comm-caution", markOf("low"), make("span", "comm-caution-text"));
  const limits = make("p", "quiet comm-limits");
  const live = make("p", "live-value");
  const state = make("p", "comm-now");
  const fields = make("div", "fields");
  const byHand = make("h3", "comm-by-hand", say("comm.by_hand"));
  const timed = make("div", "comm-timed", make("p", "countdown"), make("p", "comm-seen"), make("p", "quiet", say("comm.timed_says")));
  const begin = button("main big comm-begin", say("comm.begin"), () => void timing("begins"));
  const stop = button("plain comm-stop", say("comm.stop"), () => void timing("ends"));
  const fault = make("p", "who-fault");
  fault.setAttribute("role", "alert");
  const refused = make("p", "may-not");
  const who = signing();
  const send = button("main big send", say("form.send"), sent);
  toggle(caution, false);
  toggle(live, false);
  part(timed, "countdown").setAttribute("role", "timer");
  for (const one of [byHand, timed, begin, stop]) toggle(one, false);
  const form = formOf(KIND);
  let item = null;
  let order = [];
  let made = [];
  let isSending = false;
  let isOver = false;
  part(head, "back-to").href = placeOf(KIND);
  put(part(head, "back-to"), `‹ ${say("comm.list")}`);
  root.append(head, make("section", "panel", what, caution, limits, state, live, timed, byHand, fields), make("section", "panel send-bar", refused, who.element, fault, begin, stop, send));
  const may = () => {
    const why = whyNot(form, KIND) || (item && item.left_out ? item.text : "");
    put(refused, why);
    toggle(refused, why);
    for (const one of [send, begin, stop]) one.disabled = isSending || !item || Boolean(why);
    who.tell();
  };
  const forget = onChange(may);
  may();
  return { show, end: forget };

  function show(told, trouble) {
    if (isOver) return;
    if (!told) return put(fault, trouble);
    item = told.items.find((one) => one.id === ident) || null;
    order = told.items;
    if (!item) return put(fault, say("comm.gone"));
    put(part(head, "doing-title"), item.title);
    put(what, `${item.do}.`);
    put(part(caution, "comm-caution-text"), item.caution && say("comm.caution", { what: item.caution }));
    toggle(caution, item.caution);
    const { number: measure } = item;
    put(limits, [measure && measure.limits, item.source].filter(Boolean).join("; "));
    put(live, !measure ? "" : measure.now ? say("comm.now", { value: measure.now.text }) : say("comm.nothing_now"));
    toggle(live, measure);
    put(state, [item.state_text, item.text].filter(Boolean).join(": "));
    showTiming(item.timing);
    if (!made.length) build();
    may();
  }
  function showTiming(at) {
    const isUnderWay = Boolean(at) && at.left_s !== null;
    toggle(timed, at && (isUnderWay || at.text));
    for (const name of ["countdown", "quiet"]) toggle(part(timed, name), isUnderWay);
    const left = isUnderWay ? Math.ceil(at.left_s) : 0;
    put(part(timed, "countdown"), `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`);
    put(part(timed, "comm-seen"), at && at.text);
    toggle(begin, at && !isUnderWay);
    toggle(stop, isUnderWay);
    for (const one of [fields, send]) toggle(one, !isUnderWay);
    toggle(byHand, at && !isUnderWay);
    send.classList.toggle("main", !at); // one main button: the station times it better than a hand does
  }
  async function timing(step) {
    put(fault, "");
    if (who.lacks(fault)) return;
    isSending = true;
    may();
    const { ok, body: answer, trouble } = await record(KIND, { item: ident, timing: step }, who.name());
    isSending = false;
    may();
    if (!ok) put(fault, trouble);
    else if (answer.counts === false && step === "begins") put(fault, say("comm.not_counted", { why: answer.why_not }));
    again();
  }
  function build() {
    const units = item.number ? item.number.units : [];
    const typed = (key, help) => number(key, { units, unit: units[0], asText: true, help });
    const failed = [false, say("comm.failed")];
    const isByEye = item.how === "eye" || item.how === "journal_or_eye";
    const passed = isByEye ? choice("passed", [[true, say("comm.passed")], failed]) : choice("passed", [failed], { help: say(item.number ? "comm.failed_only" : "comm.failed_by") });
    const byHow = {
      number: () => [typed("value", say("comm.taken")), passed],
      bucket: () => [number("litres", { low: 0.01, high: 1000 }), number("seconds", { low: 0.1, high: 3600 }), typed("value", say("comm.meter"))],
      decay: () => [typed("before"), typed("after", say("comm.taken"))],
    };
    made = [...(byHow[item.how] ? byHow[item.how]() : [passed]), text("not_applicable", { help: say("comm.why_not") }), text("instrument"), text("note", { isLong: true })];
    fields.replaceChildren(...made.map((one) => one.element));
  }
  async function sent() {
    put(fault, "");
    if (who.lacks(fault)) return;
    const body = { item: ident };
    for (const one of made) if (one.isSet()) body[one.key] = one.value();
    const lacks = body.not_applicable ? [] : item.needs.filter((key) => !(key in body));
    if (lacks.length) return put(fault, say("form.first", { what: either([labelOf(lacks[0]), labelOf("not_applicable")]) }));
    isSending = true;
    may();
    const { ok, body: answer, trouble } = await record(KIND, body, who.name());
    isSending = false;
    may();
    if (!ok) return put(fault, trouble);
    if (answer.counts === false) {
      put(fault, say("comm.not_counted", { why: answer.why_not }));
      return again();
    }
    isOver = true;
    note(answer.seq, () => itemCalled(ident));
    forget();
    const done = donePage(item.title, answer, [make("p", "comm-result")]);
    root.replaceChildren(done);
    const { ok: isThere, body: told } = await ask(asked("/api/1/commissioning"));
    const now = isThere && told.items.find((one) => one.id === ident);
    if (now) put(part(done, "comm-result"), [now.state_text, now.text].filter(Boolean).join(": "));
    const buttons = part(done, "buttons");
    const list = isThere ? told.items : order;
    const rest = [...list.slice(list.findIndex((one) => one.id === ident) + 1), ...list].find((one) => !one.is_done && one.id !== ident);
    part(buttons, "to-list").classList.remove("main"); // one way on, the others beside it
    buttons.prepend(button("to-items", say("comm.list"), () => (location.hash = placeOf(KIND))));
    part(buttons, "to-items").classList.toggle("main", !rest);
    if (rest) buttons.prepend(button("main next-item", say("comm.next", { what: rest.title }), () => (location.hash = placeOf(KIND, { item: rest.id }))));
  }
}

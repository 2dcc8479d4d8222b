// One station: its word and what to do first, what stands, filters, what is due, its journals, and its entries, the newest first.

import { button, draw, keep, make, markOf, part, put, section, set, show as toggle } from "../dom.js";
import { entryText } from "../entries.js";
import { ask, asked } from "../line.js";
import { figure, say } from "../say.js";
import { alarmName, clockTime, conditionName, itIs, nowMs, sentence, stateName } from "../told.js";
import { isMet, shownOf } from "../verdict.js";
import { factsOf, isUrgent, nameOf } from "./stations.js";

let at = {};
let path = "";
let one = null;
let entries = [];
let older = null;
let isMissing = false;
let speakOf = null;

export function mount(root, place, speak) {
  speakOf = speak;
  path = `/api/1/fleet/stations/${place.parts.map(encodeURIComponent).join("/")}`;
  [one, entries, older, isMissing] = [null, [], null, false];
  const back = make("a", "back", say("fleet.back"));
  back.href = "#stations";
  const list = (id, title) => section("panel", id, title, make("p", "none"), make("ul", "fleet-facts"));
  at = {
    head: section("panel", "verdict", say("fleet.station"), make("p", "fleet-row", markOf(), make("b", "name"), make("b", "its-word"), make("span", "text"), make("span", "facts")), make("p", "quiet", sentence(say("now.surroundings_only")))),
    conditions: list("conditions", say("fleet.conditions")), standing: list("standing", say("alarms.standing")), filters: list("filters", say("fleet.filters")),
    duties: list("duties", say("fleet.due")), journals: list("journals", say("fleet.journals")), history: list("history", say("view.record")),
    more: button("more", say("fleet.older"), more),
  };
  at.history.append(at.more);
  root.append(back, at.head, make("div", "columns", make("div", "column", at.conditions, at.standing, at.filters), make("div", "column", at.duties, at.journals)), at.history);
}
export async function look() {
  const asks = path;
  const found = await ask(asked(asks));
  isMissing = found.status === 404;
  if (!found.ok || asks !== path) return isMissing;
  one = found.body;
  if (entries.length === 0) await more();
  return true;
}
async function more() {
  const { ok, body } = await ask(asked(`${path}/history${older ? `?before=${older}` : ""}`));
  if (ok) [entries, older] = [[...entries, ...body.entries], body.next];
  if (one) show(false);
}

export function show(isOld) {
  toggle(at.more, older !== null);
  if (!one) return void put(part(at.head, "name"), isMissing ? say("fleet.none") : "");
  speakOf(one.timezone);
  itIs(new Date(nowMs()).toISOString());
  const own = shownOf(one);
  const row = part(at.head, "fleet-row");
  set(row, "data-word", isOld ? "cant_tell" : own.word);
  set(row, "data-urgent", isUrgent(one, isOld) ? "yes" : null);
  draw(part(row, "mark"), one.silent ? "off" : own.mark);
  put(part(row, "name"), nameOf(one));
  put(part(row, "its-word"), one.silent ? say("fleet.silent") : own.under || own.title);
  put(part(row, "text"), one.waits_for.join(" · "));
  put(part(row, "facts"), factsOf(one).join(" · "));
  for (const panel of [at.conditions, at.standing]) panel.classList.toggle("as-it-was", one.silent || isOld);
  fill(at.conditions, one.conditions.filter((c) => !isMet(c)), (c) => c.id, (c) => [conditionName(c.id), c.text || stateName(c.state)]);
  fill(at.standing, one.standing, (a) => a.id, (a) => [alarmName(a.id), [sentence(a.cause), a.response].filter(Boolean).join(" · ")]);
  fill(at.filters, one.filters, (f) => f.filter, (f) => [f.filter, leftOf(f)]);
  fill(at.duties, one.duties.filter((d) => d.due_at), (d) => d.id, (d) => [alarmName(d.id), [clockTime(d.due_at), d.text].filter(Boolean).join(" · ")]);
  fill(at.journals, one.journals, (j) => j.journal, (j) => [j.journal, journalOf(j)]);
  fill(at.history, entries, (e) => `${e.journal}.${e.seq}`, (e) => [clockTime(e.at), entryText(e)]);
}
function fill(panel, items, key, told) {
  put(part(panel, "none"), items.length ? "" : say("alarms.none"));
  keep(part(panel, "fleet-facts"), items, key, () => make("li", "", make("b", ""), make("span", "")), (item, each) => {
    const [what, text] = told(each);
    put(item.children[0], what);
    put(item.children[1], text);
  });
}
function leftOf(filter) {
  const days = (value) => (typeof value === "number" ? figure(value, 0) : "?");
  return typeof filter.left_d === "number" ? say("fleet.left", { n: days(filter.left_d), low: days(filter.low_d), high: days(filter.high_d) }) : filter.why;
}
function journalOf(journal) {
  const told = [say("fleet.holds", { n: journal.verified, last: journal.entries })];
  if (journal.misfit) told.push(journal.misfit);
  if (journal.missing) told.push(say("fleet.missing", { n: journal.missing }), journal.gaps.map(([low, high]) => say("fleet.gap", { low, high })).join(", "));
  return told.join(" · ");
}

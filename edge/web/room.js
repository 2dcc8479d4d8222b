// The other stations of this computer: each with its word and the first thing to do, and the way to its page. Nothing old looks live: one
// that isn't heard has no word but that, and where this station itself isn't heard none is shown.

import { draw, keep, make, markOf, part, put, section, set, show as toggle } from "./dom.js";
import { ask, asked } from "./line.js";
import { say } from "./say.js";
import { displayName } from "./told.js";
import { shownOf } from "./verdict.js";

const ASK_EVERY_MS = 5000;
const OLD_AFTER_MS = 15000;
let stations = [];
let askedAt = -Infinity;
let heardAt = -Infinity;

export const panel = () => section("panel room", "room", say("room.title"), make("ul", "stations"));

async function look() {
  askedAt = performance.now();
  const { ok, body } = await ask(asked("/api/1/room"));
  if (!ok) return;
  stations = body.stations;
  heardAt = performance.now();
}

/** Show them in a panel; `station` is what this one says of itself, null where it isn't heard. */
export function show(element, station) {
  const isKnown = station !== null && station.room === true;
  if (isKnown && performance.now() - askedAt > ASK_EVERY_MS) look();
  const shown = isKnown && performance.now() - heardAt < OLD_AFTER_MS ? stations : [];
  toggle(element, shown.length > 0);
  const create = () => make("li", "", make("a", "neighbour", markOf(), make("b", "name"), make("b", "its-word"), make("span", "text")));
  keep(part(element, "stations"), shown, (one) => `${one.site}/${one.station}`, create, (item, one) => {
    const own = shownOf(one);
    const link = item.firstChild;
    set(link, "data-word", own.word);
    set(link, "href", one.port === null ? null : `${one.scheme}://${location.hostname}:${one.port}/`);
    draw(part(link, "mark"), one.heard ? own.mark : "off");
    put(part(link, "name"), one.title);
    put(part(link, "its-word"), one.heard ? own.under || own.title : displayName("cant_tell"));
    put(part(link, "text"), one.heard ? one.first || "" : say(one.stopped ? "room.stopped" : "room.not_heard"));
  });
}

// The page over an archive: all stations in one list, sites, and one station. It asks again every few seconds; nothing old looks live.
//
// On the modules, words and looks of a station's page. A view is a module with mount(root, place, speakOf) once it is gone to, look() at each
// turn, which gives whether it was answered, and show(isOld). Its place is #stations?…, #sites or #station/SITE/NAME.

import { light } from "../device.js";
import { $, make, put, set, show as toggle } from "../dom.js";
import { ask, asked } from "../line.js";
import { say } from "../say.js";
import { clockTime, itIs, ofStation, timeOfDay } from "../told.js";
import * as sites from "./sites.js";
import * as station from "./station.js";
import * as stations from "./stations.js";

const LOOK_EVERY_MS = 5000;
const OLD_AFTER_MS = 15000;
const VIEWS = { stations, sites, station };
const TABS = { stations: () => say("fleet.stations"), sites: () => say("fleet.sites") };
const HERE = Intl.DateTimeFormat().resolvedOptions().timeZone;

let viewed = null;
let fleet = null;
let heardAt = 0; // by this device
let isLooking = false;

/** The place that the address names: {name, parts, wishes}. */
function placeOf(hash) {
  const [path, wishes] = hash.replace(/^#/, "").split("?");
  const [name, ...parts] = path.split("/").map(decodeURIComponent);
  return { name: Object.hasOwn(VIEWS, name) ? name : "stations", parts, wishes: new URLSearchParams(wishes || "") };
}
/** Times are of this zone, words those that the archive has told. */
const speakOf = (timezone) => ofStation({ timezone: timezone || HERE, words: fleet ? fleet.words : {} });

function go() {
  const place = placeOf(location.hash);
  const isFirst = viewed === null;
  viewed = VIEWS[place.name];
  mountAt(place);
  scrollTo(0, 0);
  if (!isFirst) $("main").focus({ preventScroll: true });
  look();
}
function mountAt(place) {
  for (const link of $("nav").children) set(link, "aria-current", link.dataset.view === place.name ? "page" : null);
  speakOf("");
  $("main").replaceChildren();
  viewed.mount($("main"), place, speakOf);
}
async function look() {
  if (isLooking) return;
  isLooking = true;
  const view = viewed;
  const about = await ask(asked("/api/1/fleet"));
  if (about.ok) {
    const isFirst = fleet === null;
    fleet = about.body;
    itIs(fleet.at);
    if (isFirst) mountAt(placeOf(location.hash)); // now there are titles
    if (await view.look()) heardAt = Date.now();
  }
  isLooking = false;
  if (view !== viewed) return void look(); // another was gone to meanwhile
  showAll();
}
function showAll() {
  const isOld = heardAt > 0 && Date.now() - heardAt > OLD_AFTER_MS;
  document.body.classList.toggle("lost", isOld);
  put($("title"), fleet ? say("fleet.of", { archive: fleet.archive }) : say("fleet.title"));
  put($("live-word"), heardAt === 0 ? "" : say(isOld ? "shell.not_live" : "shell.live"));
  put($("clock"), heardAt && !isOld ? timeOfDay(heardAt, true) : "");
  const isDeaf = fleet !== null && !fleet.hears;
  toggle($("lost-strip"), isOld || isDeaf);
  put($("lost-strip"), isOld ? say("fleet.lost", { at: clockTime(heardAt, true) }) : say("fleet.not_hearing"));
  if (fleet) viewed.show(isOld);
}

light();
put($("skip"), say("page.skip"));
set($("nav"), "aria-label", say("page.views"));
for (const [name, text] of Object.entries(TABS)) {
  const link = make("a", "tab", make("span", "tab-text", text()));
  link.href = `#${name}`;
  link.dataset.view = name;
  $("nav").append(link);
}
addEventListener("hashchange", go);
go();
setInterval(() => (showAll(), look()), LOOK_EVERY_MS);

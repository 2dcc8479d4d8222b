// Each site with how many stations it has, and of which kind; from there to its stations.

import { keep, make, put, section, set } from "../dom.js";
import { ask } from "../line.js";
import { figure, say } from "../say.js";

const COLUMNS = {
  stations: () => say("fleet.stations"), not_ready: () => say("fleet.not_ready"), silent: () => say("fleet.only_silent"), ready: () => say("fleet.ready"),
  with_alarms: () => say("view.alarms"), with_gaps: () => say("fleet.only_gaps"), altered: () => say("fleet.only_altered"),
};
let at = null;
let sites = [];

export function mount(root) {
  at = make("ul", "fleet-list");
  root.append(section("panel", "sites", say("fleet.sites"), at));
}
export async function look() {
  const { ok, body } = await ask("/api/1/fleet/sites");
  if (ok) sites = body.sites;
  return ok;
}
export function show() {
  const create = () => make("li", "", make("a", "fleet-row", make("b", "name"), make("span", "facts")));
  keep(at, sites, (one) => one.site, create, (item, one) => {
    set(item.firstChild, "href", `#stations?${new URLSearchParams({ site: one.site })}`);
    put(item.firstChild.children[0], one.site);
    const told = Object.keys(COLUMNS).filter((key) => one[key]).map((key) => say("name.colon", { what: COLUMNS[key](), of: figure(one[key]) }));
    put(item.firstChild.children[1], told.join(" · "));
  });
}

// Readings of several points over one time axis, as /api/1/trends tells them: what was asked for is kept, and what is new is added to it.

import { ask } from "./line.js";
import { say } from "./say.js";

const KEPT = 6; // stretches that are kept: one each for the ranges somebody goes to and fro between
const MOST = 960; // buckets of one question
const FOLLOW_LEAST_MS = 2000; // between two questions for what is new, however fast the station's clock runs
const RETRY_MS = 3000;
const COLUMNS = ["min", "mean", "max", "covered"];

/** Reasons come only where there is one. */
const filled = (reasons, n) => (reasons.length ? reasons : Array(n).fill(null));

/** Equally wide buckets of some points from `from` on. `points`: {id: {unit, min, mean, max, covered, quality, reason}}. */
class Stretch {
  constructor({ from, width_s: width, n, points }, asked) {
    Object.assign(this, { from: Date.parse(from), width: width * 1000, n, points, asked });
  }
  get to() {
    return this.from + this.n * this.width;
  }
  /** Take over what a newer answer says: from its begin on all is new. False where it doesn't fit. */
  add(newer) {
    const at = Math.round((newer.from - this.from) / this.width);
    if (newer.width !== this.width || at < 0 || at > this.n || this.from + at * this.width !== newer.from) return false;
    const drop = Math.max(0, at + newer.n - 2 * MOST); // a page that stands for days doesn't grow
    for (const [id, point] of Object.entries(this.points)) {
      const fresh = newer.points[id];
      if (!fresh) return false;
      for (const column of COLUMNS) point[column] = point[column].slice(drop, at).concat(fresh[column]);
      point.quality = point.quality.slice(drop, at) + fresh.quality;
      point.reason = filled(point.reason, this.n).slice(drop, at).concat(filled(fresh.reason, newer.n));
    }
    this.from += drop * this.width;
    this.n = at + newer.n - drop;
    return true;
  }
}

export class Readings {
  /** `changed()` is called when something has come, or can't. */
  constructor(changed) {
    this.changed = changed;
    this.stretches = []; // newest use last
    this.trouble = "";
    this.points = "";
    this.asking = null;
    this.next = null;
    this.followed = -FOLLOW_LEAST_MS;
    this.notBefore = 0;
  }

  of(width) {
    return this.stretches.find((one) => one.asked === width) || null;
  }
  /** The best there is for a view: of this width, else the finest of those that reach it. */
  best(from, to, width) {
    const reach = this.stretches.filter((one) => one.from < to && one.to > from);
    const share = (one) => Math.min(one.to, to) - Math.max(one.from, from);
    reach.sort((a, b) => (a.asked === width ? 0 : 1) - (b.asked === width ? 0 : 1) || share(b) - share(a));
    return reach[0] || null;
  }

  /** Have what a view needs, up to now: with as much again on both sides, so that it can be moved at once. */
  want(points, from, to, width, now) {
    if (points.join() !== this.points) {
      this.points = points.join();
      this.stretches = [];
    }
    const known = this.of(width);
    if (known && known.from <= from && known.to > from) {
      this.stretches = [...this.stretches.filter((one) => one !== known), known];
      if (known.to >= Math.min(to, now) || this.follow(width, now)) return;
    }
    const side = Math.max(0, Math.min((MOST - (to - from) / width) / 2, (to - from) / width / 2)) * width;
    const begin = Math.floor((from - side) / width) * width;
    const last = Math.min(Math.ceil((to + side) / width), Math.floor(now / width) + 1) * width;
    if (last > begin) this.ask(begin, width, Math.min(MOST, Math.round((last - begin) / width)), null);
  }
  /** What has come since, from the last bucket that was not over yet. False where that would be too much for one question. */
  follow(width, now) {
    const known = this.of(width);
    if (!known) return false;
    const begin = known.from + Math.max(0, known.n - 2) * known.width;
    const n = Math.floor((now - begin) / known.width) + 1;
    if (n > MOST) return false;
    if (n > 0 && !this.asking && (n > 4 || performance.now() - this.followed > FOLLOW_LEAST_MS)) {
      this.followed = performance.now();
      this.ask(begin, known.width, n, known);
    }
    return true;
  }

  ask(from, width, n, into) {
    if (performance.now() < this.notBefore) return;
    const next = { from, width, n, into };
    if (this.asking) {
      if (!into && (this.asking.from !== from || this.asking.width !== width || this.asking.n !== n)) this.next = next; // of those that wait only the newest counts
      return;
    }
    this.asking = next;
    const points = this.points;
    const path = `/api/1/trends?points=${encodeURIComponent(points)}&from=${from / 1000}&width_s=${width / 1000}&n=${n}`;
    ask(path).then(({ ok, body, trouble }) => {
      this.asking = null;
      this.trouble = ok ? "" : trouble || say("trends.unreadable");
      if (!ok) this.notBefore = performance.now() + RETRY_MS;
      if (ok && points === this.points) this.take(new Stretch(body, into ? into.asked : width), into);
      const waiting = this.next;
      this.next = null;
      if (waiting) this.ask(waiting.from, waiting.width, waiting.n, waiting.into);
      this.changed();
    });
  }
  take(stretch, into) {
    if (into && into.add(stretch)) return;
    const others = this.stretches.filter((one) => one.asked !== stretch.asked);
    this.stretches = into ? others : [...others, stretch].slice(-KEPT); // what doesn't fit is asked for as a whole
  }
}

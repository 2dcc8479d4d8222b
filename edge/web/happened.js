// What the journal tells of a stretch of time, as /api/1/history says it: asked for with as much again on both sides, and anew as entries come.

import { ask } from "./line.js";
import { say } from "./say.js";

const AGAIN_MS = 2000; // a long journal is read in several goes
const LEAST_MS = 3000; // between two questions for what is new
const MOST_MS = 60e3; // what lasts is asked for again, though no entry came

/** {told, trouble, want()}: `told` is the newest answer, with its span and until when it was known, in ms. */
export function happened(changed) {
  const known = { told: null, trouble: "", want };
  let asking = false;
  let asked = null; // {from, to, seq, at}
  function want(from, to, now, seq) {
    if (asking) return;
    const side = (to - from) / 2;
    const isIn = asked && asked.from <= from && asked.to >= Math.min(to, asked.now) && asked.length <= 4 * (to - from);
    const age = asked ? performance.now() - asked.at : 0;
    const isOld = asked && to > asked.now && now > asked.now && age > (asked.seq === seq ? MOST_MS : LEAST_MS);
    if (isIn && !isOld) return;
    asking = true;
    asked = { from: from - side, to: Math.min(to + side, Math.max(now, from + 1)), seq, now, at: performance.now(), length: 2 * (to - from) };
    if (asked.from >= asked.to) asked.from = asked.to - 1000;
    ask(`/api/1/history?from=${Math.max(0, asked.from) / 1000}&to=${asked.to / 1000}`).then(({ ok, body, trouble }) => {
      asking = false;
      if (ok) known.told = { ...body, until: asked.to };
      known.trouble = ok ? "" : trouble || say("trends.untold");
      if (!ok) setTimeout(() => (asked = null), AGAIN_MS);
      changed();
    });
  }
  return known;
}

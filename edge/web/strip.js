// The word of the verdict over time, as a strip: of a day in the record, of any stretch among the trends.

import { keep, make, put, set } from "./dom.js";
import { say } from "./say.js";
import { clockTime, phaseName, verdictName } from "./told.js";

const WORDS = ["ready", "in_use", "reheating", "at_rest", "not_ready", "cant_tell"];
const PHASES = ["in_use", "reheating", "at_rest"];
/** A word as the station says it. */
export const wordName = (what) => (PHASES.includes(what) ? phaseName(what) : verdictName(what));

/** What /api/1/history tells, as blocks: {what, from, to, low, high}, the latter shares of the strip's height from below. */
export function blocksOf(told) {
  return told.flatMap(({ from, to, shares }) => {
    let low = 0;
    return WORDS.filter((what) => shares[what] > 0).map((what) => {
      const block = { what, from: Date.parse(from), to: Date.parse(to), low, high: low + shares[what] };
      low = block.high;
      return block;
    });
  });
}

const percent = (n) => `${(100 * n).toFixed(3)}%`;
/** Lay blocks, or whatever has `from` and `to`, along an element that spans a stretch of time. */
export function lay(element, block, from, to) {
  const left = Math.max(0, (block.from - from) / (to - from));
  element.style.left = percent(left);
  element.style.width = percent(Math.min(1, (block.to - from) / (to - from)) - left);
}

export function showBlocks(row, blocks, from, to) {
  const seen = blocks.filter((block) => block.to > from && block.from < to);
  keep(row, seen, (block) => `${block.from} ${block.what}`, () => make("span", "span"), (element, block) => {
    lay(element, block, from, to);
    element.style.bottom = percent(block.low);
    element.style.height = percent(block.high - block.low);
    set(element, "data-what", block.what);
  });
}

/** In words, span by span; where there are shares, or more than `most`, how much of the time each word had. */
export function toldOf(blocks, timeWord, most) {
  if (!blocks.length) return say("strip.unknown");
  if (blocks.length <= most && blocks.every((block) => block.low === 0 && block.high > 0.999)) {
    return blocks.map(({ what, from, to }) => {
      const word = timeWord(from) === timeWord(to) ? clockTime : timeWord; // within one day
      return say("strip.span", { what: wordName(what), from: word(from), to: word(to) });
    }).join("; ");
  }
  const sums = {};
  for (const block of blocks) sums[block.what] = (sums[block.what] || 0) + (block.to - block.from) * (block.high - block.low);
  const whole = Object.values(sums).reduce((sum, one) => sum + one, 0);
  const shares = Object.entries(sums).sort((a, b) => b[1] - a[1]);
  const shareOf = ([word, ms]) => {
    const what = wordName(word);
    return ms < 0.01 * whole ? say("strip.share_small", { what }) : say("name.of", { what, of: say("size.percent", { n: Math.round((100 * ms) / whole) }) });
  };
  return say("strip.shares", { shares: shares.map(shareOf).join(", ") });
}

/** What the colours and patterns mean, in a list. */
export function showLegend(list) {
  keep(list, WORDS, (what) => what, () => make("li", "", make("span", "span"), make("span")), (item, what) => {
    set(item.firstChild, "data-what", what);
    put(item.lastChild, wordName(what));
  });
}

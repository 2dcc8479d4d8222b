// A lane: some quantities of one kind over the time that is looked at. Lines, the band between least and greatest, what is not known.
//
// Drawn as SVG, with its words as elements above it: both take their colours from the style sheet, and nothing is bridged that was not read.

import { keep, make, put, set, show as toggle } from "./dom.js";
import { figure, say } from "./say.js";
import { stepsOf } from "./span.js";
import { lay } from "./strip.js";

const SVG = "http://www.w3.org/2000/svg";
const ROOM = 0.08; // above and below what is drawn
const BAND_PX = 3; // a band that is thinner is the line itself
const STEP_PX = 44; // between two numbers of the axis

function path(...classes) {
  const element = document.createElementNS(SVG, "path");
  element.setAttribute("class", classes.join(" "));
  element.setAttribute("vector-effect", "non-scaling-stroke");
  return element;
}

/** `series`: of each its style ("first", "second", "third"), in the order in which they are drawn. */
export function makePlot(styles) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("focusable", "false");
  svg.setAttribute("preserveAspectRatio", "none");
  const grid = path("grid");
  const ahead = path("foreseen");
  const limits = path("limit");
  const of = styles.map((style) => ({ band: path("band-of", style), line: path("line-of", style), unsure: path("line-of", "unsure", style), dots: path("dots-of", style) }));
  svg.append(grid, ahead, ...of.map((one) => one.band), limits, ...of.flatMap((one) => [one.unsure, one.line, one.dots]));
  const plot = make("div", "plot", make("div", "voids"), svg, make("div", "steps"), make("div", "ends"), make("div", "feet"));
  plot.parts = { svg, grid, ahead, limits, of };
  return plot;
}

/**
 * Draw. `view`: {from, to, now}; `data`: {width, from, series: [{name, min, mean, max, quality, convert, end}], limits: [{value, name}],
 * dots: [[{at, value}]], foreseen: [[{at, low, high}]], least}; numbers are in the shown unit already. Returns the scale: {low, high}.
 */
export function drawPlot(plot, view, data, size) {
  const { svg, grid, ahead, limits, of } = plot.parts;
  const { width, height } = size;
  set(svg, "viewBox", `0 0 ${width} ${height}`);
  const x = (at) => ((at - view.from) / (view.to - view.from)) * width;
  const scale = scaleOf(view, data);
  const y = (value) => height - ((value - scale.low) / (scale.high - scale.low)) * height;
  const steps = scale.isMadeUp ? [] : stepsOf(scale.low, scale.high, Math.max(2, Math.floor(height / STEP_PX)));
  set(grid, "d", steps.map((value) => `M0 ${y(value).toFixed(1)}H${width}`).join(""));
  showSteps(plot.children[2], steps, (value) => y(value) / height);
  of.forEach((paths, at) => drawSeries(paths, data.series[at], view, data, x, y));
  set(limits, "d", data.limits.map((limit) => `M0 ${y(limit.value).toFixed(1)}H${width}`).join(""));
  of.forEach((paths, at) => set(paths.dots, "d", (data.dots[at] || []).filter((dot) => dot.at >= view.from && dot.at <= view.to)
    .map((dot) => `M${(x(dot.at) - 4).toFixed(1)} ${y(dot.value).toFixed(1)}l4 -4 4 4 -4 4z`).join("")));
  const spot = (at, value) => `${x(at).toFixed(1)} ${y(value).toFixed(1)}`;
  set(ahead, "d", data.foreseen.map((wedge) => `M${wedge.map((one) => spot(one.at, one.low)).join("L")}L${[...wedge].reverse().map((one) => spot(one.at, one.high)).join("L")}Z`).join(""));
  showEnds(plot.children[3], data, (value) => y(value) / height, height);
  showVoids(plot.children[0], plot.children[4], view, data);
  return scale;
}

/** What has to be seen: all values in view, the limits, and what is foreseen. */
function scaleOf(view, data) {
  let [low, high] = [Infinity, -Infinity];
  const see = (...values) => {
    for (const value of values) if (typeof value === "number") [low, high] = [Math.min(low, value), Math.max(high, value)];
  };
  for (const series of data.series) {
    if (!series.mean) continue;
    const first = Math.max(0, Math.floor((view.from - data.from) / data.width));
    const last = Math.min(series.mean.length, Math.ceil((view.to - data.from) / data.width));
    for (let at = first; at < last; at += 1) see(series.min[at], series.max[at]);
  }
  for (const dots of data.dots) for (const dot of dots || []) if (dot.at >= view.from && dot.at <= view.to) see(dot.value);
  for (const limit of data.limits) see(limit.value);
  const isMadeUp = low > high; // nothing is there: numbers beside it would look like a measure
  if (isMadeUp) [low, high] = [0, data.least];
  if (data.isFromZero) see(0);
  const lack = Math.max(0, data.least - (high - low)) / 2;
  [low, high] = [low - lack, high + lack];
  const room = (high - low) * ROOM;
  return { isMadeUp, low: data.isFromZero && low - room < 0 && low >= -lack ? -room / 2 : low - room, high: high + room };
}

/** Lines run from bucket to bucket, and end where there is none; a lonely bucket is a dash. What is not good is drawn apart. */
function drawSeries(paths, series, view, data, x, y) {
  const drawn = { line: [], unsure: [], band: [] };
  if (series && series.mean) {
    const first = Math.max(0, Math.floor((view.from - data.from) / data.width) - 1);
    const last = Math.min(series.mean.length, Math.ceil((view.to - data.from) / data.width) + 1);
    const middle = (at) => data.from + (at + 0.5) * data.width;
    for (let begin = first; begin < last; begin += 1) {
      if (series.mean[begin] === null) continue;
      let end = begin;
      while (end + 1 < last && series.mean[end + 1] !== null) end += 1;
      drawRun(drawn, series, begin, end, (at) => x(middle(at)), y, x(data.width) - x(0));
      begin = end;
    }
  }
  for (const name of ["line", "unsure", "band"]) set(paths[name], "d", drawn[name].join(""));
}
function drawRun(drawn, series, begin, end, x, y, wide) {
  const spot = (at) => `${x(at).toFixed(1)} ${y(series.mean[at]).toFixed(1)}`;
  if (begin === end) {
    drawn[series.quality[begin] === "g" ? "line" : "unsure"].push(`M${(x(begin) - wide / 2).toFixed(1)} ${y(series.mean[begin]).toFixed(1)}h${Math.max(2, wide).toFixed(1)}`);
  }
  let open = "";
  for (let at = begin; at < end; at += 1) {
    const kind = series.quality[at] === "g" && series.quality[at + 1] === "g" ? "line" : "unsure";
    drawn[kind].push(kind === open ? `L${spot(at + 1)}` : `M${spot(at)}L${spot(at + 1)}`);
    open = kind;
  }
  const isTall = (at) => at >= begin && at <= end && y(series.min[at]) - y(series.max[at]) > BAND_PX;
  for (let at = begin; at <= end; at += 1) {
    if (!isTall(at)) continue;
    const first = Math.max(begin, at - 1);
    while (isTall(at)) at += 1;
    const last = Math.min(end, at);
    const half = first === last ? wide / 2 : 0;
    const up = [];
    const down = [];
    for (let n = first; n <= last; n += 1) {
      up.push(`${(x(n) - half).toFixed(1)} ${y(series.max[n]).toFixed(1)}`);
      down.push(`${(x(n) + half).toFixed(1)} ${y(series.min[n]).toFixed(1)}`);
    }
    drawn.band.push(`M${up.join("L")}L${down.reverse().join("L")}Z`);
  }
}

const percent = (n) => `${(100 * n).toFixed(2)}%`;
function showSteps(list, steps, down) {
  keep(list, steps, (value) => value, () => make("span", "step"), (element, value) => {
    put(element, figure(Number(value.toPrecision(6))));
    element.style.top = percent(down(value));
  });
}
/** Names at the ends of lines and at limits; those that would lie over each other are moved apart. */
function showEnds(list, data, down, height) {
  const gap = 17 / height;
  const ends = [
    ...data.series.filter((one) => typeof one.end === "number").map((one) => ({ name: one.name, at: down(one.end), style: one.style })),
    ...data.limits.map((limit) => ({ name: limit.name, at: down(limit.value), style: "of-limit" })),
  ].sort((a, b) => a.at - b.at);
  let before = -Infinity;
  for (const end of ends) {
    end.at = Math.max(end.at, before + gap, 0.04);
    before = end.at;
  }
  let after = 1.02;
  for (const end of [...ends].reverse()) {
    end.at = Math.min(end.at, after - gap);
    after = end.at;
  }
  keep(list, ends, (end) => `${end.style} ${end.name}`, () => make("span", "end"), (element, end) => {
    put(element, end.name);
    set(element, "data-style", end.style);
    element.style.top = percent(end.at);
  });
}

/** Runs of buckets that are alike: [{from, to, kind}]. */
function runsOf(count, kindOf, from, width, until) {
  const runs = [];
  for (let at = 0; at < count; at += 1) {
    const kind = kindOf(at);
    const begin = from + at * width;
    const last = runs.at(-1);
    if (last && last.kind === kind && last.to === begin) last.to = begin + width;
    else runs.push({ kind, from: begin, to: begin + width });
  }
  for (const run of runs) run.to = Math.min(run.to, until);
  return runs.filter((run) => run.kind && run.to > run.from);
}
const FOOT = { u: "unsure", b: "bad" };
/** Where nothing was read the lane is void; below it, a foot for each quantity says where it was unsure or bad. */
function showVoids(voids, feet, view, data) {
  const there = data.series.filter((one) => one.mean);
  const count = there.length ? there[0].mean.length : 0;
  const isVoid = (at) => (there.every((one) => one.mean[at] === null) ? (there.some((one) => one.quality[at] === "b") ? "bad" : "none") : null);
  const hasDots = data.dots.some((dots) => (dots || []).some((dot) => dot.at >= view.from && dot.at <= view.to));
  const whole = count || hasDots ? [] : [{ from: view.from, to: Math.min(view.now, view.to), kind: data.isRead ? "none" : "unread" }];
  const empty = !count ? whole : runsOf(count, isVoid, data.from, data.width, view.now).filter((run) => run.to > view.from && run.from < view.to);
  keep(voids, empty, (run) => `${run.from} ${run.kind}`, () => make("span", "void", make("span", "void-text")), (element, run) => {
    lay(element, run, view.from, view.to);
    set(element, "data-kind", run.kind);
    const isWide = (Math.min(run.to, view.to) - Math.max(run.from, view.from)) / (view.to - view.from) > 0.14;
    put(element.firstChild, isWide ? say(run.kind === "bad" ? "trends.not_believed" : run.kind === "none" ? "trends.no_readings" : "trends.being_read") : "");
  });
  const shown = there.filter((one) => /[ub]/.test(one.quality));
  toggle(feet, shown.length > 0);
  keep(feet, shown, (one) => one.name, () => make("div", "foot"), (foot, one) => {
    const runs = runsOf(count, (at) => FOOT[one.quality[at]] || null, data.from, data.width, view.now).filter((run) => run.to > view.from && run.from < view.to);
    keep(foot, runs, (run) => `${run.from} ${run.kind}`, () => make("span", "stretch"), (element, run) => {
      lay(element, run, view.from, view.to);
      set(element, "data-kind", run.kind);
    });
  });
}

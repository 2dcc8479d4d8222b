// The daily test, step by step: what each channel port gives, the other check items, what it comes to. The station judges; here is timed.

import { signer } from "../device.js";
import { button, draw, keep, make, markOf, part, put, set, show as toggle } from "../dom.js";
import { record, signing } from "../people.js";
import { figure, say } from "../say.js";
import { isSigned, mustSign } from "../session.js";
import { askToSign } from "../sign.js";
import { keyName, sentence } from "../told.js";
import { Draft, clockOffMs, stationMs } from "./draft.js";
import { donePage, note } from "./done.js";
import { headOf } from "./head.js";
import { pad } from "./pad.js";
import { setup, titleOf } from "./wants.js";

const BOUNCE_MS = 600; // a finger that comes down twice
const JUMP_MS = 300; // two clocks of this device apart by more: it slept, or one was set
// `at`: the port, or the stage, that somebody went to; null: what is next. `whole`: by eye, where there are no ports. `tries`: what was
// measured of ports that were measured again.
const EMPTY = { ports: [], checked: [], failed: [], eye: [], tries: [], whole: null, running: null, at: null };

const tenths = (ms) => Math.round(ms / 100) / 10;
const said = (s) => figure(s, 1);

/** The page of a test: {element, show(), end()}. `basin`: of which alone; "" of the station. */
export function dailyTest(basin, app) {
  const plan = setup();
  const rules = plan.daily_test;
  const ports = basin ? plan.basins.find((one) => one.id === basin).ports : plan.basins.reduce((sum, one) => sum + one.ports, 0);
  const title = titleOf("daily_test", basin ? { basin } : {});
  const root = make("div", "doing test");
  const draft = new Draft("daily_test", basin, EMPTY, bodyOf, () => show());
  let own = null; // where this page began the stopwatch: {port, began, perf: of the tap}, and two clocks read together: at, wall
  let stoppedHere = null; // the port that was measured last on this page
  let trouble = "";
  let isOver = false;
  let isDiscarding = false; // somebody asked for it, and is asked whether they mean it
  let stage = ""; // what is built
  const at = {};

  // -- what is done so far
  function bodyOf({ ports: list, checked, failed, eye, tries, whole }) {
    const beside = noteOf(eye, tries);
    return {
      ...(list.length ? { channel_ports: list } : {}), ...(checked.length ? { checked } : {}), ...(failed.length ? { failed } : {}),
      ...(whole !== null ? { passed: whole } : eye.length ? { passed: true } : {}), ...(basin ? { basin } : {}),
      ...(beside ? { note: beside } : {}),
    };
  }
  /** What the record's own keys have no place for. */
  function noteOf(eye, tries) {
    const before = tries.map((one) => say("test.before", { port: one.port, s: said(one.seconds) }));
    return [...before, ...(eye.length ? [say("test.ports_by_eye", { ports: eye.join(", ") })] : [])].join("; ");
  }
  const measured = (port) => draft.state.ports.find((one) => one.port === port);
  const isByEye = (port) => draft.state.eye.includes(port);
  const failedPorts = () => (draft.comesTo ? draft.comesTo.failed_ports : []);
  const open = () => [...Array(ports).keys()].map((n) => n + 1).filter((port) => !measured(port) && !isByEye(port));
  const itemsOpen = () => rules.also.filter((item) => !draft.state.checked.includes(item) && !draft.state.failed.includes(item));
  function portNow() {
    const { running, at: chosen } = draft.state;
    if (running) return running.port;
    if (chosen && chosen !== "items" && chosen !== "result") return chosen;
    return open()[0] || null;
  }
  function stageNow() {
    if (isOver) return "over";
    if (!draft.isLoaded) return "loading";
    if (isDiscarding) return "discard";
    const { running, at: chosen } = draft.state;
    if (running || (typeof chosen === "number" && chosen)) return "port";
    if (chosen === "items" && rules.also.length) return "items";
    if (open().length) return "port";
    if (!ports && draft.state.whole === null) return "eye";
    return itemsOpen().length ? "items" : "result";
  }

  // -- the stopwatch
  function elapsedMs(now = performance.now()) {
    const { running } = draft.state;
    if (!running) return 0;
    if (own && own.port === running.port && own.began === running.began_ms) return now - own.perf;
    return stationMs(now) - running.began_ms + clockOffMs(); // taken over: what isn't sure counts as longer
  }
  function start(event) {
    const port = portNow();
    const began = Math.round(stationMs(event.timeStamp));
    own = { port, began, perf: event.timeStamp, at: performance.now(), wall: Date.now() }; // a busy device hears of a tap late
    trouble = "";
    draft.change((state) => Object.assign(state, { running: { port, began_ms: began }, at: null }));
  }
  function stop(event) {
    const { running } = draft.state;
    const ms = elapsedMs(event.timeStamp);
    if (ms < BOUNCE_MS) return;
    if (own && own.began === running.began_ms && Math.abs(Date.now() - own.wall - (performance.now() - own.at)) > JUMP_MS) {
      trouble = say("test.slept");
      draft.change((state) => Object.assign(state, { running: null, at: running.port }));
      return;
    }
    const one = { port: running.port, seconds: tenths(ms), ...(running.ml ? { ml: running.ml } : {}) };
    stoppedHere = one.port;
    draft.change((state) => {
      state.tries.push(...state.ports.filter((other) => other.port === one.port));
      state.ports = [...state.ports.filter((other) => other.port !== one.port), one].sort((x, y) => x.port - y.port);
      state.eye = state.eye.filter((port) => port !== one.port);
      Object.assign(state, { running: null, at: one.port }); // until the station has said whether it was enough
    });
  }
  /** The port that was measured here was enough: on to the next by itself. */
  function goOn() {
    const { running, at: port } = draft.state;
    if (running || port === null || port !== stoppedHere || !draft.comesTo || draft.isWaiting) return;
    stoppedHere = null;
    if (!failedPorts().includes(port)) draft.change((state) => (state.at = null));
  }
  const undo = (port) => draft.change((state) => {
    state.ports = state.ports.filter((one) => one.port !== port);
    state.eye = state.eye.filter((one) => one !== port);
    Object.assign(state, { at: port, running: null });
  });
  async function volume() {
    const port = portNow();
    const done = measured(port);
    const answer = await pad({ title: say("test.volume", { port }), says: say("test.volume_says", { ml: rules.volume_ml }), unit: "mL", low: 1, high: 10000, text: done && done.ml ? String(done.ml) : "" });
    if (!answer) return;
    const ml = Number(answer.text);
    draft.change((state) => {
      if (state.running) state.running.ml = ml;
      for (const one of state.ports) if (one.port === port && !state.running) one.ml = ml;
    });
  }

  // -- building
  function build() {
    at.by = make("p", "doing-by");
    at.tiles = make("ol", "tiles");
    at.note = make("p", "doing-note");
    at.note.setAttribute("role", "status");
    at.body = make("div", "doing-body");
    at.drop = button("plain discard", say("test.discard"), () => leave(true));
    root.replaceChildren(headOf(title, at.by), at.tiles, at.note, at.body, make("div", "buttons dropping", at.drop));
  }
  const builders = {
    loading: () => [make("p", "quiet", say("do.waiting"))],
    port() {
      at.port = make("p", "port-name");
      at.time = make("span", "watch-time");
      at.limit = make("span", "watch-limit");
      at.fill = make("span", "watch-fill");
      const bar = make("div", "watch-bar", at.fill, make("span", "watch-line"), at.limit);
      at.word = make("p", "watch-word");
      at.word.setAttribute("role", "status");
      at.press = button("main watch-press", "", (event) => (draft.state.running ? stop(event) : start(event)));
      at.volume = button("watch-volume", "", volume);
      at.eye = button("watch-eye", say("test.by_eye"), () => {
        const port = portNow();
        draft.change((state) => {
          if (!state.eye.includes(port)) state.eye.push(port);
          state.at = null;
        });
      });
      at.eyes = button("watch-eyes", say("test.all_by_eye"), () => {
        const left = open();
        draft.change((state) => {
          state.eye.push(...left);
          state.at = null;
        });
      });
      at.undo = button("watch-undo", "", () => undo(at.undone));
      at.next = button("watch-next", "", () => draft.change((state) => (state.at = null)));
      at.stopless = button("watch-cancel", say("test.anew"), () => draft.change((state) => Object.assign(state, { at: state.running.port, running: null })));
      return [make("section", "panel watch", make("div", "watch-head", at.port, at.volume), make("p", "watch-clock", at.time, make("small", "", " s")), bar, at.word, at.press,
        make("div", "buttons", at.next, at.eye, at.eyes, at.stopless, at.undo))];
    },
    eye: () => [make("section", "panel", make("h3", "doing-sub", say("test.no_ports")), make("div", "buttons",
      button("main", sentence(keyName("passed")), () => draft.change((state) => (state.whole = true))), button("", sentence(keyName("failed")), () => draft.change((state) => (state.whole = false)))))],
    items() {
      const rows = rules.also.map((item) => {
        const choose = (word) => draft.change((state) => {
          for (const list of ["checked", "failed"]) state[list] = state[list].filter((one) => one !== item);
          state[word].push(item);
          const isLast = rules.also.every((one) => state.checked.includes(one) || state.failed.includes(one));
          state.at = isLast ? null : "items";
        });
        const row = make("li", "item", make("span", "item-name", item), button("item-done", say("test.done"), () => choose("checked")), button("item-failed", sentence(keyName("failed")), () => choose("failed")));
        row.dataset.item = item;
        return row;
      });
      at.items = make("ul", "items", ...rows);
      return [make("section", "panel", make("h3", "doing-sub", say("test.items")), at.items)];
    },
    result() {
      at.verdict = make("p", "result-word", markOf(), make("span", "result-text"));
      at.why = make("p", "result-why");
      at.advice = make("p", "result-advice");
      at.retry = make("div", "buttons retry");
      at.who = signing();
      at.fault = make("p", "who-fault");
      at.fault.setAttribute("role", "alert");
      at.send = button("main send", say("form.send"), send);
      return [make("section", "panel result", at.verdict, at.why, at.advice, at.retry, at.who.element, at.fault,
        make("div", "buttons", at.send))];
    },
    discard() {
      at.who = signing();
      at.fault = make("p", "who-fault");
      at.fault.setAttribute("role", "alert");
      return [make("section", "panel", make("p", "big-line", say("test.discard_sure")), make("p", "", say("test.discard_says")), at.who.element, at.fault,
        make("div", "buttons", button("main", say("test.discard_not"), () => leave(false)), button("discard-all", say("test.discard_all"), discard)))];
    },
    over: () => [make("section", "panel", make("p", "result-text", draft.goneBy ? say("test.discarded_by", { by: draft.goneBy }) : say("test.elsewhere")), make("div", "buttons", button("main", say("done.back"), () => (location.hash = "#do"))))],
  };

  // -- sending
  async function send() {
    if (at.who.lacks(at.fault)) return;
    at.send.disabled = true;
    const { ok, body, trouble: refused } = await record("daily_test", bodyOf(draft.state), at.who.name());
    at.send.disabled = false;
    if (!ok) return put(at.fault, refused);
    note(body.seq, () => titleOf("daily_test", basin ? { basin } : {}));
    isOver = true;
    draft.end();
    stage = "done";
    const advice = !draft.comesTo || draft.comesTo.passed !== false ? [] : [make("p", "result-advice", draft.comesTo.advice)];
    root.replaceChildren(donePage(title, body, advice));
  }
  function leave(is) {
    isDiscarding = is;
    show();
  }
  async function discard() {
    if (at.who.lacks(at.fault)) return;
    const name = at.who.name();
    if (!(await draft.discard(name))) return put(at.fault, draft.trouble);
    if (name) signer(name);
    location.hash = "#do";
  }

  // -- showing
  function show() {
    if (stage === "done") return;
    if (draft.isGone) isOver = true;
    const now = stageNow();
    if (now !== stage) {
      stage = now;
      at.body.replaceChildren(...builders[now]());
      const first = at.body.querySelector(".main");
      if (first && now !== "result") first.focus({ preventScroll: true });
    }
    put(at.by, draft.by && draft.version ? say("test.changed_by", { by: draft.by }) : "");
    put(at.note, trouble || draft.trouble);
    toggle(at.note, trouble || draft.trouble);
    tiles();
    const isBegun = draft.version > 0 || draft.isWaiting;
    toggle(at.drop, isBegun && !draft.state.running && !["discard", "loading", "over", "done"].includes(now));
    showers[now]?.();
    goOn();
  }
  function tiles() {
    const list = [...Array(ports).keys()].map((n) => n + 1);
    toggle(at.tiles, ports && !["loading", "over", "discard"].includes(stage));
    const create = (port) => {
      const one = button("tile", "", () => draft.change((state) => !state.running && (state.at = port)));
      one.append(make("span", "tile-port", make("span", "aside", `${say("test.port")} `), String(port)), make("span", "tile-text"), make("span", "aside tile-word"), markOf());
      return make("li", "", one);
    };
    keep(at.tiles, list, (port) => port, create, (element, port) => {
      const one = measured(port);
      const isRunning = draft.state.running && draft.state.running.port === port;
      const state = isRunning ? "running" : one ? (failedPorts().includes(port) ? "failed" : draft.comesTo ? "enough" : "measured") : isByEye(port) ? "eye" : "open";
      const tile = part(element, "tile");
      set(tile, "data-state", state);
      set(tile, "aria-current", stage === "port" && portNow() === port ? "step" : null);
      put(part(tile, "tile-text"), isRunning ? say("test.runs") : one ? say("age.s", { n: said(one.seconds) }) : isByEye(port) ? say("test.eye") : say("test.not_yet"));
      draw(part(tile, "mark"), { failed: "bad", enough: "met", eye: "by_eye", running: "waiting" }[state] || "off");
      toggle(part(tile, "mark"), state !== "open");
      put(part(tile, "tile-word"), state === "failed" ? `, ${say("test.too_little")}` : state === "enough" ? `, ${say("test.enough")}` : "");
    });
  }
  const showers = {
    discard: () => at.who.tell(),
    port() {
      const port = portNow();
      const { running } = draft.state;
      const done = measured(port);
      const isTooLittle = !running && done && failedPorts().includes(port);
      const ml = (running && running.ml) || (done && done.ml) || rules.volume_ml;
      const s = running ? elapsedMs() / 1000 : done ? done.seconds : 0;
      put(at.port, ports > 1 ? say("test.port_of", { port, of: ports }) : say("test.port_one", { port }));
      put(at.time, said(s));
      put(at.volume, `${ml} mL`);
      at.fill.style.width = `${Math.min(100, (s / rules.within_s) * 75)}%`;
      put(at.limit, `${rules.within_s} s`);
      const beyond = s >= rules.within_s;
      set(part(root, "watch"), "data-beyond", (running && beyond) || isTooLittle ? "" : null);
      const rest = draft.isWaiting ? "" : say("test.measured");
      put(at.word, running ? (beyond ? say("test.past", { s: rules.within_s, ml }) : say("test.stop_at", { s: rules.within_s, ml }))
        : isTooLittle ? say("test.slow", { s: said(done.seconds) }) : done ? rest : say("test.hold"));
      put(at.press, running ? say("test.stop") : done ? say("test.again") : say("test.start"));
      at.press.classList.toggle("running", Boolean(running));
      toggle(at.next, !running && done);
      put(at.next, open().length ? say("test.next") : say("do.go_on"));
      toggle(at.eye, !running && !done && !rules.every_port);
      toggle(at.eyes, !running && !done && !rules.every_port && open().length > 1);
      toggle(at.stopless, running);
      const lastPort = draft.state.ports.length && !running && !done ? lastMeasured() : null;
      at.undone = lastPort;
      toggle(at.undo, lastPort);
      put(at.undo, lastPort ? say("test.undo", { port: lastPort }) : "");
    },
    items() {
      for (const row of at.items.children) {
        const { item } = row.dataset;
        const word = draft.state.checked.includes(item) ? "done" : draft.state.failed.includes(item) ? "failed" : "";
        for (const each of ["done", "failed"]) set(part(row, `item-${each}`), "aria-pressed", String(word === each));
      }
    },
    result() {
      const found = draft.comesTo;
      const word = !found ? "unknown" : found.passed ? "met" : found.passed === false ? "unmet" : "unknown";
      draw(part(at.verdict, "mark"), word);
      set(at.verdict, "data-word", word);
      put(part(at.verdict, "result-text"), !found ? say("test.not_judged") : found.passed ? sentence(keyName("passed")) : found.passed === false ? sentence(keyName("failed")) : say("test.cant_tell"));
      put(at.why, found && !found.passed ? `${sentence(found.text)}.` : summary());
      put(at.advice, found ? found.advice : "");
      toggle(at.advice, found && found.advice);
      const again = [...failedPorts(), ...(rules.also.length ? ["items"] : [])];
      const isAgain = Boolean(found) && found.passed === false && again.length > 0; // doing it again comes before recording that it failed
      at.send.classList.toggle("main", !isAgain);
      put(at.send, say(isAgain ? "test.record_failed" : "form.send"));
      keep(at.retry, again, (one) => one, (one) => button("again", one === "items" ? say("test.again_items") : say("test.again_port", { port: one }), () => draft.change((state) => (state.at = one))), (element, one, nth) => element.classList.toggle("main", isAgain && nth === 0));
      at.who.tell();
    },
  };
  function summary() {
    const { ports: list, eye, tries, whole } = draft.state;
    const slowest = list.length ? say("test.sum_slowest", { n: list.length, s: said(Math.max(...list.map((one) => one.seconds))) }) : "";
    return `${whole !== null ? say("test.whole") : [slowest, noteOf(eye, tries)].filter(Boolean).join("; ")}.`;
  }
  function lastMeasured() {
    const current = portNow();
    const before = draft.state.ports.map((one) => one.port).filter((port) => port < current);
    return before.length ? Math.max(...before) : null;
  }

  build();
  show();
  const ticking = setInterval(() => stage === "port" && draft.state.running && showers.port(), 50);
  (async () => {
    if (mustSign() && !isSigned() && !(await askToSign(say("test.the_test")))) {
      location.hash = "#do";
      return;
    }
    await draft.look();
    draft.isLoaded = true; // also where it gives no answer: what is done here is sent once it does
    show();
  })();
  return {
    element: root,
    show() {
      if (!isOver) draft.watch();
      show();
    },
    end() {
      clearInterval(ticking);
      draft.end();
    },
  };
}

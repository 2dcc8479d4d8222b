// How the time axis is moved by hand: one finger or a mouse drags, two fingers pinch, a tap reads, the wheel widens or moves, keys do all of it.

const IS_DRAG_PX = 6;
const WHEEL = 0.0016; // of a doubling, for each pixel that a wheel turns

let does = null; // of the view that is shown now; what listens on the document is added once
let axis = null;

/** `at`: {score, axis}; `act`: {view(), isHere(), move(share), zoom(factor, about), moment(ms or null), step(n), now()}. */
export function drive(at, act) {
  if (!does) document.addEventListener("keydown", onKey);
  does = act;
  axis = at.axis;
  const down = new Map(); // pointers on it: id -> x
  let isDrag = false;
  let isReading = false;
  let begun = 0;
  const shareOf = (x) => {
    const box = at.axis.getBoundingClientRect();
    return (x - box.left) / box.width;
  };
  const timeAt = (x) => {
    const { from, to } = act.view();
    return from + Math.min(1, Math.max(0, shareOf(x))) * (to - from);
  };
  const isOn = (event) => event.target.closest(".plot, .plot-like, .axis");
  const middle = () => [...down.values()].reduce((sum, x) => sum + x, 0) / down.size;
  const apart = () => Math.abs([...down.values()].reduce((a, b) => a - b));

  at.score.addEventListener("pointerdown", (event) => {
    if (!isOn(event) || event.button > 0) return;
    down.set(event.pointerId, event.clientX);
    isReading = Boolean(event.target.closest(".axis")) && down.size === 1;
    isDrag = down.size > 1;
    begun = event.clientX;
    at.score.setPointerCapture(event.pointerId);
    if (isReading) act.moment(timeAt(event.clientX));
  });
  at.score.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) {
      if (event.pointerType === "mouse") act.moment(isOn(event) ? timeAt(event.clientX) : null);
      return;
    }
    if (!isDrag && Math.abs(event.clientX - begun) < IS_DRAG_PX) return;
    if (isReading) {
      act.moment(timeAt(event.clientX));
      return;
    }
    if (!isDrag) act.moment(null);
    isDrag = true;
    const [was, wide] = [middle(), down.size === 2 ? apart() : 0];
    down.set(event.pointerId, event.clientX);
    if (down.size === 2 && wide > 10 && apart() > 10) act.zoom(wide / apart(), timeAt(middle()));
    act.move(shareOf(was) - shareOf(middle()));
  });
  const up = (event) => {
    if (!down.delete(event.pointerId)) return;
    if (event.type === "pointerup" && !isDrag && !isReading) act.moment(timeAt(event.clientX));
    if (down.size) [begun] = down.values();
  };
  at.score.addEventListener("pointerup", up);
  at.score.addEventListener("pointercancel", up);
  at.score.addEventListener("pointerleave", (event) => event.pointerType === "mouse" && !down.size && act.moment(null));
  at.score.addEventListener("wheel", (event) => {
    const onAxis = event.target.closest(".axis");
    const isSideways = event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY);
    if (!isOn(event) || !(event.ctrlKey || onAxis || isSideways)) return; // else the page scrolls
    event.preventDefault();
    if (isSideways && !event.ctrlKey) act.move((event.deltaX || event.deltaY) / at.axis.clientWidth);
    else act.zoom(2 ** (event.deltaY * WHEEL), timeAt(event.clientX));
  }, { passive: false });
}

function onKey(event) {
  if (!does.isHere() || event.altKey || event.ctrlKey || event.metaKey || event.target.closest("summary, input, select, textarea, dialog, nav, .scroll")) return;
  const { from, to } = does.view() || {};
  if (from === undefined) return;
  const isAxis = event.target === axis;
  const acts = {
    ArrowLeft: () => does.step(event.shiftKey ? -10 : -1), ArrowRight: () => does.step(event.shiftKey ? 10 : 1),
    "+": () => does.zoom(0.5, (from + to) / 2), "=": () => does.zoom(0.5, (from + to) / 2), "-": () => does.zoom(2, (from + to) / 2),
    Home: () => does.step(-Infinity), End: () => does.now(), Escape: () => does.moment(null),
    ...(isAxis ? { PageUp: () => does.move(-0.5), PageDown: () => does.move(0.5) } : {}),
  };
  if (!Object.hasOwn(acts, event.key)) return;
  event.preventDefault();
  acts[event.key]();
}

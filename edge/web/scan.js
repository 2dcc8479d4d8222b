// A card scanner that acts as a keyboard: a burst of keys that no hand types, ended by Enter. It is taken as a code wherever it comes, and
// what it typed on its way is taken back: nothing of a code stays in a field or on a pad.

const GAP_MS = 60; // between two keys; a quick hand needs more than a hundred
const LEAST = 12; // signs of a code; it has 16, and dashes perhaps

let keys = "";
let lastMs = -Infinity;
let field = null;
let before = "";
const pads = new Set(); // {value, set(value)} of what takes keys without being a field

/** What takes keys of its own, such as a pad of numbers, so that a burst can be taken back from it. */
export function minds(pad) {
  pads.add(pad);
  return () => pads.delete(pad);
}
const isField = (element) => element && (element.matches("input:not([type=radio], [type=checkbox]), textarea") || element.isContentEditable);

function clear() {
  keys = "";
  field = null;
}

/** Listen; `take(code)` gets what was scanned. */
export function listen(take) {
  addEventListener("keydown", (event) => {
    if (event.isComposing || event.ctrlKey || event.altKey || event.metaKey) return clear();
    const isQuick = event.timeStamp - lastMs <= GAP_MS;
    if (event.key === "Enter") {
      const code = keys;
      const isScan = isQuick && code.length >= LEAST && !(field && field.id === "code");
      if (isScan) {
        event.preventDefault();
        event.stopPropagation();
        if (field) {
          field.value = before;
          field.dispatchEvent(new Event("input", { bubbles: true }));
        }
        for (const pad of pads) pad.set(pad.before);
        take(code);
      }
      return clear();
    }
    if (event.key.length !== 1) {
      if (event.key !== "Shift" && event.key !== "CapsLock") clear();
      return;
    }
    if (!isQuick || !keys) {
      keys = "";
      field = isField(document.activeElement) ? document.activeElement : null;
      before = field ? field.value : "";
      for (const pad of pads) pad.before = pad.value;
    }
    keys += event.key;
    lastMs = event.timeStamp;
  }, true);
}

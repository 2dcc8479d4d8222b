// What this device remembers for whoever looks at it: units, day or dark, and (until the browser is closed) who answers.

const remembered = new Map(); // where the browser keeps nothing, at least until the page is closed

function kept(store, key, value) {
  const name = `warmwell.${key}`;
  try {
    if (value !== undefined) store().setItem(name, value);
    return store().getItem(name) ?? remembered.get(name) ?? null;
  } catch {
    return remembered.get(name) ?? null;
  } finally {
    if (value !== undefined) remembered.set(name, value);
  }
}
/** A choice of this device. */
export const chosen = (key, otherwise) => kept(() => localStorage, key) ?? otherwise;
export const choose = (key, value) => kept(() => localStorage, key, value);
/** Who signed last here. */
export const signer = (name) => kept(() => sessionStorage, "by", name) ?? "";

const dark = matchMedia("(prefers-color-scheme: dark)");
/** Day or dark, as chosen here or as the device is set. */
export function light() {
  const choice = chosen("scheme", "device");
  document.documentElement.dataset.scheme = choice === "device" ? (dark.matches ? "dark" : "day") : choice;
}
dark.addEventListener("change", light);

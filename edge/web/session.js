// Who is signed in at this page, and how a write goes to the station: with session and proof where people are set up, else with a name
// that was typed. Nothing of a code is kept, and nothing of it is shown.

import { ask, sending } from "./line.js";
import { say } from "./say.js";

const LOOK_EVERY_MS = 20e3;
const PROLONG_EVERY_MS = 20e3;
const SOON_S = 60; // the end is counted down from here on

// `people`: none, set_up, unreadable; "" while it is not known
const now = { people: "", name: "", role: "", csrf: "", idleEndsAt: 0, endsAt: 0, over: () => "" };
const heard = new Set();
let prolongedAt = 0;
let signer = null; // shows the dialog; set by sign.js

/** {people, name, role, over}: `over()` says plainly why nobody is signed in any more. */
export const session = () => now;
export const mustSign = () => now.people !== "none" && now.people !== "";
export const isSigned = () => Boolean(now.csrf);
/** Called whenever who is signed in changes. */
export function onChange(does) {
  heard.add(does);
  return () => heard.delete(does);
}
export const signsBy = (does) => (signer = does);
/** Seconds until the session ends by itself; null where nobody is signed in. */
const endsInS = () => (isSigned() ? Math.max(0, (Math.min(now.idleEndsAt, now.endsAt) - performance.now()) / 1000) : null);
/** The same where it is soon. */
export const endsSoonS = () => (isSigned() && endsInS() <= SOON_S ? Math.ceil(endsInS()) : null);

function take(body, over = null) {
  const before = `${now.people} ${now.name} ${now.csrf}`;
  const was = now.name;
  const at = performance.now();
  Object.assign(now, { people: body.people, name: body.name || "", role: body.role || "", csrf: body.csrf || "" });
  now.idleEndsAt = at + 1000 * (body.idle_ends_in_s ?? 0);
  now.endsAt = at + 1000 * (body.ends_in_s ?? 0);
  if (now.csrf) now.over = () => "";
  else if (was) now.over = over || (() => say("session.over", { name: was }));
  if (before !== `${now.people} ${now.name} ${now.csrf}`) for (const does of heard) does();
}

/** Ask the station who is signed in. */
export async function look() {
  const { ok, body } = await ask("/api/1/session");
  if (ok) take(body);
  return ok;
}

/** Sign in by a code: {ok, trouble, waitS}. */
export async function signIn(code) {
  const { ok, body, status, trouble, waitS } = await ask("/api/1/session", sending({ code }));
  if (ok) take(body);
  prolongedAt = performance.now();
  const ofCode = { 401: say("sign.nobodys"), 422: say("sign.no_code") }[status];
  return { ok, waitS, trouble: ok ? "" : ofCode || trouble || say("session.no_answer") };
}

export async function signOut() {
  const { name } = now;
  const { ok, body } = await ask("/api/1/session", { method: "DELETE", headers: proof() });
  if (ok) take(body, () => say("session.left", { name }));
  else await look();
}
const proof = () => (now.csrf ? { "x-csrf-proof": now.csrf } : {});

async function prolong() {
  prolongedAt = performance.now();
  const { ok, body, status } = await ask("/api/1/session", { method: "PUT", headers: proof() });
  if (ok) take(body);
  else if (status === 401) await look();
}

/**
 * Send something that changes what the station has. Where it takes a sign-in one is asked for first, and then it goes on. What ask()
 * gives, and `isCancelled`. `isQuiet`: don't ask anybody; `typed`: the name that was typed, where nobody signs in.
 */
export async function write(path, body, { method = "POST", isQuiet = false, typed = "", why = "" } = {}) {
  const send = () => {
    const sent = typed && !mustSign() ? { ...body, by: typed } : body;
    return ask(path, { ...(body ? sending(sent, proof()) : { headers: proof() }), method });
  };
  const cancelled = { ok: false, body: null, status: 401, trouble: say("session.nobody"), isCancelled: true };
  if (!now.people) await look();
  if (mustSign() && !isSigned() && !isQuiet && !(await signer(why))) return cancelled;
  let answer = await send();
  if (answer.status === 403 && isSigned()) {
    const before = now.csrf; // another page of this browser may have signed somebody in
    await look();
    if (isSigned() && before !== now.csrf) answer = await send();
  }
  if (answer.status === 401) {
    await look();
    if (isQuiet) return answer;
    if (!(await signer(why, answer.trouble))) return cancelled;
    answer = await send();
  }
  if (answer.ok && isSigned()) {
    prolongedAt = performance.now(); // the station has seen who did it
    now.idleEndsAt = Math.max(now.idleEndsAt, performance.now());
    look();
  }
  return answer;
}

/** Somebody touched the page. */
function touched() {
  if (isSigned() && performance.now() - prolongedAt > PROLONG_EVERY_MS) prolong();
}

export function begin() {
  for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, touched, { capture: true, passive: true });
  addEventListener("visibilitychange", () => document.visibilityState === "visible" && look());
  setInterval(look, LOOK_EVERY_MS);
  return look();
}
/** To be called each moment: a session whose time is up is asked for. */
let askedAt = 0;
export function watch() {
  if (isSigned() && endsInS() <= 0 && performance.now() - askedAt > 1500) {
    askedAt = performance.now();
    look();
  }
}

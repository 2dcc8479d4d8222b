// A draft of a record: what is done so far, kept by the station, so that a reload or another device goes on where it was. What is changed
// here is shown at once and sent behind it; where somebody else was quicker, the change is made again on what they left.

import { signer } from "../device.js";
import { ask, asked } from "../line.js";
import { say } from "../say.js";
import { onChange, write } from "../session.js";

const LOOK_EVERY_MS = 2000;
const AGAIN_MS = 3000;

let clock = { ms: 0, at: 0, half: Infinity }; // the station's monotonic clock: `ms` at this page's `at`, give or take `half`
function hear(monoMs, sentAt) {
  const gotAt = performance.now();
  const half = (gotAt - sentAt) / 2;
  const drift = Math.abs(clock.ms + (gotAt - half - clock.at) - monoMs); // this device slept, or the station was started anew
  const aged = clock.half + (gotAt - clock.at) * 2e-4; // two clocks run apart
  if (half <= aged || drift > 1000) clock = { ms: monoMs, at: gotAt - half, half };
}
/** The station's monotonic clock at an instant of this page's [ms], and how far it may be off. */
export const stationMs = (at = performance.now()) => clock.ms + (at - clock.at);
export const clockOffMs = () => clock.half;

export async function allDrafts() {
  const sentAt = performance.now();
  const { ok, body } = await ask(asked("/api/1/drafts"));
  if (ok) hear(body.mono_ms, sentAt);
  return ok ? body : null;
}

export class Draft {
  /** `empty`: its state before anything is done; `bodyOf(state)`: the record so far; `changed()` is called whenever it says something else. */
  constructor(record, basin, empty, bodyOf, changed) {
    Object.assign(this, { record, basin: basin || "", bodyOf, changed, run: "", version: 0, comesTo: null, by: "", trouble: "", isGone: false, goneBy: "", isLoaded: false });
    this.state = structuredClone(empty);
    this.undone = []; // changes that the station hasn't heard
    this.isSending = false;
    this.lookedAt = 0;
    this.triedAt = 0;
    this.forget = onChange(() => this.send());
  }
  get path() {
    return `/api/1/drafts/${this.record}${this.basin ? `?basin=${encodeURIComponent(this.basin)}` : ""}`;
  }
  get isWaiting() {
    return this.undone.length > 0 || this.isSending;
  }

  /** This one, among all that the station has. */
  own({ drafts }) {
    return drafts.find((one) => one.record === this.record && (one.basin || "") === this.basin);
  }
  take(draft) {
    Object.assign(this, { version: draft.version, comesTo: draft.comes_to, by: draft.by || "" });
    this.state = draft.state;
    for (const change of this.undone) change(this.state);
  }

  /** As it is at the station now. */
  async look() {
    this.lookedAt = performance.now();
    const found = await allDrafts();
    if (!found || this.isWaiting) return;
    const draft = this.own(found);
    const isAnew = this.run && found.run !== this.run; // the station was started anew: what stood in its memory is sent again
    this.run = found.run;
    if (draft && draft.version !== this.version) {
      this.take(draft);
      this.changed();
    } else if (!draft && this.version > 0 && isAnew) {
      this.version = 0;
      this.change(() => {});
    } else if (!draft && this.version > 0) {
      this.isGone = true;
      const one = (found.discarded || []).find((other) => other.record === this.record && (other.basin || "") === this.basin);
      this.goneBy = (one && one.by) || "";
      this.changed();
    }
    this.isLoaded = true;
  }

  /** Make a change: `does(state)`. */
  change(does) {
    does(this.state);
    this.undone.push(does);
    this.comesTo = null;
    this.changed();
    return this.send();
  }

  async send() {
    if (this.isSending || !this.undone.length) return;
    this.isSending = true;
    this.triedAt = performance.now();
    const sent = this.undone.length;
    const sentAt = performance.now();
    const { ok, body, status, trouble } = await write(asked(this.path), { version: this.version, body: this.bodyOf(this.state), state: this.state }, { method: "PUT", isQuiet: true, typed: signer() });
    this.isSending = false;
    if (ok) {
      hear(body.mono_ms, sentAt);
      this.undone.splice(0, sent);
      this.trouble = "";
      this.take(body.draft);
    } else if (status === 409 || status === 404) {
      await this.again();
    } else this.trouble = trouble || say("draft.no_answer");
    this.changed();
    if (ok && this.undone.length) await this.send();
  }
  /** Somebody else was quicker: their draft, with the changes that it lacks. */
  async again() {
    const found = await allDrafts();
    const draft = found && this.own(found);
    if (draft) this.take(draft);
    else this.version = 0;
  }

  /** `by`: who discards it, where nobody signs in. */
  async discard(by) {
    this.undone = [];
    const { ok, trouble } = await write(by ? `${this.path}${this.basin ? "&" : "?"}by=${encodeURIComponent(by)}` : this.path, null, { method: "DELETE", why: say("draft.discarding") });
    this.trouble = ok ? "" : trouble || say("draft.still");
    return ok;
  }
  /** To be called each moment. */
  watch() {
    const now = performance.now();
    if (this.undone.length && !this.isSending && now - this.triedAt > AGAIN_MS) this.send();
    else if (!this.isWaiting && now - this.lookedAt > LOOK_EVERY_MS) this.look();
  }
  end() {
    this.forget();
  }
}

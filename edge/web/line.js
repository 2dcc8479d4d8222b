// The line to the station: the live stream, what was heard last, and how long ago. Nothing old may look live.

import { has, language, say } from "./say.js";
import { because, itIs, labelOf, ofStation } from "./told.js";
import { learn, unitsAsked } from "./units.js";

const LOST_AFTER_S = 4; // a picture comes each second; the page looks twice a second: within five it is seen
const REOPEN_AFTER_S = 12; // a connection over which nothing comes is opened anew
const RETRY_AFTER_S = 3;

// Two clocks: one stops while a tablet sleeps, the other can be set. The longer time counts.
const instant = (ms = 0) => ({ wall: Date.now() + ms, mono: performance.now() + ms });
function secondsSince(then) {
  if (!then) return Infinity;
  const now = instant();
  return Math.max(now.wall - then.wall, now.mono - then.mono, 0) / 1000;
}

/** An address of the API, asked in the language and the units of this screen, and without what only a command line needs. */
export function asked(path) {
  const units = unitsAsked();
  return `${path}${path.includes("?") ? "&" : "?"}reader=page&lang=${language()}${units ? `&units=${units}` : ""}`;
}

export class Line {
  /** `on`: {news(), entry(entry), reset(), refused()}, called as things come; `refused`: nobody may look without signing in. */
  constructor(on) {
    this.on = on;
    this.station = null; // /api/1/station
    this.news = null; // the newest picture
    this.heardAt = null;
    this.lastSeq = null;
    this.source = null;
    this.openedAt = null;
  }

  /** For how many seconds nothing has been heard. */
  silence() {
    return secondsSince(this.heardAt);
  }
  get isLost() {
    return this.silence() > LOST_AFTER_S;
  }
  /** This device's time when it was last heard [ms]; null: never. */
  get heardWall() {
    return this.heardAt && this.heardAt.wall;
  }

  /** First which station this is, for its zone and the pace of its clock: no time is shown in a guessed zone. */
  async begin() {
    this.openedAt = instant();
    const path = asked("/api/1/station");
    try {
      const answer = await fetch(path, { signal: AbortSignal.timeout(5000) });
      if (answer.status === 401) this.on.refused();
      if (!answer.ok) return;
      const about = await answer.json();
      if (path !== asked("/api/1/station")) return; // other words were chosen meanwhile, and asked for
      this.station = about;
    } catch {
      return; // look() tries again
    }
    ofStation(this.station);
    this.open();
  }

  /** All anew, in another language or other units. */
  async anew() {
    this.close();
    this.lastSeq = null;
    this.on.reset();
    await this.begin();
  }

  open() {
    this.close();
    this.openedAt = instant();
    const source = new EventSource(asked(this.lastSeq === null ? "/api/1/stream" : `/api/1/stream?after=${this.lastSeq}`));
    this.source = source;
    const hear = (name, use) => source.addEventListener(name, (event) => {
      try {
        use(JSON.parse(event.data));
      } catch (fault) {
        console.warn("an event could not be read", fault.message);
      }
    });
    hear("snapshot", (news) => {
      this.news = news;
      this.heardAt = instant(-1000 * ((news.verdict && news.verdict.quiet_s) || 0)); // for so long its judge has said nothing
      if (this.lastSeq === null) this.lastSeq = news.seq || 0;
      itIs(news.at, news.points);
      learn(news.points);
      this.on.news();
    });
    hear("entry", (entry) => {
      this.lastSeq = Math.max(this.lastSeq ?? 0, entry.seq);
      this.on.entry(entry);
    });
    hear("reset", () => {
      this.lastSeq = null;
      this.on.reset();
    });
  }

  close() {
    if (this.source) this.source.close();
  }

  /** To be called each moment: opens anew what has gone or says nothing. */
  look() {
    const isClosed = !this.source || this.source.readyState === EventSource.CLOSED;
    const isMute = Math.min(this.silence(), secondsSince(this.openedAt)) > REOPEN_AFTER_S;
    if ((isClosed && secondsSince(this.openedAt) > RETRY_AFTER_S) || isMute) this.begin();
  }
}

/** What ask() takes to send something. */
export const sending = (body, headers = {}) => ({ method: "POST", headers: { "Content-Type": "application/json", ...headers }, body: JSON.stringify(body) });
/** Ask the API. {ok, body, status, trouble, waitS}: `trouble` is one sentence where it can't be used; `waitS`: how long to wait first. */
export async function ask(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { signal: AbortSignal.timeout(15000), ...options });
  } catch {
    return { ok: false, body: null, status: 0, trouble: null, waitS: 0 };
  }
  const body = await answer.json().catch(() => null);
  const waitS = Number(answer.headers.get("retry-after")) || 0;
  return { ok: answer.ok, body, status: answer.status, waitS, trouble: answer.ok ? null : refusal(body, answer.status, waitS, !options.method) };
}
/** What a refusal says to people: the station's own words for who has a form, with the field; else by its status, as its sentence is for programs. */
export function refusal(body, status, waitS, isRead) {
  if (body && body.said) return because(labelOf(body.key.split(".")[0]), body.said);
  if (isRead && status >= 500) return say("refused.read");
  const id = `refused.${has(`refused.${status}`) ? status : status >= 500 ? 503 : 422}`;
  return say(waitS ? "refused.429" : id, { n: waitS });
}

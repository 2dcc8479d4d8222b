// The journal as far as this page has read it: newest entries as they come, older ones page by page when somebody asks.

import { ask, asked } from "./line.js";
import { say } from "./say.js";

const PAGE = 200;
const MOST = 4000; // entries kept here; more would only cost a tablet its memory

export const timeOf = (entry) => Date.parse(entry.dated_at || entry.at);

/** The first of the seqs before an entry that the journal lost, as the entry itself says; a restored one skips millions. */
const gone = (entry) => (entry?.kind === "repair" && entry.body.what === "lost" && entry.body.to === entry.seq - 1 ? entry.body.from : null);

export class Book {
  constructor() {
    this.clear();
  }
  /** Another journal, or the same anew. */
  clear() {
    this.entries = new Map(); // seq -> entry
    this.oldest = null; // all entries from this seq on are here
    this.newest = 0;
    this.trouble = "";
    this.asking = null;
    this.version = (this.version || 0) + 1;
  }
  /** The journal ends at `seq` now: what is read back begins there. */
  begin(seq) {
    if (this.oldest === null && seq !== null) {
      this.oldest = seq + 1;
      this.newest = seq;
    }
  }
  add(entries) {
    for (const entry of entries) {
      this.entries.set(entry.seq, entry);
      this.newest = Math.max(this.newest, entry.seq);
    }
    if (this.oldest === null && entries.length) this.oldest = entries[0].seq;
    while (this.entries.size > MOST) {
      this.entries.delete(this.oldest);
      this.oldest += 1;
    }
    this.version += 1;
  }
  /** Newest first. */
  all() {
    return [...this.entries.values()].sort((a, b) => b.seq - a.seq);
  }
  /** The seqs of records that a correction took back, unless it was taken back itself. */
  takenBack() {
    const taken = new Set();
    for (const { seq, kind, body } of this.all()) {
      if (kind === "record" && body.record === "correction" && body.counts !== false && !taken.has(seq)) taken.add(body.of);
    }
    return taken;
  }
  get isWhole() {
    return this.oldest !== null && this.oldest <= 1;
  }
  get isFull() {
    return this.entries.size >= MOST;
  }

  /** One page further back. True where there was one. */
  async earlier() {
    if (this.oldest === null || this.isWhole || this.isFull) return false;
    this.oldest = gone(this.entries.get(this.oldest)) ?? this.oldest;
    if (this.isWhole) return false;
    if (!this.asking) this.asking = this.read(Math.max(1, this.oldest - PAGE), this.oldest - 1).finally(() => (this.asking = null));
    return this.asking;
  }
  /** What is here, read anew: the clock was set, and dates are others. */
  async again() {
    const from = this.oldest;
    const to = this.newest;
    if (from === null || from > to) return;
    await this.read(from, to);
  }

  async read(first, last) {
    let after = first - 1;
    const { entries } = this;
    const found = [];
    while (after < last) {
      const { ok, body, trouble } = await ask(asked(`/api/1/journal?after=${after}&limit=${Math.min(PAGE, last - after)}`));
      if (entries !== this.entries) return false; // it was cleared meanwhile
      if (!ok) {
        this.trouble = trouble || say("record.unreadable");
        this.version += 1;
        return false;
      }
      found.push(...body.entries);
      if (!body.entries.length) break;
      after = body.next_after;
    }
    this.trouble = "";
    const isOlder = first < this.oldest;
    this.oldest = Math.min(this.oldest, first);
    this.add(found);
    return isOlder;
  }
}

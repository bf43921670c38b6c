// Frames around the cursor, fetched ahead and kept as bitmaps within a bounded room.
//
// Under key repeat the cursor outruns the network now and then. Nothing waits in
// a queue for that: what is wanted is worked out anew with every step, requests
// that nobody wants any more are given up, and the viewer draws the nearest
// frame that has arrived. Of the frame at the cursor a small picture is asked for,
// too, which is there at once where the program has made it; the sharp one follows.

import { ask } from "./api.js";

const AT_ONCE = 4;
const AHEAD = 8;
const BEHIND = 2;
const MOST_FRAMES = 96;
const FEWEST_FRAMES = 2 + AHEAD + BEHIND; // fewer, and the neighbours would drive each other out
const MOST_BYTES = 256e6; // 30 frames of 1920 x 1080 at four bytes a pixel
const AGAIN_MS = 800;
const LOST = new Set([404, 422]);
const MOST_SMALL = 24;
const SMALL_AT_ONCE = 2;

/** Return a frame of a take as a bitmap. */
export async function fetchFrame(take, frame, signal) {
  const answer = await ask(`/api/takes/${take}/frames/${frame}`, { signal });
  return createImageBitmap(await answer.blob());
}

/** Return a small bitmap of a frame, or null where none is made yet. */
export async function fetchSmall(take, frame) {
  const answer = await ask(`/api/takes/${take}/frames/${frame}/preview`);
  return answer.status === 204 ? null : createImageBitmap(await answer.blob());
}

export class FrameRing {
  /**
   * load(frame, signal) gives a bitmap, small(frame) a small one or null; arrived(frame) is told
   * of each that load gave, peeked(frame) of each small one; failed(error) of trouble.
   */
  constructor({ load, small, frames, arrived, peeked, failed = () => {} }) {
    this.load = load;
    this.small = small;
    this.peeked = peeked;
    this.smalls = new Map();
    this.peeking = new Set();
    this.frames = frames;
    this.arrived = arrived;
    this.failed = failed;
    this.held = new Map();
    this.coming = new Map();
    this.wanted = [];
    this.also = [];
    this.cursor = 0;
    this.most = MOST_FRAMES;
  }

  /** Move the cursor; direction is the sign of the travel, 0 where it jumped. */
  want(cursor, direction) {
    this.cursor = cursor;
    const toward = direction < 0 ? -1 : 1;
    const wanted = [cursor];
    for (let k = 1; k <= AHEAD; k += 1) wanted.push(cursor + toward * k);
    for (let k = 1; k <= BEHIND; k += 1) wanted.push(cursor - toward * k);
    this.wanted = wanted.filter((frame) => frame >= 0 && frame < this.frames);
    this.#work();
    this.#peek();
  }

  /** Frames to fetch once those around the cursor are there: the strips, the next press. */
  wantAlso(frames) {
    this.also = frames.filter((frame) => frame >= 0 && frame < this.frames);
    this.#work();
  }

  /** Return the bitmap of a frame, the small one where the sharp one is not there; or null. */
  get(frame) {
    return this.held.get(frame) ?? this.smalls.get(frame) ?? null;
  }

  sharp(frame) {
    return this.held.has(frame);
  }

  /** Return the frame nearest to another that has arrived, or null where none is that near. */
  nearest(frame, within) {
    if (this.get(frame)) return frame;
    let best = null;
    for (const each of [...this.held.keys(), ...this.smalls.keys()]) {
      const far = Math.abs(each - frame);
      if (far <= within && (best === null || far < Math.abs(best - frame))) best = each;
    }
    return best;
  }

  #work() {
    // nothing that can wait is decoded before the frame a person waits for
    const also = this.held.has(this.cursor) ? this.also : [];
    const all = new Set([...this.wanted, ...also]);
    for (const [frame, stop] of this.coming) {
      if (!all.has(frame)) stop.abort();
    }
    for (const frame of all) {
      if (this.coming.size >= AT_ONCE) break;
      if (!this.held.has(frame) && !this.coming.has(frame)) this.#fetch(frame);
    }
  }

  async #fetch(frame) {
    const stop = new AbortController();
    this.coming.set(frame, stop);
    try {
      const bitmap = await this.load(frame, stop.signal);
      this.#keep(frame, bitmap);
      this.coming.delete(frame);
      this.arrived(frame);
    } catch (error) {
      if (error.name !== "AbortError") {
        this.failed(error);
        if (LOST.has(error.status)) {
          this.coming.delete(frame);
          return; // it will not come by asking again
        }
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
      }
      this.coming.delete(frame);
    }
    this.#work();
  }

  async #peek() {
    const frame = this.cursor;
    if (this.get(frame) || this.peeking.has(frame) || this.peeking.size >= SMALL_AT_ONCE) return;
    this.peeking.add(frame);
    let bitmap = null;
    try {
      bitmap = await this.small(frame);
    } catch {
      // the frame itself is asked for, too, and its trouble is told
    }
    this.peeking.delete(frame);
    if (bitmap) {
      this.smalls.set(frame, bitmap);
      for (const [oldest, old] of this.smalls) {
        if (this.smalls.size <= MOST_SMALL) break;
        old.close();
        this.smalls.delete(oldest);
      }
      this.peeked(frame);
    }
    if (frame !== this.cursor) this.#peek(); // the cursor went on meanwhile
  }

  /** Keep a bitmap and let the farthest from the cursor go where the room is full. */
  #keep(frame, bitmap) {
    this.held.get(frame)?.close();
    this.held.set(frame, bitmap);
    this.smalls.get(frame)?.close();
    this.smalls.delete(frame);
    this.also = this.also.filter((each) => each !== frame); // once is enough: it may go again
    const fit = Math.floor(MOST_BYTES / (4 * bitmap.width * bitmap.height));
    this.most = Math.max(FEWEST_FRAMES, Math.min(MOST_FRAMES, fit));
    while (this.held.size > this.most) {
      let farthest = null;
      for (const each of this.held.keys()) {
        if (farthest === null || this.#far(each) > this.#far(farthest)) farthest = each;
      }
      this.held.get(farthest).close();
      this.held.delete(farthest);
    }
  }

  #far(frame) {
    return Math.abs(frame - this.cursor);
  }
}

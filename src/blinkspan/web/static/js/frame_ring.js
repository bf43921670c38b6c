// Frames around the cursor, fetched ahead and kept as bitmaps within a bounded room.
//
// Under key repeat the cursor outruns the network now and then. Nothing waits in
// a queue for that: what is wanted is worked out anew with every step, requests
// that nobody wants any more are given up, and the viewer draws the nearest
// frame that has arrived.

const AT_ONCE = 4;
const AHEAD = 8;
const BEHIND = 2;
const MOST_FRAMES = 96;
const FEWEST_FRAMES = 2 + AHEAD + BEHIND; // fewer, and the neighbours would drive each other out
const MOST_BYTES = 400e6; // 48 frames of 1920 x 1080 at four bytes a pixel
const AGAIN_MS = 800;

/** Return a frame of a take as a bitmap. */
export async function fetchFrame(take, frame, signal) {
  const answer = await fetch(`/api/takes/${take}/frames/${frame}`, { signal });
  if (!answer.ok) throw new Error(`frame ${frame} could not be had (${answer.status})`);
  return createImageBitmap(await answer.blob());
}

export class FrameRing {
  /**
   * load(frame, signal) gives a bitmap; arrived(frame) is told of each; failed(error) of trouble.
   */
  constructor({ load, frames, arrived, failed = () => {} }) {
    this.load = load;
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
  }

  /** Frames to fetch once those around the cursor are there: the strips, the next press. */
  wantAlso(frames) {
    this.also = frames.filter((frame) => frame >= 0 && frame < this.frames);
    this.#work();
  }

  get(frame) {
    return this.held.get(frame) ?? null;
  }

  /** Return the frame nearest to another that has arrived, or null where none is that near. */
  nearest(frame, within) {
    if (this.held.has(frame)) return frame;
    let best = null;
    for (const each of this.held.keys()) {
      const far = Math.abs(each - frame);
      if (far <= within && (best === null || far < Math.abs(best - frame))) best = each;
    }
    return best;
  }

  #work() {
    const all = new Set([...this.wanted, ...this.also]);
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
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
      }
      this.coming.delete(frame);
    }
    this.#work();
  }

  /** Keep a bitmap and let the farthest from the cursor go where the room is full. */
  #keep(frame, bitmap) {
    this.held.get(frame)?.close();
    this.held.set(frame, bitmap);
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

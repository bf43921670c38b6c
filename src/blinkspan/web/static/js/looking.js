// The cursor in the film: which frame is wanted, which is shown, and against what.
import { FrameRing, fetchFrame, fetchSmall } from "./frame_ring.js";
import { Viewer } from "./viewer.js";

// A frame farther from the cursor than this is not shown in its place.
const NEAR_FRAMES = 40;
const VIEWS = ["frame", "before", "after", "difference"];

export class Looking {
  /**
   * moved(cursor) is told at once of every step, drawn(frame) of each frame that is shown,
   * arrived(frame, bitmap) of each that came, failed(error) of one that could not be had.
   */
  constructor(place, { take, frames, width, height, crops, tell, load = fetchFrame, small = fetchSmall }) {
    this.frames = frames;
    this.tell = tell;
    this.load = (frame, signal) => load(take, frame, signal);
    this.viewer = new Viewer(place, { width, height, crops });
    this.ring = new FrameRing({
      load: this.load,
      small: (frame) => small(take, frame),
      frames,
      peeked: () => this.#draw(),
      arrived: (frame) => {
        this.tell.arrived(frame, this.ring.get(frame));
        this.#draw();
      },
      failed: (error) => this.tell.failed(error),
    });
    this.cursor = 0;
    this.shown = null;
    this.sharp = false;
    this.view = "frame";
    this.fixed = { before: null, after: null };
    this.apart = new Map();
  }

  /** Move by some frames; the same key held down moves on though frames are on their way. */
  step(by) {
    this.#to(this.cursor + by, Math.sign(by));
  }

  go(frame) {
    this.#to(frame, 0);
  }

  /** Say which frames "before", "after" and the difference speak of. */
  against(before, after) {
    this.fixed = { before: this.#inside(before), after: this.#inside(after) };
    for (const [frame, bitmap] of this.apart) {
      if (frame !== this.fixed.before && frame !== this.fixed.after) {
        bitmap?.close();
        this.apart.delete(frame);
      }
    }
    if (this.view !== "frame") this.#draw();
  }

  look(view) {
    this.view = VIEWS.includes(view) ? view : VIEWS[(VIEWS.indexOf(this.view) + 1) % VIEWS.length];
    this.#draw();
    return this.view;
  }

  #to(frame, direction) {
    this.cursor = this.#inside(frame);
    this.ring.want(this.cursor, direction);
    this.#draw();
    this.tell.moved(this.cursor);
  }

  #inside(frame) {
    return Math.min(this.frames - 1, Math.max(0, frame));
  }

  #draw() {
    const nearest = this.ring.nearest(this.cursor, NEAR_FRAMES);
    if (this.view === "before" || this.view === "after") {
      const fixed = this.#apart(this.fixed[this.view]);
      if (fixed) this.viewer.show(fixed);
    } else if (nearest !== null) {
      const other = this.view === "difference" ? this.#apart(this.fixed.before) : null;
      this.viewer.show(this.ring.get(nearest), other);
    }
    if (nearest === null) return;
    this.shown = nearest;
    this.sharp = this.ring.sharp(nearest);
    this.tell.drawn(nearest);
  }

  /** Return a bitmap that is kept apart from the ring, or null while it is on its way. */
  #apart(frame) {
    if (!this.apart.has(frame)) {
      this.apart.set(frame, null);
      this.load(frame)
        .then((bitmap) => {
          if (!this.apart.has(frame)) return bitmap.close();
          this.apart.set(frame, bitmap);
          return this.#draw();
        })
        .catch((error) => {
          this.apart.delete(frame);
          this.tell.failed(error);
        });
    }
    return this.apart.get(frame);
  }
}

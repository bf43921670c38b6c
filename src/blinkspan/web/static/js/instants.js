// Between frames and instants: which frame shows an onset first, and what marking a frame says.

export class Instants {
  /** lamp and response are traces as getTrace gives them; a sample a frame. */
  constructor(lamp, response, rate_hz) {
    this.traces = { lamp, response };
    this.frame_s = 1 / rate_hz;
    this.exposure_s = lamp.exposure_s;
  }

  /** Return the first frame whose exposure ends after an instant: the first that can show it. */
  firstShowing(kind, at_s) {
    const start = this.traces[kind].start_s;
    let low = 0;
    let high = start.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (start[middle] + this.exposure_s > at_s) high = middle;
      else low = middle + 1;
    }
    return low;
  }

  /**
   * Return the instant of an onset that a frame is the first to show: the middle between the
   * end of the exposure before and the end of its own.
   */
  markedBy(kind, frame) {
    return this.traces[kind].start_s[frame] + this.exposure_s - this.frame_s / 2;
  }

  /** Return how long after an instant a frame's exposure began, at the row of one of the two. */
  msAfter(frame, at_s, kind = "response") {
    return 1e3 * (this.traces[kind].start_s[frame] - at_s);
  }
}

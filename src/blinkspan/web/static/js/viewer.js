// Paints a frame: zoomed, panned, against another frame, and its two parts magnified beside it.

const MOST_ZOOM = 16;
const BRIGHTER = 2; // how often a difference is doubled, since most are faint

export class Viewer {
  /** place holds the canvas; crops are [canvas, box] pairs that show a part of the same frame. */
  constructor(place, { width, height, crops }) {
    this.place = place;
    this.canvas = place.querySelector("canvas");
    this.context = this.canvas.getContext("2d", { alpha: false });
    this.width = width;
    this.height = height;
    this.crops = crops;
    this.scratch = new OffscreenCanvas(width, height);
    this.zoom = 1;
    this.middle = [width / 2, height / 2];
    this.bitmap = null;
    this.against = null;
    this.due = 0;
    new ResizeObserver(() => this.#resize()).observe(place);
    this.#resize();
    this.#pointer();
  }

  /** Show a bitmap, or how it differs from another. */
  show(bitmap, against = null) {
    this.bitmap = bitmap;
    this.against = against;
    this.paintSoon();
  }

  paintSoon() {
    if (!this.due) this.due = requestAnimationFrame(() => this.#paint());
  }

  zoomBy(factor) {
    this.#zoomTo(this.zoom * factor, this.middle);
  }

  /** Show a box of the picture as large as it fits, or the whole where box is null. */
  fit(box) {
    if (box === null) {
      this.#zoomTo(1, [this.width / 2, this.height / 2]);
      return;
    }
    const [x, y, width, height] = box;
    const zoom = 0.8 / Math.max((width * this.base) / this.canvas.width, (height * this.base) / this.canvas.height);
    this.#zoomTo(Math.min(zoom, MOST_ZOOM), [x + width / 2, y + height / 2]);
  }

  /** Move the picture by shares of what is seen. */
  pan(across, down) {
    const scale = this.base * this.zoom;
    this.#zoomTo(this.zoom, [
      this.middle[0] + (across * this.canvas.width) / scale,
      this.middle[1] + (down * this.canvas.height) / scale,
    ]);
  }

  #zoomTo(zoom, middle) {
    this.zoom = Math.min(MOST_ZOOM, Math.max(1, zoom));
    const scale = this.base * this.zoom;
    this.middle = [
      within(middle[0], this.canvas.width / scale / 2, this.width),
      within(middle[1], this.canvas.height / scale / 2, this.height),
    ];
    this.place.classList.toggle("zoomed", this.zoom > 1);
    this.paintSoon();
  }

  #resize() {
    const dense = window.devicePixelRatio || 1;
    this.canvas.width = Math.max(1, Math.round(this.place.clientWidth * dense));
    this.canvas.height = Math.max(1, Math.round(this.place.clientHeight * dense));
    this.base = Math.min(this.canvas.width / this.width, this.canvas.height / this.height);
    for (const [canvas] of this.crops) {
      canvas.width = Math.max(1, Math.round(canvas.clientWidth * dense));
      canvas.height = Math.max(1, Math.round(canvas.clientHeight * dense));
    }
    this.#zoomTo(this.zoom, this.middle);
  }

  #paint() {
    this.due = 0;
    if (!this.bitmap?.width) return; // none yet, or let go of meanwhile
    const shown = this.against ? this.#difference() : this.bitmap;
    const { context, canvas } = this;
    const scale = this.base * this.zoom;
    context.imageSmoothingEnabled = scale < 2;
    context.fillRect(0, 0, canvas.width, canvas.height);
    context.drawImage(
      shown,
      canvas.width / 2 - this.middle[0] * scale,
      canvas.height / 2 - this.middle[1] * scale,
      this.width * scale,
      this.height * scale,
    );
    for (const [crop, box] of this.crops) drawPart(crop, shown, box, shown.width / this.width);
  }

  #difference() {
    const context = this.scratch.getContext("2d");
    context.globalCompositeOperation = "copy";
    context.drawImage(this.bitmap, 0, 0, this.width, this.height);
    context.globalCompositeOperation = "difference";
    context.drawImage(this.against, 0, 0, this.width, this.height);
    context.globalCompositeOperation = "lighter";
    for (let k = 0; k < BRIGHTER; k += 1) context.drawImage(this.scratch, 0, 0);
    return this.scratch;
  }

  #pointer() {
    let from = null;
    this.place.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && this.zoom === 1 && event.deltaY > 0) return;
      event.preventDefault();
      this.zoomBy(event.deltaY < 0 ? 1.25 : 0.8);
    });
    this.place.addEventListener("pointerdown", (event) => {
      from = [event.clientX, event.clientY];
      this.place.setPointerCapture(event.pointerId);
    });
    this.place.addEventListener("pointermove", (event) => {
      if (!from) return;
      this.pan(
        (from[0] - event.clientX) / this.place.clientWidth,
        (from[1] - event.clientY) / this.place.clientHeight,
      );
      from = [event.clientX, event.clientY];
    });
    for (const name of ["pointerup", "pointercancel"]) {
      this.place.addEventListener(name, () => {
        from = null;
      });
    }
  }
}

/**
 * Draw a box of a picture over a whole canvas, with a little of what lies around it; the picture
 * may be smaller than the one that the box is said in.
 */
export function drawPart(canvas, picture, [x, y, width, height], smaller = 1, around = 0.15) {
  const context = canvas.getContext("2d", { alpha: false });
  const scale = Math.min(canvas.width / (width * (1 + 2 * around)), canvas.height / (height * (1 + 2 * around)));
  const seen = [canvas.width / scale, canvas.height / scale];
  context.fillStyle = "#000000";
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.imageSmoothingEnabled = scale < 2;
  context.drawImage(
    picture,
    smaller * (x + width / 2 - seen[0] / 2),
    smaller * (y + height / 2 - seen[1] / 2),
    smaller * seen[0],
    smaller * seen[1],
    0,
    0,
    canvas.width,
    canvas.height,
  );
}

/** Keep the middle of what is seen where the picture fills the window; centred where it cannot. */
function within(middle, half, size) {
  return 2 * half >= size ? size / 2 : Math.min(size - half, Math.max(half, middle));
}

// Boxes and corners over a picture, moved by dragging or by keys, in whole pixels of the take.

const NS = "http://www.w3.org/2000/svg";
const HANDLE_PX = 7; // on the screen, whatever the picture's size
const BIG_STEP = 10;
const SMALLEST_PX = 2;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const CORNERS = ["top left", "top right", "bottom right", "bottom left"];
const NAMES = { lamp: "lamp", panel: "panel", watch: "watched part" };

export class RegionEditor {
  constructor(place, { changed, speak }) {
    this.svg = place.querySelector("svg");
    this.group = place.querySelector("#shapes");
    this.width = Number(place.dataset.width);
    this.height = Number(place.dataset.height);
    this.changed = changed;
    this.speak = speak;
    this.moved = false;
    this.corners = {};
    this.parts = {};
    new ResizeObserver(() => this.size()).observe(this.svg);
  }

  /** Show regions: boxes as x, y, width, height, the panel as four corners or null. */
  show(regions) {
    const panel = regions.panel ?? cornersOf([0, 0, this.width, this.height]);
    this.knowsPanel = regions.panel !== null;
    this.corners = {
      panel: panel.map((corner) => [...corner]),
      watch: cornersOf(regions.watch),
      lamp: cornersOf(regions.lamp),
    };
    this.group.replaceChildren();
    for (const name of ["lamp", "panel", "watch"]) this.build(name);
    this.size();
    this.draw();
    this.changed(this.regions());
  }

  regions() {
    return {
      lamp: boxOf(this.corners.lamp),
      panel: this.knowsPanel ? this.corners.panel : null,
      watch: boxOf(this.corners.watch),
    };
  }

  build(name) {
    const under = this.make("polygon", `under ${name}`);
    const shape = this.make("polygon", `shape ${name}`);
    const handles = CORNERS.map((corner, at) => {
      const handle = this.make("circle", `handle ${name}`);
      handle.setAttribute("tabindex", "0");
      handle.setAttribute("role", "button");
      handle.addEventListener("keydown", (event) => this.key(event, name, at));
      handle.addEventListener("focus", () => this.say(name, at));
      this.dragged(handle, name, at);
      return handle;
    });
    if (name !== "panel") {
      shape.setAttribute("tabindex", "0");
      shape.setAttribute("role", "button");
      shape.addEventListener("keydown", (event) => this.key(event, name, null));
      shape.addEventListener("focus", () => this.say(name, null));
      this.dragged(shape, name, null);
    }
    this.parts[name] = { under, shape, handles };
  }

  make(kind, className) {
    const element = document.createElementNS(NS, kind);
    element.setAttribute("class", className);
    this.group.append(element);
    return element;
  }

  key(event, name, at) {
    const step = STEPS[event.key];
    if (!step || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const far = event.shiftKey ? BIG_STEP : 1;
    const [dx, dy] = [far * step[0], far * step[1]];
    if (at === null) {
      this.shift(name, this.corners[name], dx, dy);
    } else {
      const [x, y] = this.corners[name][at];
      this.move(name, at, x + dx, y + dy);
    }
    this.say(name, at);
  }

  dragged(element, name, at) {
    let from = null;
    element.addEventListener("pointerdown", (event) => {
      element.setPointerCapture(event.pointerId);
      from = { at: this.where(event), corners: this.corners[name].map((corner) => [...corner]) };
      element.focus();
      event.preventDefault();
    });
    element.addEventListener("pointermove", (event) => {
      if (!from) return;
      const [x, y] = this.where(event);
      const [dx, dy] = [x - from.at[0], y - from.at[1]];
      if (at === null) this.shift(name, from.corners, dx, dy);
      else this.move(name, at, from.corners[at][0] + dx, from.corners[at][1] + dy);
    });
    for (const over of ["pointerup", "pointercancel"]) {
      element.addEventListener(over, () => {
        if (from) this.say(name, at);
        from = null;
      });
    }
  }

  /** Return where a pointer is, in pixels of the take. */
  where(event) {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [place.x, place.y];
  }

  move(name, at, x, y) {
    const place = [within(Math.round(x), this.width), within(Math.round(y), this.height)];
    const corners = this.corners[name];
    if (name === "panel") {
      this.knowsPanel = true;
      corners[at] = place;
    } else {
      const fixed = corners[(at + 2) % 4];
      const [sideways, upright] = [at === 0 || at === 3 ? -1 : 1, at < 2 ? -1 : 1];
      if (sideways * (place[0] - fixed[0]) < SMALLEST_PX) place[0] = fixed[0] + sideways * SMALLEST_PX;
      if (upright * (place[1] - fixed[1]) < SMALLEST_PX) place[1] = fixed[1] + upright * SMALLEST_PX;
      const xs = [place[0], fixed[0]].sort((a, b) => a - b);
      const ys = [place[1], fixed[1]].sort((a, b) => a - b);
      this.corners[name] = cornersOf([xs[0], ys[0], xs[1] - xs[0], ys[1] - ys[0]]);
    }
    this.after();
  }

  shift(name, corners, dx, dy) {
    const [x, y, width, height] = boxOf(corners);
    const left = Math.min(Math.max(Math.round(x + dx), 0), this.width - width);
    const top = Math.min(Math.max(Math.round(y + dy), 0), this.height - height);
    this.corners[name] = cornersOf([left, top, width, height]);
    this.after();
  }

  after() {
    this.moved = true;
    this.draw();
    this.changed(this.regions());
  }

  draw() {
    for (const [name, { under, shape, handles }] of Object.entries(this.parts)) {
      const corners = this.corners[name];
      const points = corners.map((corner) => corner.join(",")).join(" ");
      under.setAttribute("points", points);
      shape.setAttribute("points", points);
      if (name !== "panel") shape.setAttribute("aria-label", this.told(name, null));
      handles.forEach((handle, at) => {
        handle.setAttribute("cx", corners[at][0]);
        handle.setAttribute("cy", corners[at][1]);
        handle.setAttribute("aria-label", this.told(name, at));
      });
    }
  }

  size() {
    const radius = HANDLE_PX / Math.max(this.svg.getScreenCTM()?.a ?? 1, 1e-3);
    for (const { handles } of Object.values(this.parts)) {
      for (const handle of handles) handle.setAttribute("r", radius);
    }
  }

  told(name, at) {
    const [x, y] = this.corners[name][at ?? 0];
    if (at === null) return `${NAMES[name]}, whole box, from ${Math.round(x)}, ${Math.round(y)}`;
    return `${NAMES[name]}, ${CORNERS[at]} corner at ${Math.round(x)}, ${Math.round(y)}`;
  }

  say(name, at) {
    const told = this.told(name, at);
    if (name === "panel") {
      this.speak(told);
      return;
    }
    const [, , width, height] = boxOf(this.corners[name]);
    this.speak(`${told}; ${width} by ${height} pixels`);
  }
}

function within(value, most) {
  return Math.min(Math.max(value, 0), most);
}

function cornersOf([x, y, width, height]) {
  return [
    [x, y],
    [x + width, y],
    [x + width, y + height],
    [x, y + height],
  ];
}

function boxOf(corners) {
  const [left, top] = corners[0];
  const [right, bottom] = corners[2];
  return [left, top, right - left, bottom - top];
}

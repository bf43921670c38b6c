// Draws both traces around a press, a bar for each exposure, with markers to drag or nudge.

const NS = "http://www.w3.org/2000/svg";
const BEFORE_S = 0.06;
const AFTER_S = 0.08;
const WIDEST_S = 4;
const LEFT = 8;
const RIGHT = 8;
const TOP = 20;
const FOOT = 22;
const GAP = 12;
const GRIP = 7;
const KINDS = ["lamp", "response"];
const LANES = { lamp: "lamp", response: "watched part" };
const NAMES = { lamp: "Lamp-on", response: "Response" };

export class Traces {
  /**
   * seek(frame) is told of a click; moved(kind, at_s, done) of a marker under way or let go;
   * chosen(kind) of a marker taken hold of.
   */
  constructor(svg, instants, { seek, moved, chosen }) {
    this.svg = svg;
    this.instants = instants;
    this.tell = { seek, moved, chosen };
    this.wide = 1;
    this.marks = { lamp: null, response: null };
    this.others = [];
    this.frame = 0;
    this.ground = this.#layer();
    this.over = this.#layer();
    this.markers = Object.fromEntries(KINDS.map((kind) => [kind, this.#marker(kind)]));
    new ResizeObserver(() => this.draw()).observe(svg);
    this.#pointer();
  }

  /** Show a press: instants with their u_ms or null, and other candidates' instants. */
  show(lamp, response, others) {
    this.marks = { lamp, response };
    this.others = others;
    this.draw();
  }

  /** Show which frame the viewer is at. */
  at(frame) {
    this.frame = frame;
    this.#now();
  }

  choose(kind) {
    for (const each of KINDS) this.markers[each].group.classList.toggle("chosen", each === kind);
  }

  /** Widen what is shown four times over, then begin again. */
  wider() {
    this.wide = this.wide >= 16 ? 1 : this.wide * 4;
    this.draw();
  }

  draw() {
    const { lamp, response } = this.marks;
    if (!lamp || !this.svg.clientWidth) return;
    this.width = this.svg.clientWidth;
    this.height = this.svg.clientHeight;
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
    const ends = [lamp.at_s, (response ?? this.others.at(-1) ?? { at_s: lamp.at_s + 0.1 }).at_s];
    const spare = Math.min(WIDEST_S, (this.wide - 1) * 0.1);
    this.from_s = ends[0] - BEFORE_S - spare;
    this.to_s = Math.max(ends[0], ends[1]) + AFTER_S + spare;
    this.scale = (this.width - LEFT - RIGHT) / (this.to_s - this.from_s);
    this.ground.replaceChildren(this.#makeNow(), ...this.#grid(lamp.at_s), ...KINDS.flatMap((kind, lane) => this.#lane(kind, lane)), ...this.#others());
    this.#now();
    for (const kind of KINDS) this.#place(kind);
  }

  #layer() {
    return this.svg.appendChild(made("g"));
  }

  #x(at_s) {
    return LEFT + (at_s - this.from_s) * this.scale;
  }

  #lanes() {
    const room = (this.height - TOP - FOOT - GAP) / 2;
    return { room, foot: (lane) => TOP + room * (lane + 1) + GAP * lane };
  }

  #lane(kind, lane) {
    const { values, start_s } = this.instants.traces[kind];
    const { room, foot } = this.#lanes();
    const first = Math.max(0, this.instants.firstShowing(kind, this.from_s));
    const last = Math.min(values.length - 1, this.instants.firstShowing(kind, this.to_s));
    let bars = "";
    let joins = "";
    for (let frame = first; frame <= last; frame += 1) {
      const y = foot(lane) - Math.min(1.15, Math.max(-0.15, values[frame])) * room * 0.85;
      const x = this.#x(start_s[frame]);
      const end = this.#x(start_s[frame] + this.instants.exposure_s);
      bars += `M${x.toFixed(1)} ${y.toFixed(1)}H${Math.max(end, x + 1).toFixed(1)}`;
      joins += `${frame === first ? "M" : "L"}${((x + end) / 2).toFixed(1)} ${y.toFixed(1)}`;
    }
    const rest = made("path", { class: "grid", d: `M${LEFT} ${foot(lane)}H${this.width - RIGHT}` });
    const told = made("text", { x: LEFT + 4, y: foot(lane) - room + 10 }, LANES[kind]);
    return [rest, told, made("path", { class: `joins ${kind}`, d: joins }), made("path", { class: `bars ${kind}`, d: bars })];
  }

  #grid(zero_s) {
    const step_ms = [5, 10, 20, 50, 100, 200, 500, 1000, 2000].find((ms) => (ms / 1e3) * this.scale > 70) ?? 5000;
    const parts = [];
    const first = Math.ceil((1e3 * (this.from_s - zero_s)) / step_ms);
    for (let k = first; zero_s + (k * step_ms) / 1e3 < this.to_s; k += 1) {
      const x = this.#x(zero_s + (k * step_ms) / 1e3);
      parts.push(made("path", { class: "grid", d: `M${x.toFixed(1)} ${TOP}V${this.height - FOOT}` }));
      if (x > 20 && x < this.width - 110) {
        parts.push(made("text", { x, y: this.height - 6, "text-anchor": "middle" }, `${k * step_ms}`.replace("-", "−")));
      }
    }
    parts.push(made("text", { x: this.width - 6, y: this.height - 6, "text-anchor": "end" }, "ms from lamp"));
    return parts;
  }

  #others() {
    return this.others.flatMap((other, k) => {
      const x = this.#x(other.at_s);
      return [
        made("path", { class: "other", d: `M${x} ${TOP}V${this.height - FOOT}` }),
        made("text", { x, y: TOP - 6, "text-anchor": "middle" }, `${k + 1}`),
      ];
    });
  }

  #makeNow() {
    this.now = KINDS.map(() => made("rect", { class: "now" }));
    const group = made("g");
    group.append(...this.now);
    return group;
  }

  /** The frame shown is a band over its exposure, which lies elsewhere on each lane's row. */
  #now() {
    if (!this.now || !this.scale) return;
    const { room, foot } = this.#lanes();
    KINDS.forEach((kind, lane) => {
      const start = this.instants.traces[kind].start_s[this.frame];
      const x = this.#x(start ?? 0);
      set(this.now[lane], {
        x: Math.max(-50, Math.min(this.width + 50, x)),
        y: foot(lane) - room - (lane ? GAP / 2 : 0),
        width: Math.max(2, this.instants.exposure_s * this.scale),
        height: room + GAP / 2,
      });
    });
  }

  #marker(kind) {
    const group = made("g", { class: `marker ${kind}`, tabindex: 0, role: "slider", "aria-orientation": "horizontal", "aria-label": `${NAMES[kind]} marker` });
    const parts = { group, doubt: made("rect", { class: "doubt" }), line: made("path", { class: `line ${kind}` }), grip: made("circle", { class: "grip", r: GRIP }), catch: made("rect", { class: "catch", width: 18 }) };
    group.append(parts.doubt, parts.line, parts.grip, parts.catch);
    this.over.append(group);
    group.addEventListener("focus", () => this.tell.chosen(kind));
    group.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1 }[event.key];
      if (!way || event.ctrlKey || event.altKey || event.metaKey || !this.marks[kind]) return;
      event.preventDefault();
      event.stopPropagation();
      const step = this.instants.frame_s * (event.shiftKey ? 0.1 : 1);
      this.tell.moved(kind, this.marks[kind].at_s + way * step, false);
    });
    return parts;
  }

  #place(kind) {
    const mark = this.marks[kind];
    const { group, doubt, line, grip, catch: caught } = this.markers[kind];
    group.toggleAttribute("hidden", !mark);
    set(group, { display: mark ? "inline" : "none" });
    if (!mark) return;
    const x = this.#x(mark.at_s);
    const half = (mark.u_ms / 1e3) * this.scale;
    const tall = this.height - TOP - FOOT;
    set(doubt, { x: x - half, y: TOP, width: Math.max(1, 2 * half), height: tall });
    set(line, { d: `M${x} ${TOP}V${this.height - FOOT}` });
    set(grip, { cx: x, cy: TOP - GRIP - 2 });
    set(caught, { x: x - 9, y: 0, height: this.height - FOOT });
    const ms = 1e3 * (mark.at_s - this.marks.lamp.at_s);
    const told = kind === "lamp" ? `${mark.at_s.toFixed(4)} seconds` : `${ms.toFixed(1)} milliseconds after lamp-on`;
    set(group, {
      "aria-valuemin": 0,
      "aria-valuemax": this.instants.traces[kind].start_s.at(-1).toFixed(4),
      "aria-valuenow": mark.at_s.toFixed(4),
      "aria-valuetext": `${told}, give or take ${mark.u_ms.toFixed(2)} milliseconds`,
    });
  }

  #pointer() {
    let held = null;
    const instant = (event) => {
      const box = this.svg.getBoundingClientRect();
      return this.from_s + (event.clientX - box.left - LEFT) / this.scale;
    };
    this.svg.addEventListener("pointerdown", (event) => {
      if (!this.scale) return;
      held = KINDS.find((kind) => this.markers[kind].group.contains(event.target)) ?? "seek";
      this.svg.setPointerCapture(event.pointerId);
      if (held === "seek") this.tell.seek(this.instants.firstShowing("response", instant(event)));
      else this.tell.chosen(held);
    });
    this.svg.addEventListener("pointermove", (event) => {
      if (held === "seek") this.tell.seek(this.instants.firstShowing("response", instant(event)));
      else if (held) {
        this.dragged = true;
        this.tell.moved(held, instant(event), false);
      }
    });
    this.svg.addEventListener("pointerup", (event) => {
      if (held && held !== "seek" && this.dragged) this.tell.moved(held, instant(event), true);
      held = null;
      this.dragged = false;
    });
    this.svg.addEventListener("pointercancel", () => {
      held = null;
      this.dragged = false;
    });
  }
}

function made(name, attributes = {}, text = null) {
  const part = document.createElementNS(NS, name);
  set(part, attributes);
  if (text !== null) part.textContent = text;
  return part;
}

function set(part, attributes) {
  for (const [name, value] of Object.entries(attributes)) part.setAttribute(name, value);
}

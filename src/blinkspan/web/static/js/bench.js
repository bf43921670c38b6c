// The bench for one press: joins the viewer, the traces, the panel, the keys and what is saved.
import { getJson, getTrace } from "./api.js";
import { Corrections } from "./corrections.js";
import { Instants } from "./instants.js";
import * as keys from "./keys.js";
import { Looking } from "./looking.js";
import { after, NONE, number } from "./numbers.js";
import { person } from "./person.js";
import { PressPanel } from "./press_panel.js";
import { Strip } from "./strips.js";
import { Traces } from "./traces.js";
import { Trouble } from "./trouble.js";

const SETTLED_MS = 400; // a marker that rests so long is saved
const SPOKEN_MS = 300;
// A response is fully there some frames on (common practice: within two refreshes of 60 Hz).
const AFTER_FRAMES = 8;
const USUALLY_ANSWERED_MS = 100; // where no other press tells when to look

class Bench {
  constructor(place, corrections, traces) {
    const { take, frames, width, height } = place.dataset;
    this.take = Number(take);
    this.frames = Number(frames);
    this.corrections = corrections;
    const regions = corrections.state.take.regions;
    this.boxes = { lamp: regions.lamp, watch: regions.watch };
    this.instants = new Instants(traces[0], traces[1], corrections.state.take.rate_hz);
    this.panel = new PressPanel();
    this.visited = [];
    this.decided = new Set();
    this.chosen = "response";
    this.draft = null;
    this.fitted = 0;
    this.form = document.querySelector("#say");
    this.looking = new Looking(document.querySelector("#viewer"), {
      take: this.take,
      frames: this.frames,
      width: Number(width),
      height: Number(height),
      crops: [
        [document.querySelector("#lamp-crop"), this.boxes.lamp],
        [document.querySelector("#watch-crop"), this.boxes.watch],
      ],
      tell: {
        moved: () => this.#told(),
        drawn: (frame) => this.#drawn(frame),
        arrived: (frame, bitmap) => {
          trouble.back();
          for (const strip of Object.values(this.strips)) strip.draw(frame, bitmap);
        },
        failed: (error) => (error.status === 0 ? trouble.away() : trouble.tell(error.message)),
      },
    });
    this.strips = Object.fromEntries(
      [...document.querySelectorAll("[data-strip]")].map((each) => [
        each.dataset.strip,
        new Strip(each, each.dataset.strip === "lamp" ? this.boxes.lamp : this.boxes.watch, (frame) => this.looking.go(frame)),
      ]),
    );
    this.traces = new Traces(document.querySelector("#traces"), this.instants, {
      seek: (frame) => this.looking.go(frame),
      moved: (kind, at_s, done) => this.#move(kind, at_s, done),
      chosen: (kind) => this.choose(kind),
    });
    this.choose("response");
  }

  /** Show a press and go to its response, or its lamp-on where it has none. */
  show(press) {
    this.#flush();
    this.press = press;
    document.title = `Press ${press.number} · blinkspan`;
    this.#render();
    const at = this.#onset("response") ?? this.#onset("lamp");
    this.looking.against((this.#onset("response") ?? at + 1) - 1, at + AFTER_FRAMES);
    this.looking.go(at);
    this.#fetchStrips();
    this.speak(`Press ${press.number}, ${press.verdict}${press.reason ? `, ${press.reason}` : ""}, span ${press.span ? `${number(press.span.ms)} milliseconds` : NONE}`);
  }

  /** Open another press of the take, as a page of its own in the browser's history. */
  open(press, remember = true) {
    if (remember) this.visited.push(this.press.number);
    history.pushState({}, "", `/takes/${this.take}/presses/${press.number}`);
    this.show(press);
  }

  /** The next in the order of doubt that still waits; else simply the next. */
  following() {
    const { order, presses } = this.corrections.state;
    const at = order.indexOf(this.press.id);
    const others = [...order.slice(at + 1), ...order.slice(0, at)].map((id) => presses.find((each) => each.id === id));
    return { waiting: others.find((each) => this.#waits(each)) ?? null, next: others[0] ?? null };
  }

  next() {
    const { waiting, next } = this.following();
    if (waiting ?? next) this.open(waiting ?? next);
  }

  previous() {
    const { order, presses } = this.corrections.state;
    const number_ = this.visited.pop();
    const place = order.indexOf(this.press.id);
    const press = this.corrections.press(number_) ?? presses.find((each) => each.id === order[place - 1]);
    if (press) this.open(press, false);
  }

  decide(verdict) {
    this.#flush();
    const said = { verdict, why: this.#note() };
    const reason = this.form.elements.reason.value;
    if (reason && verdict !== "accepted") said.reason = reason;
    this.decided.add(this.press.id);
    this.corrections.correct(this.press, said);
    const { waiting } = this.following();
    if (waiting) this.open(waiting);
    else this.speak("Every press was looked at");
  }

  /** Say that the frame shown, the one a person sees, is the first that shows an onset. */
  mark(kind) {
    this.#flush();
    if (this.looking.shown === null) return;
    const frame = this.looking.shown;
    this.#correct(kind, this.instants.markedBy(kind, frame));
    this.choose(kind);
    this.speak(`${kind === "lamp" ? "Lamp-on" : "Response"} marked in frame ${frame}`);
  }

  noResponse() {
    this.#flush();
    this.corrections.correct(this.press, { no_response: true, why: this.#note() });
    this.speak("No response");
  }

  /** Look at another candidate; take it where it is looked at already. */
  other(k) {
    const other = this.press.candidates[k];
    if (!other) return;
    const frame = this.instants.firstShowing("response", other.at_s);
    if (this.looking.cursor === frame && this.offered === k) this.takeOther(k);
    else {
      this.offered = k;
      this.looking.go(frame);
      this.speak(`Candidate ${k + 1}: ${other.source}. The same key again takes it`);
    }
  }

  takeOther(k) {
    const { at_s, u_ms } = this.press.candidates[k];
    this.corrections.correct(this.press, { response_s: at_s, u_ms, why: this.#note() });
    this.looking.go(this.instants.firstShowing("response", at_s));
  }

  nudge(frames) {
    const mark = this.#mark(this.chosen);
    if (mark) this.#move(this.chosen, mark.at_s + frames * this.instants.frame_s, false);
    else this.speak("There is no response to move; mark one first");
  }

  choose(kind) {
    this.chosen = kind;
    this.traces.choose(kind);
    document.querySelector(`input[name=marker][value=${kind}]`).checked = true;
  }

  keepNote() {
    const why = this.#note();
    if (why) this.corrections.correct(this.press, { verdict: this.press.verdict, reason: this.press.reason, why });
  }

  goTo(kind) {
    const frame = this.#onset(kind);
    if (frame === null) this.speak("There is no response");
    else this.looking.go(frame);
    this.choose(kind);
  }

  fit() {
    const boxes = [null, this.boxes.watch, this.boxes.lamp];
    this.fitted = (this.fitted + 1) % boxes.length;
    this.looking.viewer.fit(boxes[this.fitted]);
  }

  look(view) {
    const now = this.looking.look(view);
    document.querySelector(`input[name=view][value=${now}]`).checked = true;
    this.#told();
  }

  async step(name) {
    this.#flush();
    this.stepping = true;
    await this.corrections.step(name);
    this.stepping = false;
  }

  /** Take over a new state of the take. */
  changed(before, now, saved) {
    if (saved) this.decided.delete(saved.id);
    const old = new Map(before.presses.map((each) => [each.id, each]));
    const other = now.presses.filter((each) => old.get(each.id)?.version !== each.version);
    const mine = now.presses.find((each) => each.id === this.press.id);
    if (!mine) {
      location.reload(); // it was measured anew: its presses have other keys
      return;
    }
    if (this.stepping && other.length && !other.includes(mine)) {
      this.open(other[0]);
    } else {
      const moved = mine.version !== this.press.version;
      this.press = mine;
      this.#render();
      if (moved) this.#fetchStrips();
    }
  }

  speak(words) {
    clearTimeout(this.saying);
    document.querySelector("#spoken").textContent = words;
  }

  #waits(press) {
    return !this.decided.has(press.id) && (press.verdict === "doubtful" || press.corrections.length === 0);
  }

  #mark(kind) {
    if (this.draft?.kind === kind) return this.draft;
    return kind === "lamp" ? this.press.lamp_on : this.press.response;
  }

  #onset(kind) {
    const mark = this.#mark(kind);
    return mark ? this.instants.firstShowing(kind, mark.at_s) : null;
  }

  /** The frame about which a response is to be looked for: where the take's others answer. */
  #expected(state) {
    return this.instants.firstShowing("response", this.press.lamp_on.at_s + 1e-3 * (state.summary.median_ms ?? USUALLY_ANSWERED_MS));
  }

  #render() {
    const { state } = this.corrections;
    this.panel.show(this.press, { look: (k) => this.other(k), take: (k) => this.takeOther(k) });
    this.panel.together(state, state.presses.filter((each) => this.#waits(each)).length);
    if (this.draft) this.#preview();
    this.traces.show(this.#mark("lamp"), this.#mark("response"), this.press.candidates);
    for (const [kind, strip] of Object.entries(this.strips)) {
      strip.show(this.#onset(kind), this.#expected(state), this.frames, (frame) => this.instants.msAfter(frame, this.press.lamp_on.at_s, kind));
      for (const frame of strip.frames) {
        const { ring } = this.looking;
        if (ring.sharp(frame)) strip.draw(frame, ring.get(frame));
      }
      strip.at(this.looking.shown);
    }
    this.#remarks();
  }

  async #remarks() {
    const { press } = this;
    try {
      const rows = await getJson(`/api/takes/${this.take}/corrections`);
      if (press === this.press) this.panel.remarks(rows, press);
    } catch {
      // the numbers stand without it; trouble is told where something is saved
    }
  }

  #fetchStrips() {
    const { waiting } = this.following();
    const then = waiting ? this.instants.firstShowing("response", (waiting.response ?? waiting.lamp_on).at_s) : null;
    this.looking.ring.wantAlso([
      ...Object.values(this.strips).flatMap((strip) => strip.frames),
      ...(then === null ? [] : [then, then - 1, then + 1]),
    ]);
  }

  #drawn(frame) {
    this.traces.at(frame);
    for (const strip of Object.values(this.strips)) strip.at(frame);
    this.#told();
  }

  #told() {
    const { cursor, shown, sharp, view, fixed } = this.looking;
    const ms = after(this.instants.msAfter(cursor, this.press.lamp_on.at_s));
    const coming = shown !== cursor ? ", on its way" : sharp ? "" : ", not yet sharp";
    const instead = view === "before" || view === "after" ? ` · ${view}: frame ${fixed[view]}` : view === "difference" ? ` · less frame ${fixed.before}` : "";
    const told = `frame ${cursor} · ${ms} from lamp-on${instead}${coming}`;
    document.querySelector("#where").textContent = told;
    const viewer = document.querySelector("#viewer");
    viewer.setAttribute("aria-valuenow", cursor);
    viewer.setAttribute("aria-valuetext", `frame ${cursor}, ${ms} from lamp-on`);
    viewer.dataset.shown = shown ?? "";
    viewer.dataset.sharp = sharp;
    if (document.activeElement === viewer) return; // a slider speaks for itself
    clearTimeout(this.saying);
    this.saying = setTimeout(() => this.speak(told), SPOKEN_MS);
  }

  /** Move a marker: shown at once, saved when it rests. */
  #move(kind, at_s, done) {
    this.choose(kind);
    const mark = this.#mark(kind);
    if (!mark) return;
    if (this.draft && this.draft.kind !== kind) this.#flush();
    this.draft = { kind, at_s, u_ms: mark.u_ms };
    this.#preview();
    this.traces.show(this.#mark("lamp"), this.#mark("response"), this.press.candidates);
    this.looking.go(this.instants.firstShowing(kind, at_s));
    clearTimeout(this.resting);
    if (done) this.#flush();
    else this.resting = setTimeout(() => this.#flush(), SETTLED_MS);
  }

  #preview() {
    const { kind, at_s } = this.draft;
    const held = kind === "lamp" ? this.press.lamp_on : this.press.response;
    if (!this.press.span || !held) return;
    const shift = 1e3 * (at_s - held.at_s) * (kind === "lamp" ? -1 : 1);
    this.panel.span({ ms: this.press.span.ms + shift, u_ms: this.press.span.u_ms }, true);
  }

  #flush() {
    clearTimeout(this.resting);
    if (!this.draft) return;
    const { kind, at_s } = this.draft;
    this.draft = null;
    this.#correct(kind, at_s);
  }

  #correct(kind, at_s) {
    const said = { [kind === "lamp" ? "lamp_on_s" : "response_s"]: at_s, why: this.#note() };
    const sure = Number(document.querySelector("#sure").value.replace(",", "."));
    if (sure > 0) said.u_ms = sure;
    this.corrections.correct(this.press, said);
  }

  #note() {
    const { why } = this.form.elements;
    const words = why.value.trim();
    why.value = "";
    return words;
  }
}

const trouble = new Trouble(document.querySelector("#trouble"), () => bench?.corrections.load());
let bench = null;

async function start() {
  document.documentElement.classList.add("quick");
  const place = document.querySelector("#bench");
  const take = Number(place.dataset.take);
  const saved = document.querySelector("#saved");
  const corrections = new Corrections(take, {
    changed: (before, now, press) => bench.changed(before, now, press),
    refused: (words, press) => {
      if (press) bench.decided.delete(press.id);
      trouble.tell(`Not saved: ${words}.`, press && { words: `Show press ${press.number}`, does: () => bench.open(corrections.press(press.number) ?? bench.press) });
    },
    away: () => trouble.away(),
    back: () => trouble.back(),
    saving: (left, kept) => {
      const done = kept ? `saved for ${person()}` : "not saved";
      saved.textContent = left ? "saving…" : done;
    },
  });
  const [, lamp, response] = await Promise.all([corrections.load(), getTrace(take, "lamp"), getTrace(take, "response")]);
  bench = new Bench(place, corrections, [lamp, response]);
  bench.show(corrections.press(Number(place.dataset.number)));
  wire(bench);
  getJson(`/api/takes/${take}/frames/ahead`, { method: "POST" }).catch(() => {});
}

function wire(bench) {
  const { looking } = bench;
  const help = document.querySelector("#keys");
  const deeds = {
    back: () => looking.step(-1),
    on: () => looking.step(1),
    "back-ten": () => looking.step(-10),
    "on-ten": () => looking.step(10),
    "to-lamp": () => bench.goTo("lamp"),
    "to-response": () => bench.goTo("response"),
    "mark-lamp": () => bench.mark("lamp"),
    "mark-response": () => bench.mark("response"),
    "no-response": () => bench.noResponse(),
    "tenth-earlier": () => bench.nudge(-0.1),
    "tenth-later": () => bench.nudge(0.1),
    "frame-earlier": () => bench.nudge(-1),
    "frame-later": () => bench.nudge(1),
    marker: () => bench.choose(bench.chosen === "lamp" ? "response" : "lamp"),
    other: (key) => bench.other(Number(key) - 1),
    accepted: () => bench.decide("accepted"),
    rejected: () => bench.decide("rejected"),
    doubtful: () => bench.decide("doubtful"),
    next: () => bench.next(),
    previous: () => bench.previous(),
    undo: () => bench.step("undo"),
    redo: () => bench.step("redo"),
    "to-note": () => bench.form.elements.why.focus(),
    note: () => bench.keepNote(),
    view: () => bench.look(null),
    "zoom-in": () => looking.viewer.zoomBy(1.5),
    "zoom-out": () => looking.viewer.zoomBy(1 / 1.5),
    fit: () => bench.fit(),
    "pan-left": () => looking.viewer.pan(-0.15, 0),
    "pan-right": () => looking.viewer.pan(0.15, 0),
    "pan-up": () => looking.viewer.pan(0, -0.15),
    "pan-down": () => looking.viewer.pan(0, 0.15),
    wider: () => bench.traces.wider(),
    help: () => help.showModal(),
  };
  keys.listen(deeds);
  keys.list(help.querySelector(".key-list"));
  document.querySelector("#help").addEventListener("click", deeds.help);
  for (const button of document.querySelectorAll("button[data-do]")) button.addEventListener("click", deeds[button.dataset.do]);
  bench.form.addEventListener("submit", (event) => {
    event.preventDefault();
    const said = event.submitter?.value ?? "accepted";
    deeds[{ lamp: "mark-lamp", response: "mark-response", none: "no-response" }[said] ?? said]();
  });
  for (const radio of document.querySelectorAll("input[name=view]")) radio.addEventListener("change", () => bench.look(radio.value));
  for (const radio of document.querySelectorAll("input[name=marker]")) radio.addEventListener("change", () => bench.choose(radio.value));
  for (const [id, deed] of [["#later", "next"], ["#earlier", "previous"]]) {
    document.querySelector(id)?.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      deeds[deed]();
    });
  }
  window.addEventListener("popstate", () => {
    const press = bench.corrections.press(Number(location.pathname.split("/").at(-1)));
    if (press) bench.show(press);
  });
  window.addEventListener("focus", () => bench.corrections.left || bench.corrections.load().catch(() => trouble.away()));
  window.addEventListener("beforeunload", (event) => bench.corrections.left && event.preventDefault());
}

start().catch((error) => {
  document.documentElement.classList.remove("quick");
  trouble.tell(error.message);
});

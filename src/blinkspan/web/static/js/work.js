// Shows the work in the background and lets a person pause, resume or cancel it.
//
// The program tells of every change by itself. A page that nobody sees does not
// listen: browsers allow six connections to one program, over all pages.
import { GONE, getJson, sendJson } from "./api.js";

const REFUSED_MS = 4000;
const ENDED = new Set(["done", "failed", "cancelled"]);
const WORDS = {
  waiting: "waits for its turn",
  running: "running",
  paused: "paused; the clips in hand are finished",
  done: "done",
  failed: "failed",
  cancelled: "cancelled; what was kept stays",
};

/** Return an element with a class and text. */
export function made(name, { text = "", className = "", ...properties } = {}) {
  const element = document.createElement(name);
  if (className) element.className = className;
  if (text) element.textContent = text;
  return Object.assign(element, properties);
}

/**
 * Show tasks in a place of the page, and call `ended` for each that ends while it is looked at,
 * `grown` for each that is done with one more clip.
 * Returns a function that looks again at once.
 */
export function showWork(place, { wanted = () => true, ended = () => {}, grown = () => {} } = {}) {
  const seen = new Map();
  const shown = new Map();
  let events = null;
  let told = 0; // how often the program has told how things stand

  function take(all) {
    told += 1;
    const tasks = all.filter(wanted);
    for (const task of tasks) {
      const before = seen.get(task.key);
      seen.set(task.key, task);
      if (before && !ENDED.has(before.stage) && ENDED.has(task.stage)) ended(task);
      else if (before && task.done > before.done) grown(task);
    }
    draw(tasks);
  }

  function trouble(words) {
    shown.clear();
    place.replaceChildren(made("p", { className: "note bad", text: words }));
  }

  function listen() {
    events?.close();
    events = null;
    if (document.hidden) return;
    const source = new EventSource("/api/work/events");
    events = source;
    source.addEventListener("message", (event) => take(JSON.parse(event.data)));
    source.addEventListener("error", async () => {
      if (source !== events) return;
      if (source.readyState !== EventSource.CLOSED) {
        trouble(GONE); // the browser asks again by itself
        return;
      }
      await look(); // it was refused, and the interface says why
      setTimeout(() => source === events && listen(), REFUSED_MS);
    });
  }

  async function look() {
    const before = told;
    try {
      const all = await getJson("/api/work");
      if (told === before) take(all); // else what came meanwhile is newer
    } catch (error) {
      trouble(error.message);
    }
  }

  function draw(tasks) {
    if (tasks.length) place.hidden = false;
    const parts = tasks.map((task) => {
      const state = JSON.stringify(task);
      const held = shown.get(task.key) ?? { card: card(look) };
      if (held.state !== state) fill(held.card, task);
      shown.set(task.key, { state, card: held.card });
      return held.card.part;
    });
    if (!parts.length) parts.push(made("p", { className: "quiet", text: "Nothing is being measured." }));
    const same = parts.length === place.children.length && parts.every((part, at) => part === place.children[at]);
    if (!same) place.replaceChildren(...parts);
  }

  document.addEventListener("visibilitychange", listen);
  window.addEventListener("pagehide", () => events?.close());
  window.addEventListener("pageshow", (event) => event.persisted && listen());
  listen();
  return look;
}

// A task's parts are made once and only filled anew: what a person is about to
// press stays the same element, though progress comes in between press and release.
function card(look) {
  const part = made("section", { className: "task stack" });
  const title = made("h3");
  const words = made("p", { className: "small" });
  const bar = made("progress", { max: 1 });
  const details = made("details", { hidden: true });
  const clips = made("ul", { className: "clips small" });
  details.append(made("summary", { text: "Clips" }), clips);
  const row = made("div", { className: "row" });
  const held = { part, title, words, bar, details, clips, row, key: null, buttons: {}, lines: new Map() };
  for (const step of ["pause", "resume", "cancel"]) {
    const button = made("button", { type: "button", text: step[0].toUpperCase() + step.slice(1) });
    button.addEventListener("click", async () => {
      try {
        await sendJson(`/api/work/${held.key}/${step}`, {});
      } catch {
        // it has just ended, as the next look will show
      }
      look();
    });
    held.buttons[step] = button;
    row.append(button);
  }
  part.append(title, words, bar, details, row);
  return held;
}

function fill(held, task) {
  const idle = task.kind === "measure" && task.stage === "done" && task.of === 0;
  const over = ENDED.has(task.stage);
  held.key = task.key;
  held.title.textContent = task.title;
  held.words.textContent = idle
    ? "Nothing was new or changed, so nothing had to be measured."
    : `${WORDS[task.stage]}${task.of > 1 ? ` · ${task.done} of ${task.of} clips` : ""}${task.told ? `: ${task.told}` : ""}`;
  held.bar.hidden = over || !task.of;
  if (!held.bar.hidden) {
    const share = task.clips.reduce((sum, clip) => sum + (ENDED.has(clip.stage) ? 1 : clip.share ?? 0), 0);
    held.bar.value = share / task.of;
    held.bar.setAttribute("aria-label", `${task.title}: how far it is`);
  }
  const begun = task.clips.flatMap((clip, at) => (clip.stage === "waiting" ? [] : [[at, clip]]));
  if (held.details.hidden && begun.length) held.details.open = task.of === 1;
  held.details.hidden = !begun.length;
  const lines = begun.map(([at, clip]) => {
    if (!held.lines.has(at)) held.lines.set(at, line());
    return tell(held.lines.get(at), clip);
  });
  if (lines.length !== held.clips.children.length) held.clips.replaceChildren(...lines);
  // a button that goes takes the focus along to the one that stands in for it
  const steps = task.stage === "paused" ? ["resume", "cancel"] : task.can_pause ? ["pause", "cancel"] : ["cancel"];
  const inside = held.row.contains(document.activeElement);
  for (const [step, button] of Object.entries(held.buttons)) button.hidden = over || !steps.includes(step);
  held.row.hidden = over;
  if (inside && document.activeElement.hidden && !over) held.buttons[steps[0]].focus();
}

function line() {
  const item = made("li");
  const name = made("span");
  const link = made("a", { hidden: true });
  const words = made("span");
  item.append(name, link, words);
  return { item, name, link, words };
}

function tell({ item, name, link, words }, clip) {
  const kept = clip.take_id !== null;
  name.hidden = kept;
  link.hidden = !kept;
  (kept ? link : name).textContent = clip.name;
  if (kept) link.href = `/takes/${clip.take_id}`;
  const far = clip.share === null ? "" : ` ${Math.round(100 * clip.share)} %`;
  words.textContent = `: ${clip.told || (clip.stage === "running" ? `${clip.doing || "starting"}${far}` : clip.stage)}`;
  return item;
}

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

  function take(all) {
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
    try {
      take(await getJson("/api/work"));
    } catch (error) {
      trouble(error.message);
    }
  }

  // A task is drawn anew only where it changed: a button keeps its focus meanwhile.
  function draw(tasks) {
    if (tasks.length) place.hidden = false;
    const parts = tasks.map((task) => {
      const told = JSON.stringify(task);
      const held = shown.get(task.key);
      if (held?.told === told) return held.part;
      const part = held?.part ?? made("section", { className: "task stack" });
      fill(part, task, look);
      shown.set(task.key, { told, part });
      return part;
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

function fill(part, task, look) {
  const focused = document.activeElement?.dataset.step;
  const inside = part.contains(document.activeElement);
  const open = part.querySelector("details")?.open ?? false;
  const idle = task.kind === "measure" && task.stage === "done" && task.of === 0;
  const children = [
    made("h3", { text: task.title }),
    made("p", { className: "small", text: idle ? "Nothing was new or changed, so nothing had to be measured." : `${WORDS[task.stage]}${task.of > 1 ? ` · ${task.done} of ${task.of} clips` : ""}${task.told ? `: ${task.told}` : ""}` }),
  ];
  if (!ENDED.has(task.stage) && task.of) {
    const share = task.clips.reduce((sum, clip) => sum + (ENDED.has(clip.stage) ? 1 : clip.share ?? 0), 0);
    children.push(bar(share / task.of, `${task.title}: how far it is`));
  }
  const clips = task.clips.filter((clip) => clip.stage !== "waiting");
  if (clips.length) {
    const details = made("details", { open: open || task.of === 1 });
    details.append(made("summary", { text: "Clips" }), list(clips));
    children.push(details);
  }
  if (!ENDED.has(task.stage)) children.push(buttons(task, look));
  part.replaceChildren(...children);
  if (inside && focused) part.querySelector(`[data-step="${focused}"]`)?.focus();
}

function list(clips) {
  const items = made("ul", { className: "clips small" });
  for (const clip of clips) {
    const item = made("li");
    if (clip.take_id === null) item.append(clip.name);
    else item.append(made("a", { text: clip.name, href: `/takes/${clip.take_id}` }));
    const far = clip.share === null ? "" : ` ${Math.round(100 * clip.share)} %`;
    item.append(`: ${clip.told || (clip.stage === "running" ? `${clip.doing || "starting"}${far}` : clip.stage)}`);
    items.append(item);
  }
  return items;
}

function bar(share, label) {
  const element = made("progress", { max: 1, value: share });
  element.setAttribute("aria-label", label);
  return element;
}

function buttons(task, look) {
  const row = made("div", { className: "row" });
  const steps = task.stage === "paused" ? ["resume", "cancel"] : task.can_pause ? ["pause", "cancel"] : ["cancel"];
  for (const step of steps) {
    const button = made("button", { type: "button", text: step[0].toUpperCase() + step.slice(1) });
    button.dataset.step = step;
    button.addEventListener("click", async () => {
      try {
        await sendJson(`/api/work/${task.key}/${step}`, {});
      } catch {
        // it has just ended, as the next look will show
      }
      look();
    });
    row.append(button);
  }
  return row;
}

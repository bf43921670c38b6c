// The take page: regions to adjust, live traces of them, the search, the setup's form.
import { ask, getJson, sendJson } from "./api.js";
import { person } from "./person.js";
import { RegionEditor } from "./region_editor.js";
import { drawTrace } from "./small_trace.js";
import { made, showWork } from "./work.js";

const TRACE_PAUSE_MS = 60;

const place = document.querySelector("#editor");
const take = Number(location.pathname.split("/")[2]);
const told = document.querySelector("#regions-told");

let pending = null;
let stop = null;
let editor = null;

const look = showWork(document.querySelector("#tasks"), {
  wanted: (task) => task.clips.some((clip) => clip.take_id === take),
  ended: (task) => {
    if (task.inspection) showInspection(task.inspection);
    if (task.kind === "regions" && task.regions) {
      editor?.show(task.regions);
      say("Found. Check the places, move what is off, and keep them.", "good");
    } else if (task.kind === "measure" && task.stage === "done") {
      location.reload();
    }
  },
});

if (place) editPlaces();
measureForm();
document.querySelector("#inspect")?.addEventListener("click", () =>
  tried(async () => {
    await sendJson(`/api/takes/${take}/inspect`, {});
    look();
  }),
);
setupForm();
spot();

/** Let a person put the boxes; there are none where the film is gone. */
function editPlaces() {
  editor = new RegionEditor(place, {
    changed: (regions) => traces(regions),
    speak: (words) => {
      document.querySelector("#spoken").textContent = words;
    },
  });
  const kept = JSON.parse(place.dataset.regions);
  editor.show(kept ?? starting());
  if (!kept) say("No places are known yet. Let the program look for them, or put the boxes by hand.", "doubt");
  chooseFrame();
  document.querySelector("#search").addEventListener("click", () =>
    tried(async () => {
      await sendJson(`/api/takes/${take}/regions/search`, {});
      say("Looking through the whole take…", "");
      look();
    }),
  );
  document.querySelector("#keep").addEventListener("click", () => tried(keep));
}

function showInspection({ seen, advice, notes, measurable }) {
  const facts = made("dl", { className: "facts" });
  for (const [name, words] of seen) facts.append(made("dt", { text: name }), made("dd", { text: words }));
  const parts = [made("h3", { text: "Inspected" }), facts];
  if (advice.length) {
    const list = made("ul", { className: "clips" });
    for (const words of advice) list.append(made("li", { text: words }));
    parts.push(made("h3", { text: "What would help, the most helpful first" }), list);
  } else if (measurable) {
    parts.push(made("p", { text: "Nothing on this rig would make a press known much better." }));
  }
  for (const words of notes) parts.push(made("p", { className: "note", text: words }));
  document.querySelector("#inspection").replaceChildren(...parts);
}

/** Measure with what is said of the take; only what was changed is said anew. */
function measureForm() {
  const form = document.querySelector("#measure-form");
  const words = document.querySelector("#measure-told");
  form?.addEventListener("submit", async (event) => {
    event.preventDefault();
    const order = { study: form.dataset.study, again: true };
    if (form.elements.all.checked) order.setup = form.dataset.setup;
    else order.take_id = take;
    for (const name of ["game_rate_hz", "capture_rate_hz"]) {
      const { value, defaultValue } = form.elements[name];
      if (value !== defaultValue || form.elements.all.checked) order[name] = numberIn(value);
    }
    try {
      if (editor?.moved) await keep();
      await sendJson("/api/work/measure", order);
      words.textContent = "Measuring. The page shows the result when it is there.";
      words.className = "";
      look();
    } catch (error) {
      words.textContent = error.message;
      words.className = "note bad";
    }
  });
}

/** Return a typed number, null where nothing is typed, and as it is where it is none: that is refused. */
function numberIn(text) {
  const typed = text.trim().replace(",", ".");
  return typed === "" ? null : Number.isNaN(Number(typed)) ? text : Number(typed);
}

async function keep() {
  const { lamp, panel, watch } = editor.regions();
  await sendJson(`/api/takes/${take}/regions`, { lamp, panel, watch, by: person() }, { method: "PUT" });
  editor.moved = false;
  say("Kept. The next measuring uses these places.", "good");
}

async function tried(work) {
  try {
    await work();
  } catch (error) {
    say(error.message, "bad");
  }
}

function say(words, kind) {
  if (!told) return; // the film is gone, which the page says
  told.textContent = words;
  told.className = words ? `note ${kind}` : "";
}

/** Return boxes to begin with where nothing is known: a small lamp at the left, most of the picture. */
function starting() {
  const width = Number(place.dataset.width);
  const height = Number(place.dataset.height);
  const share = (x, y) => [Math.round(width * x), Math.round(height * y)];
  return {
    lamp: [...share(0.02, 0.45), ...share(0.05, 0.08)],
    panel: [share(0.15, 0.1), share(0.95, 0.1), share(0.95, 0.9), share(0.15, 0.9)],
    watch: [...share(0.35, 0.35), ...share(0.4, 0.3)],
  };
}

function chooseFrame() {
  const range = document.querySelector("#frame-range");
  const picture = document.querySelector("#frame");
  let waiting = null;
  range.addEventListener("input", () => {
    document.querySelector("#frame-told").textContent = `${range.value} of ${range.max}`;
    clearTimeout(waiting);
    waiting = setTimeout(() => picture.setAttribute("href", `/api/takes/${take}/frames/${range.value}`), 40);
  });
}

function traces(regions) {
  clearTimeout(pending);
  pending = setTimeout(async () => {
    stop?.abort();
    stop = new AbortController();
    const { signal } = stop;
    try {
      await Promise.all([
        follow("lamp", "light", regions.lamp, signal),
        follow("watch", "change", regions.watch, signal),
      ]);
    } catch (error) {
      if (error.name !== "AbortError") say(error.message, "bad");
    }
  }, TRACE_PAUSE_MS);
}

async function follow(name, shows, box, signal) {
  const answer = await ask(`/api/takes/${take}/box/${shows}?box=${box.join(",")}`, { signal });
  const both = new Float32Array(await answer.arrayBuffer());
  const samples = Number(answer.headers.get("X-Samples"));
  const range = drawTrace(document.querySelector(`#${name}-trace`), both.subarray(0, samples), both.subarray(samples));
  document.querySelector(`#${name}-range`).textContent =
    `${(100 * range.low).toFixed(1)} to ${(100 * range.high).toFixed(1)} % of full light, ${range.seconds.toFixed(1)} s`;
}

function setupForm() {
  const form = document.querySelector("#setup-form");
  const words = document.querySelector("#setup-told");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const { display, camera, ...conditions } = Object.fromEntries(new FormData(form));
    try {
      const setup = await sendJson(
        `/api/setups/${form.dataset.setup}`,
        { conditions, display: display || null, camera: camera || null },
        { method: "PUT", version: form.dataset.version },
      );
      form.dataset.version = setup.version;
      words.textContent = "Kept.";
      words.className = "note good";
    } catch (error) {
      words.textContent = error.message;
      words.className = "note bad";
    }
  });
}

function spot() {
  const words = document.querySelector("#spot-told");
  document.querySelector("#compare-spot").addEventListener("click", async () => {
    try {
      const check = await getJson(`/api/takes/${take}/spot`);
      words.textContent = `${check.told[0].toUpperCase()}${check.told.slice(1)}.`;
      words.className = check.same === null ? "note" : check.same ? "note good" : "note doubt";
    } catch (error) {
      words.textContent = error.message;
      words.className = "note bad";
    }
  });
}

// The library page: clips dropped, picked or watched, the work in hand, and the takes of a study.
import { ask, getJson, sendFile, sendJson } from "./api.js";
import { made, showWork } from "./work.js";

const CLIP = /\.(mp4|mov|m4v|mkv|avi|mts|m2ts|mxf|webm|3gp)$/i;

const form = document.querySelector("#bring-form");
if (form) {
  const look = showWork(document.querySelector("#tasks"), {
    ended: (task) => {
      if (task.kind !== "regions") refreshCards();
    },
    grown: refreshCards,
  });
  const cards = document.querySelector("#cards");
  bringIn(form, look);
  cards.addEventListener("toggle", listTakes, true); // it does not bubble
  cards.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-measure]");
    if (!button) return;
    try {
      await sendJson("/api/work/measure", { study: button.dataset.measure });
      look();
    } catch (error) {
      button.parentElement.after(made("p", { className: "note bad", text: error.message }));
    }
  });
}

function bringIn(form, look) {
  const drop = document.querySelector("#drop");
  const sent = document.querySelector("#sent");
  const bring = document.querySelector("#bring-chosen");
  let chosen = []; // clips that wait until study and setup are named

  for (const id of ["files", "folder"]) {
    const input = document.querySelector(`#${id}`);
    input.addEventListener("change", () => {
      send([...input.files]);
      input.value = "";
    });
  }
  drop.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", async (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    send(entries.length ? (await Promise.all(entries.map(filesOf))).flat() : [...event.dataTransfer.files]);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (chosen.length) send(chosen);
  });
  for (const button of form.querySelectorAll("[data-folder]")) {
    button.addEventListener("click", async () => {
      if (!form.reportValidity()) return;
      const { study, setup } = form.elements;
      try {
        await sendJson(`/api/work/${button.dataset.do}`, {
          folder: Number(button.dataset.folder),
          study: study.value,
          setup: setup.value,
        });
        look();
      } catch (error) {
        sent.append(made("li", { className: "note bad", text: error.message }));
      }
    });
  }

  async function send(files) {
    const clips = files.filter((file) => CLIP.test(file.name));
    sent.replaceChildren();
    chosen = form.checkValidity() ? [] : clips;
    bring.hidden = chosen.length === 0;
    if (chosen.length) {
      bring.textContent = chosen.length === 1 ? `Bring in ${chosen[0].name}` : `Bring in ${chosen.length} clips`;
      form.reportValidity();
      return;
    }
    if (!clips.length) {
      sent.append(made("li", { className: "note doubt", text: "None of these is a film by its name." }));
      return;
    }
    const { study, setup, measure } = form.elements;
    let kept = 0;
    for (const file of clips) {
      const item = made("li", { text: `${file.name}: sending…` });
      sent.append(item);
      const where = new URLSearchParams({ study: study.value, setup: setup.value, name: file.name });
      try {
        const bar = made("progress", { max: 1, value: 0 }); // words would be spoken at every step
        bar.setAttribute("aria-label", `${file.name}: how much of it is sent`);
        item.append(" ", bar);
        const answer = await sendFile(`/api/uploads?${where}`, file, (share) => {
          bar.value = share;
          if (share === 1) item.textContent = `${file.name}: sent, being read`;
        });
        item.replaceChildren(made("a", { text: answer.name, href: `/takes/${answer.take_id}` }), `: ${answer.told}`);
        kept += 1;
      } catch (error) {
        item.className = "note bad";
        item.textContent = `${file.name}: ${error.message}`;
      }
    }
    if (kept) await refreshCards();
    if (kept && measure.checked) {
      await sendJson("/api/work/measure", { study: study.value, setup: setup.value });
      look();
    }
  }
}

/** Return the files of something dropped: itself, or all in a folder. */
async function filesOf(entry) {
  if (entry.isFile) return [await new Promise((done, failed) => entry.file(done, failed))];
  const reader = entry.createReader();
  const files = [];
  for (;;) {
    const some = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (!some.length) return files;
    files.push(...(await Promise.all(some.map(filesOf))).flat());
  }
}

function listTakes(event) {
  if (event.target.matches("details.takes[open]")) fillTakes(event.target);
}

let refreshes = 0;

/** Show the studies as they now stand: what was open stays open, what has the focus keeps it. */
async function refreshCards() {
  refreshes += 1;
  const mine = refreshes;
  const opened = [...document.querySelectorAll("details.takes[open]")].map((each) => each.dataset.study);
  let text;
  try {
    text = await (await ask("/")).text();
  } catch {
    return; // the work in hand says that the program does not answer
  }
  if (mine !== refreshes) return; // a later one shows more
  const fresh = new DOMParser().parseFromString(text, "text/html");
  for (const id of ["studies", "setups"]) document.querySelector(`#${id}`).replaceWith(fresh.querySelector(`#${id}`));
  const cards = document.querySelector("#cards");
  const focused = cards.contains(document.activeElement) ? nameOf(document.activeElement) : null;
  cards.replaceChildren(...fresh.querySelector("#cards").children);
  for (const details of cards.querySelectorAll("details.takes")) details.open = opened.includes(details.dataset.study);
  if (focused) [...cards.querySelectorAll("a, button, summary")].find((each) => nameOf(each) === focused)?.focus();
}

/** What a person would call a control of a card: its words and its study. */
function nameOf(control) {
  return `${control.textContent} ${control.closest("article")?.querySelector("h2").textContent}`;
}

async function fillTakes(details) {
  const place = details.querySelector(".scrolls");
  try {
    const takes = await getJson(`/api/studies/${encodeURIComponent(details.dataset.study)}/takes`);
    const table = made("table");
    const head = table.createTHead().insertRow();
    for (const [label, number] of [["Take", false], ["Setup", false], ["Presses", true], ["Doubtful", true]]) {
      head.append(made("th", { text: label, scope: "col", className: number ? "number" : "" }));
    }
    const body = table.createTBody();
    for (const take of takes) {
      const row = body.insertRow();
      const cell = row.insertCell();
      cell.append(made("a", { text: take.name, href: `/takes/${take.id}` }));
      row.append(made("td", { text: take.setup }));
      row.append(made("td", { className: "number", text: take.measured ? String(take.presses) : "not measured" }));
      row.append(made("td", { className: "number", text: take.measured ? String(take.doubtful) : "" }));
    }
    place.replaceChildren(table);
  } catch (error) {
    place.replaceChildren(made("p", { className: "note bad", text: error.message }));
  }
}

// Writes what is held of a press beside the viewer, into the places the server's page has.
import { after, instant, NONE, number, withU } from "./numbers.js";

const NS = "http://www.w3.org/2000/svg";

export class PressPanel {
  constructor() {
    this.places = new Map([...document.querySelectorAll("[data-shows]")].map((each) => [each.dataset.shows, each]));
    this.reasons = new Map([...document.querySelectorAll("select[name=reason] option[title]")].map((each) => [each.value, each.title]));
  }

  /** Show a press; look and take are told of a candidate's index. */
  show(press, { look, take }) {
    this.#write("number", press.number);
    this.span(press.span);
    this.#write("net", press.net ? withU(press.net) : press.span ? "not known" : NONE);
    this.#write("lamp", instant(press.lamp_on));
    this.#write("response", instant(press.response));
    const verdict = this.places.get("verdict");
    verdict.className = `verdict ${press.verdict}`;
    verdict.textContent = press.reason ? `${press.verdict}: ${press.reason}` : press.verdict;
    const because = this.reasons.get(press.reason) ?? "";
    this.#write("because", because && `${because[0].toUpperCase()}${because.slice(1)}.`);
    this.#budget(press);
    this.#others(press, look, take);
    document.querySelector("select[name=reason]").value = press.reason ?? "";
    document.querySelector("input[name=seen]").value = press.version;
  }

  /** Show a span; under way while a marker moves. */
  span(of, draft = false) {
    const place = this.places.get("span");
    place.textContent = of ? withU(of) : NONE;
    place.classList.toggle("draft", draft);
  }

  together(state, waiting) {
    const { n, doubtful, rejected, sentence } = state.summary;
    this.#write("summary", sentence);
    this.#write("counts", `${n} accepted, ${doubtful} doubtful, ${rejected} rejected`);
    this.#write("waiting", waiting ? `${waiting} of ${state.presses.length} still to look at` : "every press was looked at");
  }

  /** Show what was said of a press, the latest first. */
  remarks(rows, press) {
    const undone = undoneOf(rows);
    const said = rows.filter((row) => row.press_id === press.id && row.corrects !== null).reverse();
    document.querySelector("[data-part=remarks]").hidden = said.length === 0;
    this.places.get("remarks").replaceChildren(...said.map((row) => remark(row, undone.has(row.id))));
  }

  #write(name, text) {
    const place = this.places.get(name);
    if (place.textContent !== String(text)) place.textContent = text;
  }

  #budget(press) {
    const terms = [...press.budget].sort((one, other) => other.u_ms - one.u_ms);
    const whole = press.span?.u_ms || 0;
    this.places.get("budget").replaceChildren(...terms.map((term) => budgetRow(term, whole)));
  }

  #others(press, look, take) {
    document.querySelector("[data-part=others]").hidden = press.candidates.length === 0;
    const lines = press.candidates.map((other, k) => {
      const line = document.createElement("li");
      line.append(
        `${after(1e3 * (other.at_s - press.lamp_on.at_s))}, ${other.source}`,
        button(`look`, `${k + 1}`, () => look(k)),
        button("take it", null, () => take(k)),
      );
      return line;
    });
    this.places.get("others").replaceChildren(...lines);
  }
}

/** Return the keys of the corrections that were taken back and not brought back since. */
function undoneOf(rows) {
  const by = new Map(rows.map((row) => [row.id, row]));
  const undone = new Set();
  for (const row of rows) {
    if (row.undoes === null) continue;
    const twice = by.get(row.undoes)?.undoes ?? null;
    if (twice === null) undone.add(row.undoes);
    else undone.delete(twice);
  }
  return undone;
}

function remark(row, undone) {
  const line = document.createElement("li");
  line.classList.toggle("undone", undone);
  const moved = row.corrects === "verdict" ? "" : row.to ? `${row.corrects} at ${number(row.to.at_s, 4)} s` : "no response";
  const held = row.verdict ? row.verdict + (row.reason ? `: ${row.reason}` : "") : "";
  const who = document.createElement("span");
  who.className = "quiet";
  const when = row.made_at.slice(0, 16).replace("T", " ");
  who.textContent = ` ${row.by}, ${when}${undone ? ", undone" : ""}`;
  line.append([moved, held].filter(Boolean).join(", ") + (row.why ? `: “${row.why}”` : ""), who);
  return line;
}

function budgetRow(term, whole) {
  const row = document.createElement("tr");
  const name = document.createElement("th");
  name.scope = "row";
  name.textContent = term.name;
  if (term.shared) {
    const shared = document.createElement("span");
    shared.className = "quiet";
    shared.textContent = " (all presses)";
    name.append(shared);
  }
  const bar = document.createElementNS(NS, "svg");
  bar.setAttribute("viewBox", "0 0 100 8");
  bar.setAttribute("preserveAspectRatio", "none");
  bar.setAttribute("aria-hidden", "true");
  const fill = document.createElementNS(NS, "rect");
  fill.setAttribute("width", whole ? ((100 * term.u_ms) / whole).toFixed(1) : "0");
  fill.setAttribute("height", "8");
  bar.append(fill);
  const drawn = document.createElement("td");
  drawn.append(bar);
  const value = document.createElement("td");
  value.className = "number";
  value.textContent = `${number(term.u_ms, 2)} ms`;
  row.append(name, drawn, value);
  return row;
}

function button(words, key, does) {
  const made = document.createElement("button");
  made.type = "button";
  made.append(words);
  if (key) {
    const shown = document.createElement("kbd");
    shown.textContent = key;
    made.append(" ", shown);
  }
  made.addEventListener("click", does);
  return made;
}

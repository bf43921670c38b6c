// Strips of frames around lamp-on and around the response, each frame a button that goes there.
import { after } from "./numbers.js";
import { drawPart } from "./viewer.js";

const BEFORE = 2;
const AFTER = 3;
const WIDE = 4; // frames from one to the next where there is no onset to be precise about

export class Strip {
  constructor(place, box, seek) {
    this.place = place;
    this.cells = place.querySelector(".cells");
    this.box = box;
    this.seek = seek;
    this.frames = [];
  }

  /** Show the frames around the one that shows the onset first; where there is none, about `instead`. */
  show(onset, instead, count, msAfter) {
    const { answered, unanswered } = this.place.dataset;
    if (answered) this.place.querySelector(".key").textContent = onset === null ? unanswered : answered;
    const step = onset === null ? WIDE : 1;
    const first = Math.max(0, Math.min((onset ?? instead) - BEFORE * step, count - (BEFORE + AFTER) * step - 1));
    this.frames = [];
    for (let k = 0; k <= BEFORE + AFTER && first + k * step < count; k += 1) this.frames.push(first + k * step);
    this.buttons = this.frames.map((frame) => this.#cell(frame, frame === onset, msAfter(frame)));
    this.cells.replaceChildren(...this.buttons);
  }

  /** Draw a frame that has arrived, where it is one of the strip. */
  draw(frame, bitmap) {
    const at = this.frames.indexOf(frame);
    if (at < 0) return;
    const canvas = this.buttons[at].querySelector("canvas");
    const dense = window.devicePixelRatio || 1;
    canvas.width = Math.max(1, Math.round(canvas.clientWidth * dense));
    canvas.height = Math.round(canvas.width * Math.min(1, this.box[3] / this.box[2]));
    drawPart(canvas, bitmap, this.box);
  }

  at(frame) {
    this.frames.forEach((each, k) => {
      if (each === frame) this.buttons[k].setAttribute("aria-current", "true");
      else this.buttons[k].removeAttribute("aria-current");
    });
  }

  #cell(frame, onset, ms) {
    const button = document.createElement("button");
    button.type = "button";
    button.classList.toggle("onset", onset);
    const canvas = document.createElement("canvas");
    canvas.width = 80;
    canvas.height = Math.round(80 * Math.min(1, this.box[3] / this.box[2]));
    const told = document.createElement("span");
    told.className = "small figure";
    told.textContent = after(ms).replace(" ms", "");
    button.append(canvas, told);
    button.setAttribute("aria-label", `Frame ${frame}, ${after(ms)} from lamp-on${onset ? ", the first that shows it" : ""}`);
    button.addEventListener("click", () => this.seek(frame));
    return button;
  }
}

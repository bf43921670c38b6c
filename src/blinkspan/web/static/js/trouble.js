// Says plainly what is wrong, and finds out by itself when the program answers again.

const LOOK_MS = 4000;
const LOOK_AWAY_MS = 1000;
const AWAY =
  "The program does not answer. It may have been ended: start it again on the same port. What was saved is safe; what is not yet saved is sent as soon as it answers.";
const ALIVE = "/static/mark.svg";

export class Trouble {
  /** returned() is called once the program answers again after it was away. */
  constructor(place, returned) {
    this.place = place;
    this.returned = returned;
    this.gone = false;
    this.#look();
  }

  /** Tell something; onward, if given, is a button's words and deed. */
  tell(words, onward = null) {
    this.gone = false;
    this.#show(words, [onward, { words: "Close this", does: () => {} }].filter(Boolean));
  }

  away() {
    if (this.gone) return;
    this.gone = true;
    this.#show(AWAY, []);
  }

  back() {
    if (!this.gone) return;
    this.gone = false;
    this.place.hidden = true;
    Promise.resolve(this.returned()).catch(() => this.away());
  }

  #show(words, buttons) {
    const made = buttons.map(({ words: said, does }) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = said;
      button.addEventListener("click", () => {
        this.place.hidden = true;
        does();
      });
      return button;
    });
    const text = document.createElement("span");
    text.textContent = words;
    this.place.replaceChildren(text, ...made);
    this.place.hidden = false;
  }

  async #look() {
    for (;;) {
      await new Promise((resolve) => setTimeout(resolve, this.gone ? LOOK_AWAY_MS : LOOK_MS));
      try {
        await fetch(ALIVE, { method: "HEAD", cache: "no-store" });
        this.back();
      } catch {
        this.away();
      }
    }
  }
}

// Saves what a person says, one thing after the other, each against the version that was seen.
//
// Where the program is away the saving waits and tries again: the version goes
// with it, so that nothing can be kept twice. Where somebody else corrected the
// same press meanwhile it is refused, and the press is shown as it stands now.
import { getJson, sendJson } from "./api.js";
import { person } from "./person.js";

const AGAIN_MS = 1000;

export class Corrections {
  /**
   * changed(before, now, saved) is told of every new state, saved being the press that was
   * corrected or null; refused(words, press) of what was not kept; away() and back() of
   * the program's absence; saving(count, kept) of how much is still
   * to be saved, and whether the last thing was kept.
   */
  constructor(take, tell) {
    this.path = `/api/takes/${take}`;
    this.tell = tell;
    this.state = null;
    this.chain = Promise.resolve();
    this.left = 0;
    this.newer = new Map(); // a version that our own saving replaced: by which
  }

  async load() {
    const before = this.state;
    this.state = await getJson(`${this.path}/presses`);
    if (before) this.tell.changed(before, this.state, null);
    return this.state;
  }

  press(number) {
    return this.state.presses.find((each) => each.number === number) ?? null;
  }

  /** Say something of a press as it is seen now. */
  correct(press, said) {
    const body = { by: person(), ...said };
    return this.#add(press, async () => {
      const seen = `${press.id} ${press.version}`;
      const version = this.#newest(seen);
      const now = await sendJson(`${this.path}/presses/${press.id}/corrections`, body, { version });
      const after = now.presses.find((each) => each.id === press.id);
      if (after) this.newer.set(`${press.id} ${version}`, after.version);
      return now;
    });
  }

  /** Undo or redo in the take; name is the step's. */
  step(name) {
    return this.#add(null, () => {
      const body = { by: person() };
      return sendJson(`${this.path}/${name}`, body, { version: this.state.take.version });
    });
  }

  #newest(seen) {
    const [id] = seen.split(" ");
    let version = seen.slice(id.length + 1);
    while (this.newer.has(`${id} ${version}`)) version = this.newer.get(`${id} ${version}`);
    return version;
  }

  #add(press, send) {
    this.left += 1;
    this.tell.saving(this.left, true);
    this.chain = this.chain.then(async () => {
      const kept = await this.#keep(press, send);
      this.left -= 1;
      this.tell.saving(this.left, kept);
    });
    return this.chain;
  }

  /** Return whether it was kept, in the end. */
  async #keep(press, send) {
    for (;;) {
      let now;
      try {
        now = await send();
      } catch (error) {
        if (error.status !== 0) {
          await this.load().catch(() => {});
          this.tell.refused(error.message, press);
          return false;
        }
        this.tell.away();
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
        continue;
      }
      const before = this.state;
      this.state = now;
      this.tell.back();
      this.tell.changed(before, now, press);
      return true;
    }
  }
}

// The keys of the bench, once: what they do and how the help tells of them.

// name of the deed, keys as KeyboardEvent.key (or .code after "@"), how shown, what it does;
// "held" where holding the key down may repeat it
export const KEYS = [
  ["back", ["ArrowLeft"], "←", "one frame back", "held"],
  ["on", ["ArrowRight"], "→", "one frame on", "held"],
  ["back-ten", ["Shift+ArrowLeft"], "Shift ←", "ten frames back", "held"],
  ["on-ten", ["Shift+ArrowRight"], "Shift →", "ten frames on", "held"],
  ["to-lamp", ["l"], "l", "go to lamp-on"],
  ["to-response", ["r"], "r", "go to the response"],
  ["mark-lamp", ["Shift+l"], "Shift l", "the lamp goes on in the frame shown"],
  ["mark-response", ["Shift+r"], "Shift r", "the response begins in the frame shown"],
  ["no-response", ["o"], "o", "there is no response"],
  ["tenth-earlier", ["@Comma"], ",", "marker a tenth of a frame earlier", "held"],
  ["tenth-later", ["@Period"], ".", "marker a tenth of a frame later", "held"],
  ["frame-earlier", ["Shift+@Comma"], "Shift ,", "marker a frame earlier", "held"],
  ["frame-later", ["Shift+@Period"], "Shift .", "marker a frame later", "held"],
  ["marker", ["m"], "m", "change which marker moves"],
  ["other", ["1", "2", "3", "4", "5", "6"], "1 … 6", "look at another candidate; again: take it"],
  ["accepted", ["a"], "a", "accept, and go on to the next in doubt"],
  ["rejected", ["x"], "x", "reject, and go on"],
  ["doubtful", ["d"], "d", "leave in doubt, and go on"],
  ["next", ["n"], "n", "next in doubt"],
  ["previous", ["p"], "p", "back to the one before"],
  ["undo", ["z", "Ctrl+z"], "z", "undo the last correction"],
  ["redo", ["y", "Ctrl+y", "Ctrl+Shift+z"], "y", "bring it back"],
  ["to-note", ["t"], "t", "write a note; Esc leaves it"],
  ["view", ["v"], "v", "frame, before, after, difference"],
  ["zoom-in", ["+", "=", "Shift++"], "+", "closer", "held"],
  ["zoom-out", ["-"], "−", "farther", "held"],
  ["fit", ["f"], "f", "whole picture, watched part, lamp"],
  ["pan-left", ["Ctrl+ArrowLeft"], "Ctrl ←", "move the picture, and so →, ↑, ↓", "held"],
  ["pan-right", ["Ctrl+ArrowRight"], null, null, "held"],
  ["pan-up", ["Ctrl+ArrowUp"], null, null, "held"],
  ["pan-down", ["Ctrl+ArrowDown"], null, null, "held"],
  ["wider", ["w"], "w", "more time in the traces"],
  ["help", ["?", "Shift+?", "h"], "?", "these keys"],
];

/** Call deeds by their keys, except where a person writes or a dialog is open. */
export function listen(deeds) {
  const byKey = new Map(KEYS.flatMap(([deed, keys, , , held]) => keys.map((key) => [key, { deed, held }])));
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.metaKey || event.isComposing || document.querySelector("dialog[open]")) return;
    if (event.target.matches("input:not([type=radio]), select, textarea")) {
      if (event.key === "Escape") event.target.blur();
      return;
    }
    const with_ = `${event.ctrlKey ? "Ctrl+" : ""}${event.shiftKey ? "Shift+" : ""}`;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const found = byKey.get(with_ + key) ?? byKey.get(`${with_}@${event.code}`);
    if (!found) return;
    event.preventDefault();
    if (event.repeat && !found.held) return;
    deeds[found.deed](key);
  });
}

/** Write the keys into the help. */
export function list(place) {
  for (const [, , shown, does] of KEYS) {
    if (!shown) continue;
    const line = document.createElement("p");
    const which = document.createElement("span");
    which.className = "which";
    const parts = shown.split(" ").map((each) => {
      const key = document.createElement(each === "…" ? "span" : "kbd");
      key.textContent = each;
      return key;
    });
    which.append(...parts.flatMap((part, k) => (k ? [" ", part] : [part])));
    line.append(which, does);
    place.append(line);
  }
}

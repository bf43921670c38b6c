// A chart of presses is one stop of the Tab key; the arrow keys go from dot to dot within it.

const STEPS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const SIDEWAYS = 3; // a dot so many times farther off the way is as far as one on the way

for (const chart of document.querySelectorAll("svg.dots")) {
  const dots = [...chart.querySelectorAll("a")];
  if (dots.length) walk(chart, dots);
}

function walk(chart, dots) {
  let here = dots[0];
  for (const dot of dots) dot.setAttribute("tabindex", dot === here ? "0" : "-1");
  chart.addEventListener("focusin", (event) => {
    here.setAttribute("tabindex", "-1");
    here = event.target.closest("a") ?? here;
    here.setAttribute("tabindex", "0");
  });
  chart.addEventListener("keydown", (event) => {
    const way = STEPS[event.key];
    if (!way || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    event.stopPropagation();
    nearest(here, dots, way)?.focus();
  });
}

/** Return the dot that lies next that way, or null where none does. */
function nearest(from, dots, [right, down]) {
  const [x, y] = placeOf(from);
  let best = null;
  let least = Infinity;
  for (const dot of dots) {
    const [dx, dy] = [placeOf(dot)[0] - x, placeOf(dot)[1] - y];
    const along = dx * right + dy * down;
    const far = along + SIDEWAYS * Math.abs(dx * down + dy * right);
    if (dot !== from && along > 0 && far < least) [best, least] = [dot, far];
  }
  return best;
}

function placeOf(dot) {
  const circle = dot.querySelector("circle");
  return [Number(circle.getAttribute("cx")), Number(circle.getAttribute("cy"))];
}

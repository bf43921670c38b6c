// Draws a trace over the whole of a small SVG, lowest value at the foot.

const NS = "http://www.w3.org/2000/svg";
const WIDTH = 1000;
const HEIGHT = 90;
const MARGIN = 6;

/** Return the lowest and highest value and how many seconds are shown, after drawing. */
export function drawTrace(svg, values, start_s) {
  let low = Infinity;
  let high = -Infinity;
  for (const value of values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  const seconds = start_s[start_s.length - 1] - start_s[0];
  const up = (HEIGHT - 2 * MARGIN) / Math.max(high - low, 1e-6);
  const along = WIDTH / Math.max(seconds, 1e-9);
  const places = [];
  for (let at = 0; at < values.length; at += 1) {
    const x = (start_s[at] - start_s[0]) * along;
    places.push(`${x.toFixed(1)} ${(HEIGHT - MARGIN - (values[at] - low) * up).toFixed(1)}`);
  }
  let path = svg.querySelector("path");
  if (!path) {
    path = document.createElementNS(NS, "path");
    svg.append(path);
  }
  path.setAttribute("d", `M${places.join("L")}`);
  return { low, high, seconds };
}

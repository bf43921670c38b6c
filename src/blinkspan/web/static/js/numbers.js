// Numbers as text, in the words that the pages from the server use.

export const NONE = "–";

export function number(value, digits = 1) {
  if (value === null || value === undefined) return NONE;
  const text = Math.abs(value).toFixed(digits);
  return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

export function withU(of) {
  if (of === null) return NONE;
  const digits = digitsFor(of.u_ms);
  return `${number(of.ms, digits)} ± ${number(of.u_ms, digits)} ms`;
}

export function instant(of) {
  return of === null ? "none" : `${number(of.at_s, 4)} s ± ${number(of.u_ms, digitsFor(of.u_ms))} ms`;
}

export function after(ms) {
  return `${Number(ms.toFixed(1)) > 0 ? "+" : ""}${number(ms)} ms`;
}

/** Two decimals where one would show no doubt at all. */
function digitsFor(u_ms) {
  return u_ms > 0 && u_ms < 0.1 ? 2 : 1;
}

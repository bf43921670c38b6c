// The list of presses: the arrow keys go from press to press, n opens the most doubtful.

const links = [...document.querySelectorAll(".press-table tbody a")];

document.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  if (event.target.matches("input, select, textarea")) return;
  if (event.key === "n") {
    document.querySelector("#first")?.click();
    return;
  }
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!step || !links.length) return;
  const here = links.indexOf(document.activeElement);
  const next = here < 0 ? 0 : Math.min(links.length - 1, Math.max(0, here + step));
  links[next].focus();
  event.preventDefault();
});

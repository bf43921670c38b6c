// Sets the theme before anything is painted; not a module, since those run after the page is read.
(() => {
  let kept = null;
  try {
    kept = localStorage.getItem("blinkspan-theme");
  } catch {
    // a browser without storage follows the system
  }
  if (kept === "light" || kept === "dark") {
    document.documentElement.dataset.theme = kept;
  }
})();

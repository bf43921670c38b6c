// Works out how many presses would decide without leaving the page; the link does the same alone.
import { ask } from "./api.js";

const link = document.querySelector("[data-outlook]");
link?.addEventListener("click", async (event) => {
  event.preventDefault();
  const status = link.parentElement.querySelector("[role=status]");
  if (link.getAttribute("aria-disabled")) return;
  link.setAttribute("aria-disabled", "true");
  status.textContent = "Working it out: this takes some seconds…";
  try {
    const text = await (await ask(link.href)).text();
    const fresh = new DOMParser().parseFromString(text, "text/html");
    const before = document.querySelector("section[aria-labelledby=answers]");
    before.replaceWith(fresh.querySelector("section[aria-labelledby=answers]"));
    document.querySelector("#outlook").remove();
    const first = document.querySelector(".outlook");
    if (first) {
      first.tabIndex = -1;
      first.focus();
    }
  } catch (error) {
    link.removeAttribute("aria-disabled");
    status.textContent = error.message;
  }
});

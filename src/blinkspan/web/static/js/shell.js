// What every page has: the switch between light and dark, and the name that corrections carry.
import { keepPerson, person } from "./person.js";

const theme = document.querySelector("#theme");
theme.value = document.documentElement.dataset.theme ?? "system";
theme.addEventListener("change", () => {
  const chosen = theme.value;
  if (chosen === "system") {
    delete document.documentElement.dataset.theme;
    localStorage.removeItem("blinkspan-theme");
  } else {
    document.documentElement.dataset.theme = chosen;
    localStorage.setItem("blinkspan-theme", chosen);
  }
  document.dispatchEvent(new CustomEvent("themechange"));
});

const name = document.querySelector("#person");
name.value = person();
name.addEventListener("change", () => {
  keepPerson(name.value);
  name.value = person();
});

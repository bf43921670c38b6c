// Whose name corrections carry: what was typed here last, or else the account's name.

const KEY = "blinkspan-person";

export function person() {
  return localStorage.getItem(KEY) || document.body.dataset.person;
}

export function keepPerson(name) {
  if (name.trim()) {
    localStorage.setItem(KEY, name.trim());
  } else {
    localStorage.removeItem(KEY);
  }
}

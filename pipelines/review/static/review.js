// Keys for the buttons and links that show them; without this script the page works by pressing them.
// Reads data-key, data-focus and data-keys from the page. Makes no request of its own but for the next case's pictures.
"use strict";

const READY_MS = 200; // a key held or pressed twice must not decide a case that nobody has seen yet
let ready = false;
let sent = false;

window.addEventListener("load", () => {
  setTimeout(() => { ready = true; document.body.dataset.ready = "yes"; }, READY_MS);
  const ahead = document.body.dataset.ahead;
  for (const address of ahead ? ahead.split(" ") : []) {
    new Image().src = address;
  }
});

// A page that comes back from the browser's memory takes keys again.
window.addEventListener("pageshow", () => { sent = false; });

document.addEventListener("submit", (event) => {
  if (sent) {
    event.preventDefault();
  }
  sent = true;
});

document.addEventListener("keydown", (event) => {
  const target = event.target;
  const typing = target.matches("input");
  if (event.key === "Escape" && typing) {
    target.blur();
    return;
  }
  if (document.body.dataset.keys !== "on" || event.repeat || event.ctrlKey || event.altKey || event.metaKey) {
    return;
  }
  if (typing || (event.key === "Enter" && target.matches("button, a"))) {
    return; // the browser's own meaning of the key
  }
  if (!ready || sent) {
    return;
  }
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  for (const element of document.querySelectorAll("[data-key], [data-focus]")) {
    if (element.dataset.key === key) {
      event.preventDefault();
      element.click();
      return;
    }
    if (element.dataset.focus === key) {
      event.preventDefault();
      element.focus();
      element.select();
      return;
    }
  }
});

"use strict";
// Everything works without this. It opens what is folded away before printing, and stops a form being sent twice.
addEventListener("beforeprint", () => {
  for (const folded of document.querySelectorAll("details.more:not([open])")) {
    folded.open = true;
    folded.dataset.printed = "";
  }
});
addEventListener("afterprint", () => {
  for (const unfolded of document.querySelectorAll("details[data-printed]")) {
    unfolded.open = false;
    delete unfolded.dataset.printed;
  }
});
addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if ("sent" in form.dataset) event.preventDefault();
  form.dataset.sent = "";
});
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

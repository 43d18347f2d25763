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
// In a list of rows with one link each, the arrow keys go from row to row.
addEventListener("keydown", (event) => {
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  const list = event.target.closest?.("[data-rows]");
  if (!step || !list || !event.target.matches("a")) return;
  const links = [...list.querySelectorAll("a[data-row]")];
  const next = links[links.indexOf(event.target) + step];
  if (!next) return;
  event.preventDefault();
  next.focus();
});
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

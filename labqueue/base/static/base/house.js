/* The few things that a page cannot do without a script. Everything else works when this file is missing. */

"use strict";

const notice = () => document.getElementById("notice");

/* A line in the notice area, as text: nothing that came from outside becomes markup. */
function say(word, message) {
  const line = document.createElement("div");
  const strong = document.createElement("strong");
  line.className = "notice tone-late";
  strong.textContent = word;
  line.append(strong, document.createTextNode(" " + message));
  notice().replaceChildren(line);
  notice().scrollIntoView({ block: "nearest" });
}

/* A live part is not replaced while somebody works in it, reads it by selection, or nobody sees it. */
function inUse(part) {
  const selection = document.getSelection();
  const selects = selection && !selection.isCollapsed && part.contains(selection.anchorNode);
  return document.hidden || selects || part.contains(document.activeElement);
}

/* A scan field is emptied when its line goes out, so that the next scan may already be typed; and filled again
   if the line did not arrive. */
function empty(form) {
  for (const field of form.querySelectorAll("[data-refocus]")) {
    field.dataset.sent = field.value;
    field.value = "";
  }
}

function restore(form) {
  for (const field of form.querySelectorAll("[data-refocus]")) field.value ||= field.dataset.sent || "";
}

function refocus() {
  const field = document.querySelector("[data-refocus]");
  if (field && (document.activeElement === document.body || document.activeElement?.closest("form")?.contains(field))) {
    field.focus();
  }
}

document.addEventListener("htmx:beforeRequest", (event) => {
  const source = event.detail.elt;
  if (source.matches("[data-live]") && inUse(source)) event.preventDefault();
  else if (source.matches("form")) empty(source);
});

/* The sign-in ran out: its page must not land inside a part of another one. */
document.addEventListener("htmx:beforeSwap", (event) => {
  const answered = new URL(event.detail.xhr.responseURL, location.href).pathname;
  if (answered !== document.body.dataset.signIn) return;
  event.detail.shouldSwap = false;
  location.reload();
});

document.addEventListener("htmx:afterSettle", () => {
  refocus();
  if (notice().childElementCount) notice().scrollIntoView({ block: "nearest" });
});

document.addEventListener("htmx:sendError", (event) => {
  restore(event.detail.elt);
  say("No connection.", "The service cannot be reached. What you sent was not taken; send it again.");
});

document.addEventListener("htmx:responseError", (event) => {
  if (event.detail.xhr.status < 500) return;
  restore(event.detail.elt);
  say("Not done.", "The service failed. Nothing was written; try again.");
});

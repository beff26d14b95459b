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
  show();
}

function show() {
  if (notice().childElementCount) notice().scrollIntoView({ block: "nearest" });
}

/* ---- live parts ---- */

/* A live part is not replaced while somebody works in it, reads it by selection, or nobody sees it. */
function inUse(part) {
  const selection = document.getSelection();
  const selects = selection && !selection.isCollapsed && part.contains(selection.anchorNode);
  return document.hidden || selects || part.contains(document.activeElement);
}

document.addEventListener("htmx:beforeRequest", (event) => {
  if (event.detail.elt.matches("[data-live]") && inUse(event.detail.elt)) event.preventDefault();
});

/* ---- scan fields: a line leaves the field at once, so that the next one can be typed while the first is on its way ---- */

const lines = new WeakMap(); /* form -> lines that wait for their turn */
const unanswered = []; /* lines that went out and got no answer */

const scanField = (element) => element.querySelector?.("[data-refocus]");

document.addEventListener("submit", (event) => {
  const form = event.target;
  const field = scanField(form);
  if (!field || !form.hasAttribute("hx-post")) return;
  form.noValidate = true; /* the browser has validated; htmx would ask the emptied field again */
  if (!lines.has(form)) lines.set(form, []);
  lines.get(form).push(field.value);
  field.value = "";
}, true);

document.addEventListener("htmx:configRequest", (event) => {
  const field = scanField(event.detail.elt);
  const waiting = lines.get(event.detail.elt);
  if (!field || !waiting?.length) return;
  event.detail.elt.dataset.sent = waiting.shift();
  event.detail.parameters[field.name] = event.detail.elt.dataset.sent;
});

document.addEventListener("htmx:afterSettle", () => {
  const field = document.querySelector("[data-refocus]");
  const focused = document.activeElement;
  if (field && (!focused || focused === document.body || focused.form === field.form)) field.focus();
});

/* What a scanner types while nothing has the focus goes into the scan field, from its first character on. */
document.addEventListener("keydown", (event) => {
  const field = document.querySelector("[data-refocus]");
  const nowhere = [document.body, document.getElementById("main"), null].includes(document.activeElement);
  const types = event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.metaKey && !event.altKey;
  if (field && nowhere && types) field.focus();
});

/* ---- answers that are none ---- */

function unsent(element, word, message) {
  if (element.dataset.sent) unanswered.push(element.dataset.sent);
  const again = unanswered.length ? ` Scan again: ${unanswered.join(", ")}. The same scan counts once.` : "";
  say(word, message + again);
}

document.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.successful && scanField(event.detail.elt)) unanswered.length = 0;
});

for (const name of ["htmx:sendError", "htmx:timeout"]) {
  document.addEventListener(name, (event) => {
    unsent(event.detail.elt, "No answer.", "The service cannot be reached.");
  });
}

document.addEventListener("htmx:responseError", (event) => {
  if (event.detail.xhr.status >= 500) unsent(event.detail.elt, "Not done.", "The service failed; nothing was written.");
});

/* A whole page must not land inside a part of another one: the sign-in that ran out, or what is no longer there. */
document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr, elt } = event.detail;
  const signIn = new URL(xhr.responseURL, location.href).pathname === document.body.dataset.signIn;
  const refused = xhr.status >= 400 && !elt.closest("[hx-select]") && /^\s*<!doctype/i.test(xhr.responseText);
  if (signIn || refused) event.detail.shouldSwap = false;
  if (signIn) location.reload();
  else if (refused && xhr.status < 500) say("Not done.", "This page is out of date; load it again.");
});

document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target === notice()) show();
});

document.addEventListener("htmx:oobAfterSwap", (event) => {
  if (event.detail.target === notice()) show();
});

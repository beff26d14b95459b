/* Each line of the scan field goes out under a key of its own; a line that got no answer keeps its key until it gets
   one, so that scanning it again counts once. */

"use strict";

const keys = new Map(); /* line -> key, while there is no answer */

function freshKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40; /* version 4 */
  bytes[8] = (bytes[8] & 0x3f) | 0x80; /* of RFC 9562 */
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

document.addEventListener("htmx:configRequest", (event) => {
  const { elt, parameters } = event.detail;
  if (!elt.matches("form.scan")) return;
  if (!keys.has(parameters.line)) keys.set(parameters.line, freshKey());
  parameters.key = keys.get(parameters.line);
  elt.dataset.line = parameters.line;
});

document.addEventListener("htmx:afterRequest", (event) => {
  const { elt, xhr } = event.detail;
  if (elt.matches("form.scan") && xhr.status >= 200 && xhr.status < 500) keys.delete(elt.dataset.line);
});

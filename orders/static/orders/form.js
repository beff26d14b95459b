// The order form: shows what the product and the answers need, and keeps chart and typed tooth alike.
// Without it everything is shown, and the server says the same.
"use strict";

(() => {
  const form = document.getElementById("order");
  if (!form) return;
  const kinds = { abutment_crown: ["abutment", "crown"], abutment: ["abutment"], crown: ["crown"], screw_crown: ["screw_crown"] };
  const chosen = (root, name) => {
    const field = [...root.querySelectorAll(`[name$="${name}"]`)].find((one) => one.type !== "radio" || one.checked);
    return field ? field.value : "";
  };

  function show() {
    for (const tooth of form.querySelectorAll("[data-tooth]")) {
      const made = kinds[chosen(tooth, "-product")] || [];
      for (const part of tooth.querySelectorAll("[data-for]")) {
        part.hidden = !part.dataset.for.split(" ").some((kind) => made.includes(kind));
      }
    }
    for (const part of form.querySelectorAll("[data-when]")) {
      const [name, values] = part.dataset.when.split("=");
      part.hidden = !values.split(" ").includes(chosen(form, name));
    }
  }

  function mirror(field) {
    const tooth = field.closest("[data-tooth]");
    if (!tooth) return;
    const typed = tooth.querySelector('[name$="-tooth"]');
    const notation = tooth.querySelector('[name$="-notation"]');
    const own = [...notation.options].find((one) => one.defaultSelected) || notation.selectedOptions[0];
    if (field.name.endsWith("-chart")) {
      typed.value = field.dataset.sign;
      notation.value = own.value;
    } else if (field === typed || field === notation) {
      const sign = notation.value === own.value ? typed.value.trim().toUpperCase() : "";
      for (const place of tooth.querySelectorAll('[name$="-chart"]')) place.checked = place.dataset.sign === sign;
    }
  }

  // A reason that is being typed while the check answers stays as it is.
  const reasons = () => form.querySelectorAll("#findings input");
  let typed = [];
  form.addEventListener("htmx:beforeSwap", () => {
    typed = [...reasons()].map((one) => [one.id, one.value]);
  });
  form.addEventListener("htmx:afterSwap", () => {
    for (const [id, value] of typed) [...reasons()].filter((one) => one.id === id).forEach((one) => (one.value = value));
  });

  form.addEventListener("change", (event) => {
    mirror(event.target);
    show();
  });
  show();
})();

"use strict";
/** The big keys below the box. */

function makeKeys(input, changed) {
  /** Put signs where the caret is. */
  function put(signs) {
    const [from, to] = [input.selectionStart ?? input.value.length, input.selectionEnd ?? input.value.length];
    input.value = input.value.slice(0, from) + signs + input.value.slice(to);
    input.setSelectionRange(from + signs.length, from + signs.length);
  }

  function back() {
    const [from, to] = [input.selectionStart, input.selectionEnd];
    if (from !== to) { put(""); return; }
    if (from === 0) return;
    input.value = input.value.slice(0, from - 1) + input.value.slice(to);
    input.setSelectionRange(from - 1, from - 1);
  }

  document.querySelectorAll("[data-key], [data-part]").forEach((button) => {
    button.addEventListener("pointerdown", (event) => event.preventDefault()); // the caret stays
    button.addEventListener("click", () => {
      const { key, part } = button.dataset;
      if (part) {
        input.value = withFraction(input.value, part);
        input.setSelectionRange(input.value.length, input.value.length);
      } else if (key === "back") back();
      else if (key === "clear") input.value = "";
      else put(key);
      changed();
    });
  });
}

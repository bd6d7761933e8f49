// <input data-steps>: minutes and times by −5 −1 +1 +5, for a hand in a glove.
(() => {
  const step = (input, by) => {
    const now = Number.parseFloat(input.value) || 0;
    input.value = Math.max(now + by, 0) || "";
  };
  const button = (input, by) => {
    const element = document.createElement("button");
    element.type = "button";
    element.textContent = by < 0 ? `−${-by}` : `+${by}`;
    element.addEventListener("click", () => step(input, by));
    return element;
  };
  const dress = (root) => {
    for (const input of root.querySelectorAll("input[data-steps]")) {
      if (input.closest(".steps")) continue;
      const box = document.createElement("div");
      box.className = "steps";
      input.replaceWith(box);
      box.append(...[-5, -1].map((by) => button(input, by)));
      box.append(input, ...[1, 5].map((by) => button(input, by)));
    }
  };
  document.addEventListener("htmx:load", (event) => dress(event.target));
  dress(document);
})();

// <input data-steps>: minutes and times by −5 −1 +1 +5, for a hand in a glove.
(() => {
  const step = (input, by) => {
    const now = Number.parseInt(input.value, 10) || 0;
    input.value = Math.max(now + by, 0) || "";
    input.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const dress = (root) => {
    for (const input of root.querySelectorAll("input[data-steps]:not(.steps input)")) {
      const box = document.createElement("div");
      box.className = "steps";
      input.replaceWith(box);
      const button = (by) => {
        const element = document.createElement("button");
        element.type = "button";
        element.textContent = by < 0 ? `−${-by}` : `+${by}`;
        element.addEventListener("click", () => step(input, by));
        return element;
      };
      box.append(button(-5), button(-1), input, button(1), button(5));
    }
  };
  document.addEventListener("htmx:load", (event) => dress(event.target));
  dress(document);
})();

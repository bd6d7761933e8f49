// A refresh in place that fails says so in words: what stands on the page may be old.
(() => {
  const say = (words) => {
    const line = document.createElement("p");
    line.className = "message error";
    line.textContent = words;
    document.getElementById("messages")?.replaceChildren(line);
  };
  document.addEventListener("htmx:sendError", () =>
    say("Not done: the server cannot be reached. What you see may be old; try again."),
  );
  document.addEventListener("htmx:responseError", (event) => {
    const status = event.detail.xhr.status;
    say(
      status === 403
        ? "Not done: your role may not do this, or you were signed out. Load the page again."
        : `Not done: the server answered with an error (${status}). Load the page again.`,
    );
  });
})();

// <form data-autosubmit>: a changed choice sends the form; its button is then not
// needed and hides. Without JavaScript the button stays and does the work.
(() => {
  const hideButtons = (root) => {
    for (const button of root.querySelectorAll("form[data-autosubmit] button")) {
      button.hidden = true;
    }
  };
  document.addEventListener("change", (event) => {
    event.target.form?.matches("[data-autosubmit]") &&
      event.target.form.requestSubmit();
  });
  document.addEventListener("htmx:load", (event) => hideButtons(event.target));
  hideButtons(document);
})();

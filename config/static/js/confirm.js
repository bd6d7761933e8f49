// data-confirm="Question?" on a form or on the button that sends it: asks before
// sending. Capture, so that htmx hears of the form only after a yes.
document.addEventListener(
  "submit",
  (event) => {
    const question =
      event.submitter?.dataset.confirm ?? event.target.dataset.confirm;
    if (question && !window.confirm(question)) {
      event.preventDefault();
      event.stopImmediatePropagation();
    }
  },
  true,
);

// <time datetime="…" data-clock="Europe/Berlin">: goes on from the moment the page was
// made, in the plant's zone, whatever clock or zone this device has.
(() => {
  const element = document.querySelector("time[data-clock]");
  if (!element) return;
  const made = Date.parse(element.dateTime);
  const loaded = performance.now();
  const format = new Intl.DateTimeFormat("en-GB", {
    timeZone: element.dataset.clock,
    weekday: "short",
    day: "numeric",
    month: "long",
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
  });
  const show = () => {
    const moment = new Date(made + performance.now() - loaded);
    const part = Object.fromEntries(
      format.formatToParts(moment).map(({ type, value }) => [type, value]),
    );
    element.dateTime = moment.toISOString();
    element.textContent =
      `${part.weekday} ${part.day} ${part.month} ${part.hour}:${part.minute}`;
  };
  setInterval(show, 5000);
})();

// <time datetime="…" data-clock="Europe/Berlin" data-speed="1">: goes on from the moment
// the page was made, in the plant's zone and at the plant's speed (a demo's may be above
// 1), whatever clock or zone this device has.
(() => {
  const element = document.querySelector("time[data-clock]");
  if (!element) return;
  const made = Date.parse(element.dateTime);
  const loaded = performance.now();
  const speed = Number(element.dataset.speed);
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
    const moment = new Date(made + (performance.now() - loaded) * speed);
    const part = Object.fromEntries(
      format.formatToParts(moment).map(({ type, value }) => [type, value]),
    );
    element.dateTime = moment.toISOString();
    element.textContent =
      `${part.weekday} ${part.day} ${part.month} ${part.hour}:${part.minute}`;
  };
  setInterval(show, Math.max(1000, 5000 / speed));
})();

/** @typedef {import("./device.js").DeviceClock} DeviceClock */

const again = 10 * 60 * 1000;

/**
 * Shows UTC as the serving computer knows it, and moves the ball of the mark:
 * it climbs before the minute and drops on it. Where a page measures the device
 * for more than that, the clock is as good as its measure.
 *
 * @param {HTMLTimeElement} place where the time of day stands
 * @param {Element | null} mast the mark
 * @param {DeviceClock} device
 * @returns {() => number} UTC, ms since 1970
 */
export function runClock(place, mast, device) {
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  // Until the first exchange, or without one, as when the page was made.
  const made = Date.parse(place.dateTime) - performance.now();
  const now = () => {
    const utc = device.utcAt(performance.now());
    return Number.isNaN(utc) ? performance.now() + made : utc;
  };

  function show() {
    const at = new Date(now());
    place.textContent = at.toISOString().slice(11, 19);
    place.dateTime = at.toISOString();
    if (mast) {
      mast.classList.toggle("live", !still.matches);
      mast.classList.toggle("up", !still.matches && at.getUTCSeconds() >= 55);
    }
    setTimeout(show, 1000 - (now() % 1000) + 1);
  }

  show();
  device.measure(3);
  setInterval(() => device.measure(3), again);
  return now;
}

/**
 * Shows the time of the computer that serves the page, and moves the ball of
 * the mark: it climbs before the minute and drops on it.
 *
 * The offset of this device is that of the quickest of a few answers, taken at
 * the middle of its way there and back.
 *
 * @param {HTMLTimeElement} place where the time of day stands
 * @param {Element | null} mast the mark
 * @returns {() => number} the time of the serving computer, ms since 1970
 */
export function runClock(place, mast) {
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  let offset = Date.parse(place.dateTime) - performance.now();
  let quickest = Infinity;
  const now = () => performance.now() + offset;

  async function ask() {
    const sent = performance.now();
    try {
      const answer = await fetch(place.dataset.clock ?? "", { cache: "no-store" });
      const text = await answer.text();
      const back = performance.now();
      const theirs = Date.parse(text);
      if (answer.ok && Number.isFinite(theirs) && back - sent < quickest) {
        quickest = back - sent;
        offset = theirs - (sent + back) / 2;
      }
    } catch {
      // The program was stopped; the clock runs on by this device.
    }
  }

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

  async function settle() {
    quickest = Infinity;
    for (let n = 0; n < 3; n++) await ask();
    setTimeout(settle, 10 * 60 * 1000);
  }

  show();
  settle();
  return now;
}

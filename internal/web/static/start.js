import { boundWords } from "./device.js";
import { flashAt, onFrame, Tones } from "./tones.js";

/** @typedef {import("./device.js").DeviceClock} DeviceClock */

// Short tones lead to a longer and higher one, which begins on the instant.
const lead = [5, 4, 3, 2, 1];
const leadTone = { hz: 880, ms: 100 };
const instantTone = { hz: 1320, ms: 500 };
const passedS = 300;
const announced = [60, 30, 10];

/**
 * Counts down to the instant at which a chronometer is set going, with tones
 * and a flash. The section holds [data-left] for the figures, [data-state] for
 * how well the time is known, [data-announce] for a screen reader, a button
 * [data-tones] and, if another element than the figures is to flash, [data-flash].
 * A button [data-going] can be pressed from the instant on. A change of data-instant counts down anew.
 *
 * What was shown and sounded is kept on the element as timeballLog.
 *
 * @param {HTMLElement} section
 * @param {DeviceClock} clock
 */
export function countDown(section, clock) {
  const place = section.querySelector("[data-left]");
  const state = section.querySelector("[data-state]");
  const voice = section.querySelector("[data-announce]");
  const button = section.querySelector("[data-tones]");
  const going = section.querySelector("[data-going]");
  if (!(place instanceof HTMLElement)) return;
  const figures = place;
  voice?.setAttribute("aria-live", "polite");
  // Read out every second they would hinder.
  figures.setAttribute("role", "timer");
  figures.setAttribute("aria-live", "off");

  const tones = new Tones(clock);
  const log = { zeroPerfMs: NaN, flashPerfMs: NaN, tones: tones.log };
  Object.assign(section, { timeballLog: log });
  let instant = NaN;
  let planned = false;
  let silent = false;
  /** @type {(() => void)[]} */
  let takeBack = [];
  let timer = 0;

  const left = () => (instant - clock.utcAt(performance.now())) / 1000;

  function begin() {
    instant = Date.parse(section.dataset.instant ?? "");
    for (const f of takeBack) f();
    tones.cancel();
    planned = false;
    log.zeroPerfMs = log.flashPerfMs = NaN;
    let off = false;
    const due = () => clock.perfAt(instant);
    takeBack = [
      () => { off = true; },
      flashAt(section.querySelector("[data-flash]") ?? figures, instant, clock, (frame) => { log.flashPerfMs = frame; }),
    ];
    // An instant that has passed before the page was opened is not shown as now.
    onFrame(due, () => off || left() < -1, (frame) => {
      log.zeroPerfMs = frame;
      section.classList.add("zero");
      figures.textContent = "0";
    });
    section.classList.remove("zero");
    plan();
    show();
  }

  /** Plans the tones that are still to come. */
  function plan() {
    if (silent || planned || tones.state !== "running" || !(left() > 0.1)) return;
    planned = true;
    for (const s of lead) if (left() > s + 0.1) tones.schedule(instant - 1000 * s, leadTone);
    tones.schedule(instant, instantTone);
  }

  function show() {
    clearTimeout(timer);
    const s = left();
    if (Number.isNaN(s)) {
      figures.textContent = "–:––";
    } else if (s > 0) {
      figures.textContent = figure(Math.ceil(s - 0.005));
      const second = Math.ceil(s - 0.005);
      const words = second === 60 ? "One minute" : `${second} seconds`;
      // Written again it would be read out again.
      if (voice && announced.includes(second) && voice.textContent !== words) voice.textContent = words;
    } else {
      figures.textContent = s > -3 ? "0" : s > -passedS ? `+${clockFigure(Math.floor(-s))}` : "passed";
    }
    figures.classList.toggle("long", (figures.textContent ?? "").length > 5);
    // Long after the instant nobody can say that it was started then.
    const passed = s <= -passedS;
    if (going instanceof HTMLButtonElement) going.disabled = s > 0 || passed;
    const stands = clock.state;
    if (state) {
      state.textContent = [
        ...(passed ? ["the instant has passed: plan it anew"] : []),
        silent ? "tones off" : tones.words,
        stands.measured ? `server ${boundWords(stands.serverBoundS)}, this device ${boundWords(clock.bound())}` : "this device is being compared with the server",
        ...(stands.reached || !stands.measured ? [] : ["no connection: counting on by this device"]),
      ].join(" · ");
    }
    plan();
    // The figures change on the whole second of the count.
    const next = Number.isNaN(s) ? 200 : 1000 * (s - Math.floor(s - 0.001));
    timer = setTimeout(show, Math.min(1000, Math.max(5, next)));
  }

  button?.addEventListener("click", async () => {
    silent = tones.state === "running" && !silent;
    if (silent) {
      tones.cancel();
      planned = false;
    } else {
      await tones.start();
      keepAwake();
    }
    button.textContent = tones.state === "running" && !silent ? "Tones off" : "Tones on";
    show();
  });
  tones.onstate = show;
  clock.addEventListener("change", show);
  new MutationObserver(begin).observe(section, { attributeFilter: ["data-instant"] });
  begin();
}

/**
 * Returns seconds as m:ss, with hours where there are any, and the last ten as
 * they are.
 *
 * @param {number} seconds whole
 */
export function figure(seconds) {
  return seconds <= 10 ? String(seconds) : clockFigure(seconds);
}

/** @param {number} seconds whole @returns {string} m:ss, with hours where there are any */
function clockFigure(seconds) {
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  if (seconds < 3600) return `${Math.floor(seconds / 60)}:${two(seconds % 60)}`;
  return `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
}

/** Keeps the screen on, where the device lets it. */
async function keepAwake() {
  try {
    await navigator.wakeLock?.request("screen");
  } catch {
    // Then the screen may go dark; the tones go on.
  }
}

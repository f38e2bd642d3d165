import { instantOf, nameDevice } from "./device.js";
import { onTap, press } from "./tap.js";
import { onFrame, Tones } from "./tones.js";

/** @typedef {{ sense: string, seen: number[], taps: number[], stop: () => void }} Round of taps; instants in ms of performance.now */

const settle = 4;
const wanted = 30;
const tone = { hz: 880, ms: 40 };

/**
 * Measures how early or late an observer taps on a beat that is seen, heard or
 * both. Where it is heard, a beat stands at the instant it left the device;
 * where it is only seen, at the frame it was shown in. With both, the sound
 * counts, because the ear is followed more closely than the eye (Repp,
 * Psychonomic Bulletin & Review 12, 2005; from memory).
 *
 * The mark has the class "right" on every other beat. The result is not told
 * while tapping, so that nobody taps after it.
 *
 * @param {HTMLElement} section
 */
export function exercise(section) {
  const begin = section.querySelector("[data-begin]");
  const mark = section.querySelector("[data-mark]");
  const place = section.querySelector("[data-pad]");
  const words = section.querySelector("[data-says]");
  const form = section.querySelector("form");
  if (!(begin instanceof HTMLButtonElement) || !(place instanceof HTMLButtonElement) || !form || !mark || !words) return;
  const pad = place;
  const says = words;
  const send = form.querySelector("[data-send], [type=submit]");
  const beatMs = 1000 * Number(section.dataset.beat || 0.5);
  // The beat is this page's own: no UTC is needed.
  const tones = new Tones({ perfAt: (ms) => ms });

  /** @type {Round | null} */
  let round = null;
  allow(false);
  pad.disabled = true;
  pad.style.touchAction = "none";

  begin.addEventListener("click", async () => {
    round?.stop();
    round = null;
    const chosen = section.querySelector("input[name=sense]:checked");
    const sense = chosen instanceof HTMLInputElement ? chosen.value : "seen";
    const heard = sense !== "seen";
    allow(false);
    if (heard && !(await tones.start())) {
      says.textContent = "This device lets no sound out: look at its volume and silent switch, or follow the mark.";
      return;
    }
    tones.cancel();
    tones.log.length = 0;
    let off = false;
    const origin = performance.now() + 1000;
    /** @type {Round} */
    const mine = { sense, seen: [], taps: [], stop: () => { off = true; clearInterval(feeding); tones.cancel(); } };
    round = mine;

    let fed = 0;
    function feed() {
      for (; origin + fed * beatMs < performance.now() + 2000; fed++) if (heard) tones.schedule(origin + fed * beatMs, tone);
    }
    feed();
    const feeding = setInterval(feed, 500);
    /** @param {number} n */
    function beat(n) {
      onFrame(() => origin + n * beatMs, () => off, (frame) => {
        if (sense !== "heard") mark?.classList.toggle("right", n % 2 === 1);
        mine.seen.push(frame);
        beat(Math.max(n + 1, Math.ceil((frame - origin) / beatMs + 0.5)));
      });
    }
    beat(0);
    pad.disabled = false;
    pad.focus({ preventScroll: true });
    progress();
  });

  function progress() {
    if (!round) return;
    const n = round.taps.length;
    says.textContent = n < settle ? `Tap on every beat: ${settle - n} to settle` : `Tap ${n - settle} of ${wanted}`;
  }

  /** @param {Event} event */
  function tap(event) {
    if (!round || round.taps.length >= settle + wanted) return;
    round.taps.push(instantOf(event));
    press(pad);
    progress();
    // The last beat is known a little after it has sounded.
    if (round.taps.length === settle + wanted) setTimeout(finish, 600, round);
  }

  /** @param {Round} done */
  function finish(done) {
    if (done !== round) return;
    const beats = done.sense === "seen" ? done.seen : tones.log.map((t) => t.heardPerfMs).filter((t) => !Number.isNaN(t));
    const lags = lagsOf(done.taps.slice(settle), beats, beatMs);
    done.stop();
    pad.disabled = true;
    round = null;
    if (lags.length < wanted - 3) {
      says.textContent = `Only ${lags.length} taps had a beat beside them; the device was busy or the sound broke off. Begin again.`;
      return;
    }
    put("lags", JSON.stringify(lags));
    put("sense", done.sense === "both" ? "seen and heard" : done.sense);
    allow(true);
    begin.classList.remove("now");
    if (says instanceof HTMLElement) { // not on the button: a late tap would press it
      says.tabIndex = -1;
      says.focus({ preventScroll: true });
    }
    says.textContent = `${lags.length} taps are taken: keep them.`;
  }

  /** @param {string} name @param {string} value */
  function put(name, value) {
    let field = form?.querySelector(`input[type=hidden][name=${name}]`);
    if (!(field instanceof HTMLInputElement)) {
      field = document.createElement("input");
      field.setAttribute("type", "hidden");
      field.setAttribute("name", name);
      form?.append(field);
    }
    field.setAttribute("value", value);
  }

  /** @param {boolean} on */
  function allow(on) {
    if (send instanceof HTMLButtonElement) send.disabled = !on;
  }

  // Comparisons on this device are taken with what was measured on it.
  form.addEventListener("taken", () => {
    const name = form.elements.namedItem("device");
    if (name instanceof HTMLInputElement) nameDevice(name.value);
  });
  onTap(pad, tap);
}

/**
 * Returns each tap less the beat nearest to it, s, + late, in the order made;
 * taps with no beat within half the spacing are left out.
 *
 * @param {number[]} taps ms
 * @param {number[]} beats ms
 * @param {number} beatMs spacing
 */
export function lagsOf(taps, beats, beatMs) {
  return taps.flatMap((tap) => {
    let lag = Infinity;
    for (const beat of beats) if (Math.abs(tap - beat) < Math.abs(lag)) lag = tap - beat;
    return Math.abs(lag) <= beatMs / 2 + 1 ? [Math.round(lag * 10) / 1e4] : [];
  });
}

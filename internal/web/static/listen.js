// Listens to a chronometer from the page.
import { Ear } from "./ear.js";
import { Level } from "./earlevel.js";
import { Line } from "./earline.js";
import { renew, send } from "./earpanel.js";
import { checkTone } from "./eartone.js";

/** @typedef {import("./device.js").DeviceClock} DeviceClock */

const deviceKey = "timeball.microphone";
const shownMs = 100;
const calmMs = 1000; // where less motion is asked for
const leastDB = -60; // the foot of the bar

/**
 * Takes the instant of one tap on the dial: it tells which of the beats it was.
 *
 * @param {HTMLFormElement} form
 * @param {DeviceClock} clock
 */
function oneTap(form, clock) {
  const button = form.querySelector("[data-ear-tap]");
  const says = form.querySelector("[data-ear-tapped]");
  const field = form.elements.namedItem("tap_ms");
  if (!(button instanceof HTMLButtonElement) || !(field instanceof HTMLInputElement)) return;
  button.hidden = false;
  button.addEventListener("pointerdown", tap);
  button.addEventListener("click", (e) => { if (e.detail === 0) tap(e); }); // by the keyboard

  /** @param {Event} e */
  function tap(e) {
    const utc = clock.utcAt(e.timeStamp);
    if (!field || !(field instanceof HTMLInputElement) || !says) return;
    if (!Number.isFinite(utc)) {
      says.textContent = "This device is not yet compared with the standard; tap again in a moment.";
      return;
    }
    field.value = String(utc);
    says.textContent = `Tapped at ${new Date(utc).toISOString().slice(11, 21)} UTC.`;
  }
}

/**
 * Offers to listen with the microphone of this device. The section, hidden until
 * then, names with data-ear-socket where the sound goes, and holds the buttons
 * [data-ear-listen], [data-ear-stop] and [data-ear-tone], a choice
 * select[data-ear-device] in [data-ear-choice], a bar meter[data-ear-level] of 0 to 1, a paragraph
 * [data-ear-says] and [data-ear-panel], whose inside the server makes. Only the
 * first button and the paragraph must be there. [data-ear-keep] elsewhere in the
 * page, such as the forms form[data-ear-form], are shown once it listens.
 * data-ear-channel says which
 * channel is listened to, from 0.
 *
 * @param {HTMLElement} section
 * @param {DeviceClock} clock
 */
export function listen(section, clock) {
  /** @template {Element} E @param {string} name @param {new () => E} kind @returns {E | null} */
  const part = (name, kind) => { const e = section.querySelector(name); return e instanceof kind ? e : null; };
  const begin = part("[data-ear-listen]", HTMLButtonElement);
  const says = part("[data-ear-says]", HTMLElement);
  if (!begin || !says || !section.dataset.earSocket) return;
  const url = section.dataset.earSocket;
  const stop = part("[data-ear-stop]", HTMLButtonElement);
  const tone = part("[data-ear-tone]", HTMLButtonElement);
  const choice = part("[data-ear-device]", HTMLSelectElement);
  const bar = part("[data-ear-level]", HTMLMeterElement);
  const panel = part("[data-ear-panel]", HTMLElement) ?? document.querySelector("[data-ear-panel]");

  const keeping = [...document.querySelectorAll("[data-ear-keep]")].filter((e) => e instanceof HTMLElement);
  const compare = document.querySelector("form[data-ear-compare]");
  if (compare instanceof HTMLFormElement) oneTap(compare, clock);

  const ear = new Ear(clock, { channel: Number(section.dataset.earChannel ?? 0) || 0 });
  /** @type {Line | null} */
  let line = null;
  /** @type {Level | null} */
  let level = null;
  let note = ""; // what the server or the last press of a button says
  let busy = false; // a check tone sounds
  let timer = 0;
  /** @type {WakeLockSentinel | null} */
  let awake = null;

  section.hidden = false;
  says.setAttribute("role", "status");
  // A bar that is read out all the time hinders; what it means is said in words.
  bar?.setAttribute("aria-hidden", "true");

  function show() {
    const loud = ear.on ? level?.words : "";
    const words = [
      ear.on && !ear.words && !line?.words ? `Listening to ${ear.label || "the microphone"}, ${ear.rateHz.toLocaleString("en")} samples a second.` : "",
      ear.words, line?.words ?? "",
      loud === "clipping" ? "Clipping: move the microphone away or turn it down." : loud === "too faint" ? "Too faint: move the microphone nearer or turn it up." : "",
      note,
    ].filter(Boolean).join(" ");
    // Written again it would be read out again.
    if (says && says.textContent !== words) says.textContent = words;
    if (begin) begin.hidden = ear.on;
    if (stop) stop.hidden = !ear.on;
    if (tone) {
      tone.hidden = !ear.on;
      tone.disabled = busy;
    }
    if (choice) choice.disabled = ear.on;
  }

  function showLevel() {
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const every = calm ? calmMs : shownMs;
    if (bar && level) bar.value = Math.min(1, Math.max(0, 1 - (20 * Math.log10(level.last(every / 50).peak || 1e-9)) / leastDB));
    show();
    timer = setTimeout(showLevel, every);
  }

  async function offer() {
    if (!choice) return;
    const kept = choice.value || stored();
    const all = await Ear.devices().catch(() => []);
    choice.replaceChildren(...all.map((d) => new Option(d.label, d.id, false, d.id === kept)));
    const place = choice.closest("[data-ear-choice]") ?? choice;
    if (place instanceof HTMLElement) place.hidden = all.length < 2;
  }

  function stored() {
    try {
      return localStorage.getItem(deviceKey) ?? "";
    } catch {
      return "";
    }
  }

  /** Keeps the screen on, where the device lets it: a telephone that sleeps hears nothing. */
  async function wake() {
    try {
      awake = (await navigator.wakeLock?.request("screen")) ?? null;
    } catch {
      awake = null; // the screen may go dark; what that does to the sound is said
    }
  }

  /** @param {string} words */
  function over(words) {
    clearTimeout(timer);
    ear.close();
    line = null;
    note = words;
    if (bar) bar.value = 0;
    awake?.release().catch(() => {});
    awake = null;
    show();
  }

  begin.addEventListener("click", async () => {
    note = "";
    begin.disabled = true;
    try {
      const id = choice?.value ?? "";
      try {
        await ear.open(id);
      } catch (fault) {
        // The microphone of yesterday may not be there.
        if (!id) throw fault;
        await ear.open();
      }
      if (choice) {
        await offer();
        choice.value = String(ear.settings.deviceId ?? "");
        try {
          localStorage.setItem(deviceKey, choice.value);
        } catch {
          // It is asked for again the next time.
        }
      }
      level = new Level(ear.rateHz);
      line = new Line(url, { rate_hz: ear.rateHz, device_label: ear.label, device_key: ear.key, settings: ear.settings, latency_s: ear.latencyS, capture: ear.capture });
      line.addEventListener("change", show);
      line.addEventListener("message", (e) => hear(/** @type {CustomEvent} */ (e).detail));
      line.addEventListener("refused", (e) => over(note || (/** @type {CustomEvent} */ (e).detail ? `Listening has ended: ${/** @type {CustomEvent} */ (e).detail}.` : "Listening has ended.")));
      for (const e of keeping) e.hidden = false;
      wake();
      showLevel();
    } catch (fault) {
      note = /** @type {Error} */ (fault).message;
    }
    begin.disabled = false;
    show();
  });

  /** @param {Record<string, unknown>} message */
  function hear(message) {
    if (typeof message.panel === "string" && panel) {
      const was = panel.querySelector("[data-enough]");
      renew(panel, message.panel);
      const enough = panel.querySelector("[data-enough]")?.getAttribute("data-enough");
      if (!was && enough) note = `${enough[0].toUpperCase()}${enough.slice(1)}: more sound changes little.`;
    } else if (typeof message.say === "string") {
      note = message.say;
    } else if (message.done !== undefined) {
      over("Listening has ended.");
    }
    show();
  }

  ear.addEventListener("chunk", (e) => {
    const chunk = /** @type {CustomEvent<import("./ear.js").Heard>} */ (e).detail;
    level?.add(chunk.samples);
    line?.send(chunk);
  });
  ear.addEventListener("change", show);
  // What was heard up to then is whole.
  ear.addEventListener("ended", async () => {
    const ending = line;
    await ending?.stop();
    over(ear.trouble);
  });

  /** Ends the listening; what was heard up to then is sent first. */
  async function end() {
    const ending = line;
    ear.close();
    return ending?.stop();
  }

  for (const form of document.querySelectorAll("form[data-ear-form]")) if (form instanceof HTMLFormElement) send(form, end);

  stop?.addEventListener("click", async () => {
    const whole = await end();
    over(whole === false ? "Listening has ended; its last seconds did not reach the computer of the workshop." : "Listening has ended.");
  });

  tone?.addEventListener("click", async () => {
    busy = true;
    note = "The check tone sounds three times.";
    show();
    try {
      const found = await checkTone(ear);
      line?.say({ tone: found });
      note = `The check tone was heard after ${Math.round(1000 * found.round_trip_s)} ms.`;
    } catch (fault) {
      note = /** @type {Error} */ (fault).message;
    }
    busy = false;
    show();
  });

  document.addEventListener("visibilitychange", () => { if (!document.hidden && ear.on) wake(); });
  navigator.mediaDevices?.addEventListener?.("devicechange", offer);
  if (Ear.hindrance) {
    note = Ear.hindrance;
    begin.disabled = true;
  } else if (panel) {
    panel.hidden = false;
  }
  offer();
  show();
}

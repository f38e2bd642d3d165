import { boundWords, deviceName, instantOf } from "./device.js";
import { keysUnder, newID } from "./outbox.js";

/**
 * @typedef {import("./device.js").DeviceClock} DeviceClock
 *
 * @typedef {object} Tap
 * @property {number | null} utcMs ms since 1970; null: not placed on UTC yet
 * @property {number | null} boundS bound of this device against the server then, s
 * @property {number | null} serverBoundS bound of the server then, s
 * @property {number | null} spell of the server's scale then
 * @property {{ perf: number, broken: number, origin: number } | null} press until it is placed
 * @property {{ perf: number, broken: number, origin: number }} [made] when it was made, by this page
 * @property {boolean} [lost] it never can be placed
 *
 * @typedef {{ error_s: number, half_s: number }} Near
 * @typedef {{ error_s: number, words?: string }} Candidate
 *
 * @typedef {object} Reckoned what the server makes of the taps
 * @property {boolean} [ok] false: too few, or irregular; remarks say why
 * @property {number} error_s
 * @property {number} sd_s
 * @property {string} words
 * @property {string} scatter_words
 * @property {string} [equation_words] what is taken off for the observer
 * @property {number} used
 * @property {{ mark_s: number, residual_s: number, dropped: string | boolean | null }[]} taps
 * @property {Candidate[]} candidates
 * @property {boolean} enough
 * @property {string[]} remarks
 * @property {number} far_s
 *
 * @typedef {object} Draft what is kept on this device until it is sent
 * @property {string} id
 * @property {string} number
 * @property {number} every_s
 * @property {Tap[]} taps
 * @property {Near | null} read by eye
 * @property {string} [by] the observer
 */

const prefix = "timeball.taps.";
const debounceMs = 150;
const againMs = 5_000;
const pressedMs = 100;
const sureHalfS = 30; // a forecast wider than this is not offered as the answer
const readHalfS = 1.5; // of a reading by eye of the whole second
const wideS = 0.1; // this device is too far from the server for taps

/**
 * Compares a dial by tapping on its marks. Each tap is placed on UTC at once and
 * kept on this device until it is sent. What the dial reads is confirmed by the
 * observer; it is offered as the answer only where the forecast leaves one
 * reading.
 *
 * @param {HTMLElement} section
 * @param {DeviceClock} clock
 */
export function compareByTap(section, clock) {
  /** @template {Element} E @param {string} name @param {new () => E} kind @returns {E | null} */
  const part = (name, kind) => { const e = section.querySelector(name); return e instanceof kind ? e : null; };
  const pad = part("[data-pad]", HTMLButtonElement);
  const form = part("form", HTMLFormElement);
  if (!pad || !form) return;
  const every = part("[data-every]", HTMLSelectElement);
  const list = part("[data-taps]", HTMLElement);
  const says = part("p[data-says], [role=status]", HTMLElement);
  const spread = part("[data-spread]", HTMLElement);
  const line = part("[data-reading]", HTMLElement);
  const confirm = part("[data-confirm]", HTMLFieldSetElement);
  const typed = part("[data-typed]", HTMLInputElement);
  const readNow = part("[data-read-now]", HTMLButtonElement);
  const clear = part("[data-clear]", HTMLButtonElement);
  const cue = part("[data-cue]", HTMLElement);

  const number = section.dataset.number ?? "";
  const hours = section.dataset.dial === "24" ? 24 : 12;
  /** @type {Near | null} */
  const forecast = section.dataset.nearError && section.dataset.nearHalf ? { error_s: Number(section.dataset.nearError), half_s: Number(section.dataset.nearHalf) } : null;
  const idField = hidden("id");
  if (!idField.value) idField.value = newID(performance.timeOrigin + performance.now());

  let draft = restored();
  /** @type {Reckoned | null} */
  let found = null;
  let offline = false;
  let trouble = "";
  let wanting = ""; // what is still wanting before it can be sent
  const hint = says?.textContent ?? "";
  let misfit = false; // the observer says that the dial does not read so
  /** @type {number | null} the error that is confirmed, s */
  let confirmed = null;
  let untouched = true;
  /** @type {import("./device.js").Placed | null} when the dial was read by eye */
  let readAt = null;
  let pending = 0;
  /** @type {AbortController | null} */
  let asking = null;

  /** @param {string} name */
  function hidden(name) {
    const field = form?.querySelector(`input[name=${name}]`);
    if (field instanceof HTMLInputElement) return field;
    const made = Object.assign(document.createElement("input"), { type: "hidden", name });
    form?.append(made);
    return made;
  }

  /** @returns {number} s between the marks tapped on */
  function everyS() {
    return Number(every?.value || 5);
  }

  /** @returns {Draft} the one of this page, or one of this instrument left by a page closed too soon */
  function restored() {
    /** @type {Draft} */
    const fresh = { id: idField.value, number, every_s: everyS(), taps: [], read: null };
    let best = null;
    for (const key of keysUnder(prefix)) {
      try {
        /** @type {Draft} */
        const kept = JSON.parse(localStorage.getItem(key) ?? "");
        if (!Array.isArray(kept.taps) || kept.taps.length === 0) continue;
        if (kept.id === fresh.id || (number && kept.number === number && best?.id !== fresh.id && (!best || kept.id > best.id))) best = kept;
      } catch {
        continue; // not one of ours
      }
    }
    if (!best) return fresh;
    // Under its first id what was sent already is not written twice.
    idField.value = best.id;
    if (every) every.value = String(best.every_s);
    const by = form?.querySelector("[name=by]");
    if (by instanceof HTMLInputElement && best.by) by.value ||= best.by;
    return best;
  }

  function save() {
    draft.every_s = everyS();
    draft.by = observer();
    try {
      if (draft.taps.length > 0 || draft.read) localStorage.setItem(prefix + draft.id, JSON.stringify(draft));
      else localStorage.removeItem(prefix + draft.id);
    } catch {
      trouble = "This device keeps nothing: leave the page open until the comparison is sent.";
    }
  }

  /** Places the taps that were made while UTC was not known. */
  function place() {
    let any = false;
    for (const tap of draft.taps) {
      if (!tap.press || tap.lost) continue;
      const placed = tap.press.origin === performance.timeOrigin ? clock.later(tap.press.perf, tap.press.broken) : undefined;
      if (placed === null) continue;
      any = true;
      if (placed === undefined) tap.lost = true;
      else Object.assign(tap, { utcMs: placed.utcMs, boundS: placed.boundS, serverBoundS: placed.serverBoundS, spell: placed.spell, press: null });
    }
    if (any) {
      save();
      ask();
    }
    show();
  }

  /** Places taps anew where a better exchange has come since; the first ones after a page is opened are the poorest. */
  function refine() {
    for (const tap of draft.taps) {
      if (tap.utcMs === null || tap.made?.origin !== performance.timeOrigin) continue;
      const placed = clock.later(tap.made.perf, tap.made.broken);
      if (placed && placed.boundS < (tap.boundS ?? Infinity)) Object.assign(tap, { utcMs: placed.utcMs, boundS: placed.boundS, serverBoundS: placed.serverBoundS, spell: placed.spell });
    }
  }

  const placedTaps = () => draft.taps.filter((tap) => tap.utcMs !== null);

  /** @param {Event} event */
  function tap(event) {
    const perf = instantOf(event);
    const placed = clock.place(perf);
    const made = { perf, broken: clock.state.broken, origin: performance.timeOrigin };
    draft.taps.push(placed
      ? { made, utcMs: placed.utcMs, boundS: placed.boundS, serverBoundS: placed.serverBoundS, spell: placed.spell, press: null }
      : { utcMs: null, boundS: null, serverBoundS: null, spell: null, press: made });
    press(/** @type {HTMLElement} */ (pad));
    wanting = "";
    save();
    form?.dispatchEvent(new Event("input"));
    show();
    ask();
  }

  /** @returns {Near | null} what the dial is expected to be off */
  function near() {
    return draft.read ?? (misfit ? null : forecast);
  }

  function ask() {
    clearTimeout(pending);
    pending = setTimeout(reckon, debounceMs);
  }

  async function reckon() {
    asking?.abort();
    refine();
    const taps = placedTaps();
    if (taps.length === 0) {
      found = null;
      show();
      return;
    }
    const mine = (asking = new AbortController());
    const late = setTimeout(() => mine.abort(new DOMException("", "TimeoutError")), 10_000);
    try {
      const answer = await fetch(section.dataset.reckon ?? "", {
        method: "POST", headers: { "Content-Type": "application/json", Accept: "application/json" }, signal: mine.signal,
        body: JSON.stringify({ number, every_s: everyS(), dial: hours, taps: taps.map((t) => /** @type {number} */ (t.utcMs) / 1000), near: near(), observer: observer(), device: device() }),
      });
      const said = await answer.json().catch(() => null);
      if (mine !== asking) return;
      offline = answer.status >= 500 || (answer.ok && !said);
      trouble = "";
      if (answer.ok && said?.ok === false) {
        found = null;
        trouble = (said.remarks ?? []).join(" ");
      } else if (answer.ok && said) found = said;
      else if (!offline) {
        found = null;
        trouble = (said?.problems ?? []).map((/** @type {any} */ p) => p.words ?? p).join(" ") || `The taps could not be reckoned (${answer.status}).`;
      }
    } catch {
      if (mine !== asking) return;
      offline = true;
    } finally {
      clearTimeout(late);
    }
    if (offline) {
      found = null; // it was of fewer taps
      clearTimeout(pending);
      pending = setTimeout(reckon, againMs);
    }
    show();
  }

  function observer() {
    const field = form?.querySelector("[name=observer], [name=by]");
    return field instanceof HTMLInputElement || field instanceof HTMLSelectElement ? field.value : "";
  }

  function device() {
    const field = form?.querySelector("[name=device]");
    return (field instanceof HTMLInputElement || field instanceof HTMLSelectElement ? field.value : "") || deviceName();
  }

  /** @returns {Candidate[]} what the dial may be off */
  function candidates() {
    const n = near();
    // The marks alone tell nothing of minutes and hours.
    if (!n) return [];
    if (found) return found.candidates?.length ? found.candidates : [{ error_s: found.error_s, words: found.words }];
    return [{ error_s: n.error_s }];
  }

  /** Whether one reading may be offered as the answer. */
  function sure() {
    const n = near();
    return Boolean(forecast && !misfit && !draft.read && n && n.half_s < sureHalfS && found && candidates().length === 1);
  }

  function show() {
    const n = draft.taps.length;
    if (list) {
      const used = placedTaps();
      list.replaceChildren(...draft.taps.map((t) => {
        const item = document.createElement("li");
        const r = found?.taps?.length === used.length ? found.taps[used.indexOf(t)] : undefined;
        if (t.lost) item.textContent = "dropped: the clock of this device was moved, or the page closed, before the tap could be placed";
        else if (t.utcMs === null) item.textContent = "waits for the clock of this device";
        else if (!r) item.textContent = `${new Date(t.utcMs).toISOString().slice(11, 21)} UTC`;
        else if (r.dropped) item.textContent = `mark ${mark(r.mark_s)}, dropped: ${r.dropped === true ? "far from the others" : r.dropped}`;
        else item.textContent = `mark ${mark(r.mark_s)}, ${offMark(r.residual_s)}`;
        item.classList.toggle("dropped", Boolean(t.lost || r?.dropped));
        return item;
      }));
    }
    if (spread) spread.textContent = found ? [found.words, found.scatter_words, `${found.used} of ${n} taps used`, found.enough ? "enough" : "go on tapping", found.equation_words ? `taken off: ${found.equation_words}` : ""].filter(Boolean).join(" · ") : "";
    if (says) {
      const lines = [];
      if (wanting) lines.push(wanting);
      if (offline && n > 0) lines.push(`No connection: ${n} ${n === 1 ? "tap is" : "taps are"} kept on this device.`);
      if (trouble) lines.push(trouble);
      if (clock.state.measured && clock.bound() > wideS) lines.push(`This device is known to ${boundWords(clock.bound())} only: come nearer to the network.`);
      if (clock.state.measured && !clock.state.fit) lines.push(`UTC is known to ${boundWords(clock.state.serverBoundS)} only, which is too wide for taps: look at the Standard page.`);
      const spells = new Set(placedTaps().map((t) => t.spell));
      if (spells.size > 1) lines.push("The clock of the server was set anew between these taps: clear them and tap again.");
      // Before the dial is read, what the marks leave open is no news.
      if (near() || !found?.used) lines.push(...(found?.remarks ?? []));
      says.textContent = lines.join(" ") || (n === 0 ? hint : found?.enough ? "That is enough." : "");
    }
    rest(found?.enough ?? false);
    if (cue) cue.textContent = pad?.disabled ? "say what the dial reads, then write it" : cueWords(everyS());
    offer();
    tick();
  }

  /** Ends the tapping once more taps would change little. @param {boolean} enough */
  function rest(enough) {
    if (!pad || enough === pad.disabled) return;
    const held = document.activeElement === pad;
    pad.disabled = enough;
    const word = pad.querySelector("b");
    if (word) word.textContent = enough ? "Enough" : "Tap";
    if (!enough) return;
    navigator.vibrate?.([60, 60, 60]);
    // Where the next press of the space bar, still on the beat, does nothing.
    if (held && says) {
      says.tabIndex = -1;
      says.focus({ preventScroll: true });
    }
  }

  /** The choices that stand, so that they are made anew only when they change. */
  let offered = "";

  function offer() {
    const choices = candidates();
    const byHand = misfit || draft.read !== null || choices.length === 0;
    for (const e of [typed, readNow, ...(typed?.labels ?? [])]) if (e) e.hidden = !byHand;
    if (!confirm) return;
    const key = JSON.stringify([choices.map((c) => [c.error_s.toFixed(1), c.words]), misfit]);
    if (key !== offered) {
      offered = key;
      confirm.hidden = choices.length === 0 && !misfit;
      const legend = confirm.querySelector("legend");
      confirm.replaceChildren(...(legend ? [legend] : []), ...choices.map((c) => choice(String(c.error_s), c.words ?? "", c.error_s)), choice("misfit", "The dial does not read so"));
      // A choice stands while the error it was made for does.
      const kept = confirmed;
      const still = kept === null ? undefined : choices.find((c) => Math.abs(c.error_s - kept) < 0.3);
      confirmed = still ? still.error_s : null;
    }
    if (confirmed === null && untouched && !misfit && sure()) confirmed = choices[0].error_s;
    if (confirmed !== null && untouched && !sure()) confirmed = null;
    for (const radio of confirm.querySelectorAll("input")) radio.checked = radio.value === "misfit" ? misfit : confirmed !== null && radio.value === String(confirmed);
  }

  /** @param {string} value @param {string} words @param {number} [error] s */
  function choice(value, words, error) {
    const label = document.createElement("label");
    const radio = Object.assign(document.createElement("input"), { type: "radio", name: "confirmed", value });
    if (form && !form.contains(confirm)) {
      form.id ||= `tap-${idField.value}`;
      radio.setAttribute("form", form.id);
    }
    radio.addEventListener("change", () => {
      untouched = false;
      wanting = "";
      const was = misfit;
      misfit = error === undefined;
      confirmed = error ?? null;
      if (misfit) draft.read = null;
      // Back from "does not read so" the reading by eye, if there is one, stays.
      if (misfit !== was && misfit) {
        found = null;
        ask();
      }
      show();
      if (misfit) readNow?.focus();
    });
    const text = document.createElement("span");
    if (error !== undefined) {
      const now = document.createElement("b");
      now.dataset.error = String(error);
      text.append("The dial reads ", now, words ? ` now: ${words}` : " now");
    } else {
      text.textContent = words;
    }
    label.append(radio, text);
    return label;
  }

  /** Returns the beat where two readings may differ by it, s; 0: whole seconds are enough. */
  function beat() {
    return everyS() < 1 ? everyS() : 0;
  }

  let ticking = 0;

  /** Writes what the dial should read at this moment. */
  function tick() {
    clearTimeout(ticking);
    const utc = clock.utcAt(performance.now());
    const choices = candidates();
    if (line) {
      if (Number.isNaN(utc)) line.textContent = "This device is being compared with the server.";
      else if (choices.length === 0) line.textContent = misfit || !forecast ? "Press “I read it now” as you read the dial, and write what it read." : "";
      else if (choices.length > 1) line.textContent = `The taps fit ${choices.length} readings: say which the dial shows.`;
      else line.textContent = `The dial should now read ${dialWords(utc, choices[0].error_s, hours, beat())}`;
    }
    for (const place of confirm?.querySelectorAll("b[data-error]") ?? []) {
      if (place instanceof HTMLElement) place.textContent = Number.isNaN(utc) ? "–" : dialWords(utc, Number(place.dataset.error), hours, beat());
    }
    // Every 100 ms, and on the beat or the whole second of the dial.
    const step = 1000 * (beat() || 1);
    const next = choices.length > 0 && !Number.isNaN(utc) ? step - modulo(utc + 1000 * choices[0].error_s, step) : 100;
    ticking = setTimeout(tick, Math.min(100, next + 1));
  }

  readNow?.addEventListener("click", (event) => {
    readAt = clock.place(instantOf(event));
    if (says) says.textContent = readAt ? "Write what the dial read at that moment." : "This device is being compared with the server: press again in a moment.";
    if (readAt) typed?.focus();
    take();
  });
  typed?.addEventListener("change", take);

  /** Takes the reading by eye once both its parts are there. */
  function take() {
    if (!typed?.value || !readAt) {
      if (typed?.value && says) says.textContent = "Press the button as you read the dial, then write what it read.";
      return;
    }
    const s = dialSeconds(typed.value);
    typed.setCustomValidity(s === null ? "Write h:mm:ss as the dial reads." : "");
    if (s === null) {
      typed.reportValidity();
      return;
    }
    const turn = 3600 * hours;
    const about = forecast?.error_s ?? 0;
    const error = modulo(s - readAt.utcMs / 1000 - about + turn / 2, turn) - turn / 2 + about;
    draft.read = { error_s: Math.round(error * 1000) / 1000, half_s: readHalfS };
    misfit = false;
    untouched = false;
    confirmed = null;
    found = null;
    wanting = "";
    save();
    show();
    ask();
    const first = confirm?.querySelector("input");
    if (first instanceof HTMLElement) first.focus({ preventScroll: true });
  }

  clear?.addEventListener("click", () => {
    const n = draft.taps.length;
    fresh(draft.id);
    wanting = `${n} ${n === 1 ? "tap is" : "taps are"} cleared.`;
    show();
  });

  /** @param {string} id */
  function fresh(id) {
    localStorage.removeItem(prefix + draft.id);
    draft = { id, number, every_s: everyS(), taps: [], read: null };
    idField.value = id;
    found = null;
    readAt = null;
    misfit = false;
    confirmed = null;
    untouched = true;
    offered = "";
    offline = false;
    trouble = wanting = "";
    asking?.abort();
    asking = null;
    clearTimeout(pending);
    show();
  }

  every?.addEventListener("change", () => {
    found = null;
    save();
    show();
    ask();
  });
  form.addEventListener("change", (event) => {
    if (event.target instanceof Element && event.target.matches("[name=observer], [name=by], [name=device]")) ask();
  });

  form.addEventListener("submit", (event) => {
    refine();
    const taps = placedTaps();
    /** @param {string} words */
    const stop = (words) => {
      event.preventDefault();
      wanting = words;
      show();
    };
    if (taps.length === 0) return stop("There are no taps yet.");
    if (new Set(taps.map((t) => t.spell)).size > 1) return stop("The clock of the server was set anew between these taps: clear them and tap again.");
    if (confirmed === null) return stop(candidates().length > 0 && !misfit ? "Say first what the dial reads." : "Read the dial first: press “I read it now”, and write what it read.");
    const origin = new Date(Math.floor(/** @type {number} */ (taps[0].utcMs)));
    const last = taps[taps.length - 1];
    const server = taps.some((t) => t.serverBoundS === null) ? null : rounded(Math.max(...taps.map((t) => /** @type {number} */ (t.serverBoundS))));
    hidden("taps").value = JSON.stringify({
      origin: origin.toISOString(), at_s: taps.map((t) => rounded((/** @type {number} */ (t.utcMs) - origin.getTime()) / 1000)),
      every_s: everyS(), device_bound_s: rounded(Math.max(...taps.map((t) => t.boundS ?? 0))), device: device(),
      spell: last.spell, bound_s: server, offset_s: clock.state.serverOffsetS, source: clock.state.source,
    });
    hidden("near_s").value = confirmed.toFixed(2);
  }, { capture: true });

  form.addEventListener("taken", () => {
    // What was sent, or waits in the outbox, has the old id.
    const utc = clock.utcAt(performance.now());
    fresh(newID(Number.isNaN(utc) ? performance.timeOrigin + performance.now() : utc));
  });

  addEventListener("online", ask);
  clock.addEventListener("change", place);
  pad.style.touchAction = "none";
  onTap(pad, tap);
  place();
  if (draft.taps.length > 0) ask();
}

/** @param {number} seconds @returns {number} to the microsecond */
function rounded(seconds) {
  return Math.round(1e6 * seconds) / 1e6;
}

/** @param {number} seconds */
function mark(seconds) {
  const s = modulo(seconds, 60);
  return Number.isInteger(s) ? String(s) : s.toFixed(1);
}

/** @param {number} every s @returns {string} when to tap */
function cueWords(every) {
  if (every < 1) return "at every beat";
  if (every === 1) return "at every second";
  return every < 60 ? `as the seconds hand passes ${every}, ${2 * every}, ${3 * every} …` : "as the seconds hand passes 60";
}

/** @param {number} seconds + late */
function offMark(seconds) {
  const size = Math.abs(seconds).toFixed(2);
  return size === "0.00" ? "on it" : `${size} s ${seconds < 0 ? "early" : "late"}`;
}

/** @param {number} x @param {number} m */
function modulo(x, m) {
  return ((x % m) + m) % m;
}

/**
 * Returns what a dial reads at a UTC, h:mm:ss in its own hours.
 *
 * @param {number} utcMs ms since 1970
 * @param {number} errorS dial less UTC, s
 * @param {number} hours 12 or 24
 * @param {number} [beat] s: its part of the second is written too
 */
export function dialWords(utcMs, errorS, hours, beat = 0) {
  const reading = modulo(utcMs / 1000 + errorS, 3600 * hours);
  const s = Math.floor(reading);
  const part = beat > 0 ? `.${Math.floor(beat * Math.floor((reading - s) / beat) * 10 + 1e-6)}` : "";
  const h = Math.floor(s / 3600);
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  return `${hours === 12 && h === 0 ? 12 : h}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}${part}`;
}

/**
 * Returns the seconds of a reading h:mm:ss, or null.
 *
 * @param {string} words
 */
export function dialSeconds(words) {
  const m = words.trim().match(/^(\d{1,2})[:.\s](\d{1,2})[:.\s](\d{1,2}(?:[.,]\d+)?)$/);
  if (!m) return null;
  const [h, min, s] = [Number(m[1]), Number(m[2]), Number(m[3].replace(",", "."))];
  return h < 24 && min < 60 && s < 60 ? 3600 * h + 60 * min + s : null;
}

/** @type {HTMLButtonElement[]} in the order of the page */
const pads = [];
/** @type {HTMLButtonElement | null} the one used last */
let latest = null;

/** Returns the pad that keys go to when nothing has the focus: the only one, or the last that was used. */
function keyed() {
  /** @param {HTMLButtonElement} pad */
  const open = (pad) => pad.isConnected && !pad.disabled && (pad.checkVisibility?.() ?? pad.getClientRects().length > 0);
  if (latest && open(latest)) return latest;
  return pads.length === 1 && open(pads[0]) ? pads[0] : undefined;
}

/**
 * Calls `tap` for each tap on a pad, by finger, mouse, space bar or Enter.
 * Keys count when the pad has the focus or nothing has it.
 *
 * @param {HTMLButtonElement} pad
 * @param {(event: Event) => void} tap
 */
export function onTap(pad, tap) {
  pads.push(pad);
  let taken = -Infinity;
  /** @param {Event} event */
  function take(event) {
    event.preventDefault();
    if (pad.disabled) return;
    taken = performance.now();
    latest = pad;
    tap(event);
  }
  pad.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button !== 0) return;
    take(event);
    pad.focus({ preventScroll: true });
  });
  for (const kind of ["touchstart", "dblclick", "contextmenu"]) pad.addEventListener(kind, (event) => event.preventDefault(), { passive: false });
  document.addEventListener("keydown", (event) => {
    if ((event.key !== " " && event.key !== "Enter") || event.ctrlKey || event.altKey || event.metaKey) return;
    const focus = document.activeElement;
    if (focus !== pad && !((!focus || focus === document.body) && keyed() === pad)) return;
    if (event.repeat) event.preventDefault();
    else take(event);
  });
  // Some browsers make a click of the space bar as it comes up.
  pad.addEventListener("keyup", (event) => { if (event.key === " ") event.preventDefault(); });
  // A press by a screen reader is a click with no pointer and nothing before it.
  pad.addEventListener("click", (event) => {
    if (event.detail === 0 && performance.now() - taken > 1000) take(event);
  });
}

/**
 * Shows that a pad was pressed.
 *
 * @param {HTMLElement} pad
 */
export function press(pad) {
  pad.classList.add("pressed");
  setTimeout(() => pad.classList.remove("pressed"), pressedMs);
  navigator.vibrate?.(15);
}

// Places the clock of this device on UTC, as the computer that serves the page
// knows it.

/**
 * @typedef {object} Sample one exchange with the server
 * @property {number} at when it ended, ms of performance.now
 * @property {number} offset server less device, ms: UTC = performance.now + offset
 * @property {number} delay there and back, without the time the server took, ms
 *
 * @typedef {object} State
 * @property {boolean} measured UTC is known on this device
 * @property {number} offsetMs UTC less performance.now, ms; NaN before the first exchange
 * @property {number} delayMs delay of the exchange in use, ms
 * @property {number} stepMs step of performance.now, ms
 * @property {number | null} serverBoundS bound of the server against UTC, s; null: not known
 * @property {number | null} serverOffsetS UTC less the server's own clock, s, where it says so
 * @property {string} source where UTC comes from, in words
 * @property {boolean} fit the server's UTC is good enough to compare with
 * @property {number | null} spell counts the times the server's scale was broken off
 * @property {number} broken counts the times this device's scale was
 * @property {boolean} reached the last exchange was answered
 *
 * @typedef {object} Placed an instant on UTC
 * @property {number} utcMs ms since 1970
 * @property {number} boundS bound of this device against the server then, s
 * @property {number | null} serverBoundS bound of the server then, s
 * @property {number | null} spell of the server then
 * @property {number} broken of this device then
 */

const driftPpm = 50; // of a quartz clock left to itself: common practice, no source
const keepMs = 10 * 60_000; // older exchanges are dropped
const freshMs = 60_000; // an instant is placed at once within this of an exchange
const jumpMs = 50; // between the two clocks of this device: one of them was moved
const beatMs = 250;
const lateMs = 2_000;
const roundMs = 20_000;
const spacingMs = 60;
const first = 12;
const again = 4;

/**
 * The clock of this device against the server. Exchanges are reckoned as in
 * RFC 5905, section 8; the true offset lies within half the delay whatever the
 * asymmetry of the way. Date is used to notice that a clock was moved, and for
 * nothing else.
 */
export class DeviceClock extends EventTarget {
  /** @type {((state: State) => void) | null} */
  onchange = null;

  #url;
  #fetch;
  /** @type {Sample[]} */
  #samples = [];
  #step = 0;
  #want = 0;
  /** @type {Promise<State> | null} */
  #running = null;
  #broken = 0;
  #reached = false;
  /** @type {{ serverBoundS: number | null, serverOffsetS: number | null, source: string, fit: boolean, spell: number | null }} */
  #server = { serverBoundS: null, serverOffsetS: null, source: "", fit: false, spell: null };
  // The two clocks of this device, side by side.
  #pair = { perf: performance.now(), date: Date.now() };
  #beat = performance.now();
  #watching = false;

  /**
   * @param {string} url answers an exchange
   * @param {{ fetch?: typeof globalThis.fetch }} [options]
   */
  constructor(url, { fetch = globalThis.fetch.bind(globalThis) } = {}) {
    super();
    this.#url = url;
    this.#fetch = fetch;
  }

  /** @returns {State} */
  get state() {
    const best = this.#best(performance.now());
    return {
      measured: best !== null, offsetMs: best?.offset ?? NaN, delayMs: best?.delay ?? NaN, stepMs: this.#step,
      ...this.#server, broken: this.#broken, reached: this.#reached,
    };
  }

  /**
   * Returns the bound of this device against the server, s; Infinity before
   * the first exchange.
   *
   * @param {number} [perfMs] at which instant
   */
  bound(perfMs = performance.now()) {
    const best = this.#best(perfMs);
    return best ? this.#boundMs(best, perfMs) / 1000 : Infinity;
  }

  /**
   * Returns UTC, ms since 1970, at an instant of performance.now; NaN before
   * the first exchange.
   *
   * @param {number} perfMs
   */
  utcAt(perfMs) {
    const best = this.#best(performance.now());
    return best ? perfMs + best.offset : NaN;
  }

  /**
   * Returns the instant of performance.now, ms, at a UTC.
   *
   * @param {number} utcMs ms since 1970
   */
  perfAt(utcMs) {
    const best = this.#best(performance.now());
    return best ? utcMs - best.offset : NaN;
  }

  /**
   * Places an instant that has just passed. Returns null if there was no
   * exchange within the last minute: then `later` places it, after the next.
   *
   * @param {number} perfMs
   * @returns {Placed | null}
   */
  place(perfMs) {
    // Before a break was noticed the old exchanges hold.
    const before = perfMs <= this.#beat ? this.#placed(perfMs) : null;
    const broke = this.#check();
    if (broke) return before;
    const placed = this.#placed(perfMs);
    if (!placed) this.measure(again);
    return placed;
  }

  /**
   * Places an instant that `place` could not: returns null while there is no
   * new exchange, and undefined if the clock was broken off in between, so
   * that it never can be.
   *
   * @param {number} perfMs
   * @param {number} broken as it was when the instant passed
   * @returns {Placed | null | undefined}
   */
  later(perfMs, broken) {
    if (this.#check() || broken !== this.#broken) return undefined;
    return this.#placed(perfMs, true);
  }

  /** @param {number} perfMs @param {boolean} [since] an exchange made later counts, however much @returns {Placed | null} */
  #placed(perfMs, since = false) {
    if (!this.#samples.some((s) => Math.abs(perfMs - s.at) <= freshMs || (since && s.at > perfMs))) return null;
    const best = this.#best(perfMs);
    if (!best) return null;
    return {
      utcMs: perfMs + best.offset, boundS: this.#boundMs(best, perfMs) / 1000,
      serverBoundS: this.#server.serverBoundS, spell: this.#server.spell, broken: this.#broken,
    };
  }

  /** @param {Sample} s @param {number} perfMs */
  #boundMs(s, perfMs) {
    return Math.max(0, s.delay) / 2 + this.#step + (Math.abs(perfMs - s.at) * driftPpm) / 1e6;
  }

  /** @param {number} perfMs @returns {Sample | null} the one with the least bound */
  #best(perfMs) {
    let best = null;
    for (const s of this.#samples) {
      if (!best || this.#boundMs(s, perfMs) < this.#boundMs(best, perfMs)) best = s;
    }
    return best;
  }

  /**
   * Makes n exchanges, 60 ms apart. While some are being made, it sees to it
   * that n more are.
   *
   * @param {number} [n]
   * @returns {Promise<State>}
   */
  measure(n = first) {
    this.#want = Math.max(this.#want, n);
    this.#running ??= this.#measure().finally(() => { this.#running = null; });
    return this.#running;
  }

  async #measure() {
    if (this.#step === 0) this.#step = clockStep();
    for (; this.#want > 0; this.#want--) {
      await this.#exchange();
      if (this.#want > 1) await new Promise((done) => setTimeout(done, spacingMs));
    }
    this.#tell();
    return this.state;
  }

  async #exchange() {
    const broken = this.#broken;
    const sent = performance.now();
    try {
      const answer = await this.#fetch(this.#url, { cache: "no-store", headers: { Accept: "application/json" }, signal: AbortSignal.timeout(5000) });
      const back = performance.now();
      const said = await answer.json();
      const there = Number(said.received_ms), leaves = Number(said.sent_ms);
      if (!answer.ok || !(there > 0) || !(leaves >= there)) throw new Error("not an exchange");
      const known = this.#server.spell;
      this.#server = {
        serverBoundS: said.bound_ms === null || said.bound_ms === undefined ? null : Number(said.bound_ms) / 1000,
        serverOffsetS: said.offset_s === null || said.offset_s === undefined ? null : Number(said.offset_s),
        source: String(said.source ?? ""), fit: said.fit === true, spell: said.spell ?? null,
      };
      this.#reached = true;
      if (known !== null && known !== this.#server.spell) this.#break();
      else if (broken !== this.#broken || this.#check()) return;
      this.#samples = this.#samples.filter((s) => back - s.at < keepMs);
      this.#samples.push({ at: back, offset: (there - sent + (leaves - back)) / 2, delay: back - sent - (leaves - there) });
      this.#pair = { perf: performance.now(), date: Date.now() };
      if (this.#samples.length === 1) this.#tell();
    } catch {
      const told = this.#reached;
      this.#reached = false;
      if (told) this.#tell();
    }
  }

  /** Drops what was measured before a clock was moved, and measures anew. */
  #break() {
    this.#samples = [];
    this.#broken++;
    this.#pair = { perf: performance.now(), date: Date.now() };
    this.measure(first);
    this.#tell();
  }

  /** Returns whether one of this device's clocks has moved against the other. */
  #check() {
    const moved = Date.now() - this.#pair.date - (performance.now() - this.#pair.perf);
    if (Math.abs(moved) <= jumpMs) return false;
    this.#break();
    return true;
  }

  #tell() {
    this.onchange?.(this.state);
    this.dispatchEvent(new Event("change"));
  }

  /** Keeps UTC known while the page is open. */
  watch() {
    if (this.#watching) return;
    this.#watching = true;
    this.measure(first);
    setInterval(() => {
      const late = performance.now() - this.#beat - beatMs;
      const broke = this.#check();
      this.#beat = performance.now();
      if (!broke && late > lateMs && !document.hidden) this.measure(first);
    }, beatMs);
    setInterval(() => { if (!document.hidden) this.measure(again); }, roundMs);
    document.addEventListener("visibilitychange", () => { if (!document.hidden && !this.#check()) this.measure(first); });
    addEventListener("online", () => this.measure(first));
  }
}

/**
 * Returns the step of performance.now, ms, as it is on this device.
 */
export function clockStep() {
  const began = performance.now();
  /** @type {number[]} */
  const steps = [];
  for (let last = began; steps.length < 7 && last - began < 250;) {
    const now = performance.now();
    if (now > last) steps.push(now - last);
    last = now;
  }
  // Pauses of a busy device make some steps long and none short.
  steps.sort((a, b) => a - b);
  return steps[steps.length >> 1] ?? 100;
}

/**
 * Returns when an event happened, ms of performance.now: its own stamp, not
 * the time at which it was dealt with.
 *
 * @param {Event} event
 */
export function instantOf(event) {
  const now = performance.now();
  return event.timeStamp > 0 && event.timeStamp <= now + 1 ? event.timeStamp : now;
}

const nameKey = "timeball.device";

/**
 * Returns a name for this device, which stays the same from day to day, because
 * a personal equation belongs to an observer on a device: the one it was given,
 * or what it says of itself.
 */
export function deviceName() {
  try {
    const given = localStorage.getItem(nameKey);
    if (given) return given;
  } catch {
    // Then it is what it says of itself.
  }
  const system = /** @type {any} */ (navigator).userAgentData?.platform || (navigator.userAgent.match(/\(([^;)]+)/)?.[1] ?? "device");
  return `${system}, ${navigator.maxTouchPoints > 0 ? "touch screen" : "mouse and keys"}`;
}

/**
 * Gives this device a name.
 *
 * @param {string} name
 */
export function nameDevice(name) {
  try {
    if (name.trim()) localStorage.setItem(nameKey, name.trim());
  } catch {
    // It is asked for again the next time.
  }
}

/**
 * Returns a bound in words of the page, "±4 ms".
 *
 * @param {number | null} seconds
 */
export function boundWords(seconds) {
  if (seconds === null || !Number.isFinite(seconds)) return "±?";
  return seconds < 0.9995 ? `±${Math.max(1, Math.ceil(seconds * 1000))} ms` : `±${Math.ceil(seconds * 10) / 10} s`;
}

// Sounds and flashes that leave this device at a given UTC.

/**
 * @typedef {object} Timescale where UTC stands on performance.now
 * @property {(utcMs: number) => number} perfAt
 *
 * @typedef {object} Tone
 * @property {number} utcMs when it is to be heard, ms since 1970
 * @property {number} contextTime when it was put, s of the audio context; NaN if it was not
 * @property {number} heardPerfMs when it left the device, ms of performance.now; NaN if it did not
 * @property {boolean} over heardPerfMs was read after it had sounded
 */

const lookMs = 25;
const horizonMs = 200;
const rampS = 0.005;
const readings = 9;

/** Tones on the audio clock, put there shortly before they are due. */
export class Tones {
  /** @type {Tone[]} */
  log = [];
  /** @type {(() => void) | null} */
  onstate = null;

  #clock;
  /** @type {AudioContext | null} */
  #context = null;
  /** @type {{ utcMs: number, hz: number, ms: number }[]} */
  #due = [];
  /** @type {OscillatorNode[]} */
  #sounding = [];
  /** @type {number[]} performance.now less context time of what leaves the device, ms */
  #offsets = [];
  #timer = 0;

  /** @param {Timescale} clock */
  constructor(clock) {
    this.#clock = clock;
  }

  /** @returns {"off" | "running" | "suspended"} */
  get state() {
    if (!this.#context) return "off";
    return this.#context.state === "running" ? "running" : "suspended";
  }

  /** Returns in words whether tones can be heard. */
  get words() {
    return { off: "tones off", running: "tones on", suspended: "tones silenced by this device: press the button again" }[this.state];
  }

  /**
   * Lets sound out; call it when a button is pressed, because browsers allow
   * it only then. Returns whether sound runs.
   *
   * @returns {Promise<boolean>}
   */
  async start() {
    if (!this.#context) {
      this.#context = new AudioContext({ latencyHint: "interactive" });
      this.#context.addEventListener("statechange", () => { this.#offsets = []; this.onstate?.(); });
    }
    // Without a gesture resume waits for ever.
    await Promise.race([this.#context.resume(), new Promise((done) => setTimeout(done, 1000))]);
    this.#wake();
    this.onstate?.();
    return this.state === "running";
  }

  /**
   * Plans a tone that begins to be heard at a UTC.
   *
   * @param {number} utcMs ms since 1970
   * @param {{ hz: number, ms: number }} tone
   */
  schedule(utcMs, { hz, ms }) {
    this.#due.push({ utcMs, hz, ms });
    this.#due.sort((a, b) => a.utcMs - b.utcMs);
    this.#wake();
  }

  /** Takes back what has not been heard. */
  cancel() {
    this.#due = [];
    for (const o of this.#sounding) o.stop();
    this.#sounding = [];
  }

  /** Returns the context and its offset: performance.now at context time 0, ms. */
  get mapping() {
    const sorted = [...this.#offsets].sort((a, b) => a - b);
    return { offsetMs: sorted[sorted.length >> 1] ?? NaN, raw: this.#context?.getOutputTimestamp?.(), currentTime: this.#context?.currentTime, latencyS: this.#latency(), sampleRate: this.#context?.sampleRate };
  }

  #latency() {
    return this.#context ? this.#context.outputLatency || this.#context.baseLatency || 0 : 0;
  }

  #wake() {
    if (this.#timer !== 0 || !this.#context) return;
    this.#offsets = [];
    this.#timer = setInterval(() => this.#look(), lookMs);
  }

  /** Reads where the audio clock stands; the middle of a few readings, because single ones jitter. */
  #read() {
    const context = /** @type {AudioContext} */ (this.#context);
    const out = context.getOutputTimestamp?.();
    let offset = performance.now() - 1000 * (context.currentTime - this.#latency());
    if (out?.contextTime && out.performanceTime) {
      const told = out.performanceTime - 1000 * out.contextTime;
      if (Math.abs(told - offset) < 1000) offset = told;
    }
    this.#offsets.push(offset);
    if (this.#offsets.length > readings) this.#offsets.shift();
  }

  #look() {
    const context = this.#context;
    if (!context) return;
    if (context.state === "running") this.#read();
    const now = performance.now();
    const offset = this.mapping.offsetMs;
    for (const tone of this.log) {
      if (tone.over || Number.isNaN(tone.contextTime) || now < tone.heardPerfMs) continue;
      tone.heardPerfMs = 1000 * tone.contextTime + offset;
      tone.over = true;
    }
    while (this.#due.length > 0) {
      const { utcMs, hz, ms } = this.#due[0];
      const perf = this.#clock.perfAt(utcMs);
      if (!(perf - now < horizonMs)) break;
      this.#due.shift();
      const at = (perf - offset) / 1000;
      // A tone that would come late is left out: silence does not deceive.
      if (context.state !== "running" || !(at >= context.currentTime)) {
        this.log.push({ utcMs, contextTime: NaN, heardPerfMs: NaN, over: true });
        continue;
      }
      this.#sound(context, at, hz, ms / 1000);
      this.log.push({ utcMs, contextTime: at, heardPerfMs: perf, over: false });
    }
    if (this.#due.length === 0 && this.log.every((tone) => tone.over)) {
      clearInterval(this.#timer);
      this.#timer = 0;
    }
  }

  /** @param {AudioContext} context @param {number} at @param {number} hz @param {number} s */
  #sound(context, at, hz, s) {
    const tone = new OscillatorNode(context, { frequency: hz });
    const level = new GainNode(context, { gain: 0 });
    level.gain.setValueAtTime(0, at);
    level.gain.linearRampToValueAtTime(0.5, at + rampS);
    level.gain.setValueAtTime(0.5, at + Math.max(rampS, s - rampS));
    level.gain.linearRampToValueAtTime(0, at + Math.max(2 * rampS, s));
    tone.connect(level).connect(context.destination);
    tone.start(at);
    tone.stop(at + s + rampS);
    this.#sounding.push(tone);
    tone.onended = () => { this.#sounding = this.#sounding.filter((o) => o !== tone); };
  }
}

const flashMs = 120;
const betweenFlashesMs = 334; // at most three in a second: WCAG 2.2, 2.3.1
let flashed = -Infinity;

/**
 * Gives an element the class "flash" for 120 ms at a UTC, or the class "lit"
 * for good where less motion is asked for. `shown` gets the frame in which it
 * was shown, ms of performance.now. Returns what takes the flash back.
 *
 * @param {Element} element
 * @param {number} utcMs ms since 1970
 * @param {Timescale} clock
 * @param {(frameMs: number) => void} [shown]
 * @returns {() => void}
 */
export function flashAt(element, utcMs, clock, shown) {
  let off = false;
  onFrame(() => clock.perfAt(utcMs), () => off, (frame) => {
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) {
      element.classList.add("lit");
    } else {
      if (frame - flashed < betweenFlashesMs) return;
      flashed = frame;
      element.classList.add("flash");
      setTimeout(() => element.classList.remove("flash"), flashMs);
    }
    shown?.(frame);
  });
  return () => { off = true; };
}

/**
 * Calls `act` in the frame nearest to an instant.
 *
 * @param {() => number} due ms of performance.now; NaN: not known yet
 * @param {() => boolean} off
 * @param {(frameMs: number) => void} act gets the time of the frame
 */
export function onFrame(due, off, act) {
  let last = NaN;
  /** @param {number} frame */
  function step(frame) {
    if (off()) return;
    const left = due() - frame;
    const half = Math.min(25, frame - last || 16) / 2;
    last = frame;
    if (left <= half) act(frame);
    else if (left < 150) requestAnimationFrame(step);
    else wait();
  }
  function wait() {
    if (off()) return;
    const left = due() - performance.now();
    last = NaN;
    if (left < 150) requestAnimationFrame(step);
    else setTimeout(wait, Number.isNaN(left) ? 200 : Math.min(left - 100, 1000));
  }
  wait();
}

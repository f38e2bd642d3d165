// Places frames of sound on performance.now.

const told = 100; // readings of which the middle is taken
const settlesMs = 2000;
const seconds = 60; // over which the quickest arrival counts
const stepMs = 20; // a clock that is off by more has been set anew
const anotherMs = 500; // no buffer is on its way for longer: then it was stamped by another clock

/** @param {number[]} x @returns {number} the middle one, NaN of none */
export function middle(x) {
  const sorted = [...x].sort((a, b) => a - b);
  return sorted[sorted.length >> 1] ?? NaN;
}

/**
 * Where frames stand on performance.now: the middle of what a clock of the
 * sound tells, shifted so that no frame is placed after it was in hand. The shift
 * is found in the first 2 s and kept, because one that is refined all the time
 * would look like a rate.
 */
export class Stamps {
  #rate;
  #absolute;
  /** @type {number[]} performance.now of frame 0 as told, ms */
  #told = [];
  /** @type {{ second: number, least: number }[]} performance.now of frame 0 by the quickest arrival of each second, ms */
  #arrived = [];
  #began = NaN;
  #shift = NaN;

  /**
   * @param {number} rateHz
   * @param {boolean} absolute the clock tells when frames were captured; else only how evenly they follow
   */
  constructor(rateHz, absolute) {
    this.#rate = rateHz;
    this.#absolute = absolute;
  }

  /** Takes what the clock of the sound tells. @param {number} frame @param {number} perfMs */
  tell(frame, perfMs) {
    this.#told.push(perfMs - (1000 * frame) / this.#rate);
    if (this.#told.length > told) this.#told.shift();
  }

  /** Takes when the frames before one were in hand. @param {number} frame @param {number} perfMs */
  arrive(frame, perfMs) {
    const offset = perfMs - (1000 * frame) / this.#rate;
    const second = Math.floor(perfMs / 1000);
    const last = this.#arrived.at(-1);
    if (last?.second === second) last.least = Math.min(last.least, offset);
    else this.#arrived.push({ second, least: offset });
    if (this.#arrived.length > seconds) this.#arrived.shift();
    if (Number.isNaN(this.#began)) this.#began = perfMs;
    if (perfMs - this.#began < settlesMs) return;
    const lag = this.lagMs;
    if (Number.isNaN(this.#shift)) this.#shift = this.#absolute && lag >= 0 && lag < anotherMs ? 0 : lag;
    else if (lag < this.#shift - stepMs) this.#shift = lag;
  }

  /** Forgets what held before the sound was interrupted. */
  clear() {
    this.#told = [];
    this.#arrived = [];
    this.#began = this.#shift = NaN;
  }

  /** Returns when a frame was captured, or handed in by the device, ms of performance.now; NaN in the first 2 s. @param {number} frame */
  at(frame) {
    if (Number.isNaN(this.#began) || Number.isNaN(this.#shift) && this.#told.length > 0) return NaN;
    // A clock that tells nothing leaves only the arrivals.
    return (1000 * frame) / this.#rate + (this.#told.length > 0 ? middle(this.#told) + this.#shift : this.#least);
  }

  /** Whether frames are placed. */
  get settled() {
    return !Number.isNaN(this.at(0));
  }

  get #least() {
    return Math.min(...this.#arrived.map((a) => a.least));
  }

  /** Returns how far apart the middle nine tenths of what was told are, ms. */
  get spreadMs() {
    const sorted = [...this.#told].sort((a, b) => a - b);
    const n = sorted.length;
    return n === 0 ? 0 : sorted[Math.floor(0.95 * (n - 1))] - sorted[Math.ceil(0.05 * (n - 1))];
  }

  /** Returns how long before they were in hand the frames were, at the least, ms. */
  get lagMs() {
    return this.#least - middle(this.#told);
  }
}

const steadyOf = 25; // buffers that say where the next is due
const sure = 5; // late ones in a row are a loss; fewer are a late stamp

/**
 * Counts the frames of buffers that carry a stamp and no number: where the
 * stamps of five in a row are late by a buffer or more, buffers were lost.
 *
 * @template T
 */
export class Counter {
  #rate;
  #give;
  #frame = 0;
  /** @type {number[]} stamp of frame 0, ms */
  #offsets = [];
  /** @type {{ buffer: T, frames: number, stampMs: number }[]} */
  #held = [];

  /**
   * @param {number} rateHz
   * @param {(buffer: T, frame: number, stampMs: number) => void} give gets each buffer with its first frame
   */
  constructor(rateHz, give) {
    this.#rate = rateHz;
    this.#give = give;
  }

  /** @param {T} buffer @param {number} frames @param {number} stampMs of its first frame */
  add(buffer, frames, stampMs) {
    this.#held.push({ buffer, frames, stampMs });
    const lasts = (1000 * frames) / this.#rate;
    let frame = this.#frame;
    const late = this.#held.map((h) => {
      const ms = h.stampMs - (1000 * frame) / this.#rate - middle(this.#offsets);
      frame += h.frames;
      return ms;
    });
    const least = Math.min(...late);
    const lost = this.#offsets.length >= sure && least > 0.8 * lasts;
    if (lost && this.#held.length < sure) return;
    if (lost) this.#frame += Math.max(1, Math.round(least / lasts)) * frames;
    for (const h of this.#held.splice(0)) {
      this.#offsets.push(h.stampMs - (1000 * this.#frame) / this.#rate);
      if (this.#offsets.length > steadyOf) this.#offsets.shift();
      this.#give(h.buffer, this.#frame, h.stampMs);
      this.#frame += h.frames;
    }
  }
}

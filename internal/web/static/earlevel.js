// How loud the sound is, and whether that is fit to listen to.

const windowS = 0.05;
const judgedS = 3;
// Common practice, no source: a tick below a few hundredths of a percent of full
// scale drowns in the noise of a 16-bit microphone, and three samples at full
// scale within a tick are cut off.
const faint = 0.002;
const full = 0.999;
const cutSamples = 3;

/** Peak and rms of each 50 ms, and what the last 3 s of them mean. */
export class Level {
  #frames;
  #peak = 0;
  #square = 0;
  #filled = 0;
  #cut = 0;
  /** @type {{ peak: number, rms: number, cut: number }[]} */
  #windows = [];

  /** @param {number} rateHz */
  constructor(rateHz) {
    this.#frames = Math.round(windowS * rateHz);
  }

  /** @param {Float32Array} samples */
  add(samples) {
    for (const v of samples) {
      const a = Math.abs(v);
      if (a > this.#peak) this.#peak = a;
      if (a >= full) this.#cut++;
      this.#square += v * v;
      if (++this.#filled < this.#frames) continue;
      this.#windows.push({ peak: this.#peak, rms: Math.sqrt(this.#square / this.#filled), cut: this.#cut });
      if (this.#windows.length > judgedS / windowS) this.#windows.shift();
      this.#peak = this.#square = this.#filled = this.#cut = 0;
    }
  }

  /** Returns the greatest peak and the rms of the last windows, full scale 1. @param {number} [windows] of 50 ms */
  last(windows = 1) {
    const some = this.#windows.slice(-windows);
    return { peak: Math.max(0, ...some.map((w) => w.peak)), rms: Math.sqrt(some.reduce((sum, w) => sum + w.rms * w.rms, 0) / (some.length || 1)) };
  }

  /** Returns "too faint", "clipping" or "" of the last 3 s. */
  get words() {
    if (this.#windows.some((w) => w.cut >= cutSamples)) return "clipping";
    if (this.#windows.length >= judgedS / windowS && this.last(judgedS / windowS).peak < faint) return "too faint";
    return "";
  }
}

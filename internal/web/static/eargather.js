// Gathers blocks of sound into chunks; the same on the thread of the sound and
// on that of the page.

/**
 * @typedef {object} Gathered a stretch of one channel without a break
 * @property {number} start its first frame
 * @property {Float32Array} samples full scale is ±1
 * @property {number} lost frames before it that were never handed in
 * @property {boolean} gap it is nothing but blocks of exact zeros in every channel: a microphone never gives them, so no sound was handed in
 */

const chunkFrames = 2048;

/** Blocks in, chunks of at most 2048 frames out; a chunk is cut short where frames are lost and where a gap begins or ends. */
export class Gatherer {
  #give;
  #channel;
  #samples = new Float32Array(chunkFrames);
  #filled = 0;
  #start = 0;
  #next = -1; // the frame that is due; -1: any
  #lost = 0;
  #gap = false;

  /**
   * @param {number} channel counted from 0; the last one if there are fewer
   * @param {(chunk: Gathered) => void} give
   */
  constructor(channel, give) {
    this.#channel = channel;
    this.#give = give;
  }

  /**
   * Adds a block.
   *
   * @param {number} start its first frame
   * @param {Float32Array[]} channels none: there was no input
   * @param {number} frames of the block
   */
  add(start, channels, frames) {
    const block = channels[Math.min(this.#channel, channels.length - 1)];
    const gap = !block || channels.every((channel) => channel.every((v) => v === 0));
    const step = this.#next < 0 ? 0 : start - this.#next;
    if (step !== 0 || gap !== this.#gap) this.flush();
    this.#gap = gap;
    this.#lost += Math.max(0, step);
    this.#next = start + frames;
    for (let from = 0; from < frames;) {
      if (this.#filled === 0) this.#start = start + from;
      const n = Math.min(frames - from, chunkFrames - this.#filled);
      if (!gap) this.#samples.set(block.subarray(from, from + n), this.#filled);
      this.#filled += n;
      from += n;
      if (this.#filled === chunkFrames) this.flush();
    }
  }

  /** Gives what is gathered. */
  flush() {
    if (this.#filled === 0) return;
    const samples = this.#samples.slice(0, this.#filled);
    const chunk = { start: this.#start, samples, lost: this.#lost, gap: this.#gap };
    this.#samples.fill(0);
    this.#filled = this.#lost = 0;
    this.#give(chunk);
  }
}

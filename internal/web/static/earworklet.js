import { Gatherer } from "./eargather.js";

/**
 * Posts what comes in as chunks, each with the context time `at` after its last
 * frame, s. Frames are those of the context, so that a block it left out is
 * lost. Any message ends it.
 */
class EarProcessor extends AudioWorkletProcessor {
  #heard = false;
  #on = true;
  #gatherer;

  /** @param {{ processorOptions?: { channel?: number } }} options */
  constructor(options) {
    super();
    this.#gatherer = new Gatherer(options.processorOptions?.channel ?? 0, (chunk) => {
      this.port.postMessage({ ...chunk, at: (chunk.start + chunk.samples.length) / sampleRate }, [chunk.samples.buffer]);
    });
    this.port.onmessage = () => {
      this.#gatherer.flush();
      this.#on = false;
    };
  }

  /** @param {Float32Array[][]} inputs @returns {boolean} */
  process(inputs) {
    const channels = inputs[0] ?? [];
    // Until the first sound comes nothing is missed: a graph stumbles as it starts.
    this.#heard ||= channels.some((channel) => channel.some((v) => v !== 0));
    if (this.#heard) this.#gatherer.add(currentFrame, channels, channels[0]?.length ?? 128);
    return this.#on;
  }
}

registerProcessor("timeball-ear", EarProcessor);

// Listens to the microphone of this device, and places what it hears on UTC.
import { Counter, Stamps } from "./earstamp.js";
import { Gatherer } from "./eargather.js";

/**
 * @typedef {import("./device.js").DeviceClock} DeviceClock
 *
 * @typedef {object} Heard a stretch of sound without a break
 * @property {number} start its first frame
 * @property {Float32Array} samples full scale is ±1
 * @property {number} lost frames before it that were never handed in
 * @property {boolean} gap nothing but exact zeros in every channel: no sound was handed in
 * @property {number} endPerfMs when its last frame was captured, or handed in, ms of performance.now; NaN: not known
 * @property {number} utcMs the same as UTC, ms since 1970; NaN: not known
 * @property {number} boundMs bound of that against the server, without the way through the microphone
 */

const processings = { echoCancellation: "echo cancellation", noiseSuppression: "noise suppression", autoGainControl: "automatic gain control", voiceIsolation: "voice isolation" };
const queued = 1000; // buffers of 10 ms that wait while the page is busy
const quietMs = 2000; // without any sound handed in

/**
 * The microphone. Chunks come as events "chunk", a change of `words` as
 * "change", and "ended" says that no more sound comes.
 *
 * Where the browser hands out the buffers of the microphone with its own stamps
 * they are taken ("track"): the sound is counted by the clock of the
 * microphone. Elsewhere it goes through an audio graph ("graph"), which runs on
 * the clock of the sound output; where the two are different devices, the
 * browser leaves out or fills in sound to make up for their difference.
 */
export class Ear extends EventTarget {
  /** @type {"track" | "graph"} */
  capture = "graph";
  rateHz = NaN;
  label = "";
  /** Stays the same from day to day for one microphone of one browser. */
  key = "";
  /** @type {Record<string, unknown>} what the browser says it does with the sound */
  settings = {};
  /** In words, why the sound ended; "" while it comes. */
  trouble = "";

  #clock;
  #channel;
  #wanted;
  /** @type {MediaStream | null} */
  #stream = null;
  /** @type {AudioContext | null} */
  #context = null;
  /** @type {Stamps | null} */
  #stamps = null;
  #stop = () => {};
  #watch = 0;
  #last = NaN;
  #said = "";

  /**
   * @param {DeviceClock} clock
   * @param {{ channel?: number, capture?: "track" | "graph" }} [options]
   */
  constructor(clock, { channel = 0, capture = "MediaStreamTrackProcessor" in globalThis ? "track" : "graph" } = {}) {
    super();
    this.#clock = clock;
    this.#channel = channel;
    this.#wanted = capture;
  }

  /** Returns in one sentence why this page cannot listen; "" if it can. */
  static get hindrance() {
    if (!isSecureContext) return "The browser gives the microphone only to a page that comes over https or from this computer itself; send a recording instead.";
    if (!navigator.mediaDevices?.getUserMedia || !("AudioWorkletNode" in globalThis)) return "This browser cannot listen; send a recording instead.";
    return "";
  }

  /** Returns the microphones; without permission they have no labels. @returns {Promise<{ id: string, label: string }[]>} */
  static async devices() {
    const all = (await navigator.mediaDevices?.enumerateDevices?.()) ?? [];
    return all.filter((d) => d.kind === "audioinput").map((d, k) => ({ id: d.deviceId, label: d.label || `microphone ${k + 1}` }));
  }

  /**
   * Asks for the microphone and begins to listen. What it throws is a sentence.
   *
   * @param {string} [id] of the microphone
   */
  async open(id = "") {
    if (Ear.hindrance) throw new Error(Ear.hindrance);
    this.close();
    this.trouble = "";
    try {
      this.#stream = await navigator.mediaDevices.getUserMedia({ audio: {
        echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: { ideal: 1 },
        ...(id ? { deviceId: { exact: id } } : {}),
      } });
    } catch (fault) {
      throw new Error(refusals[/** @type {DOMException} */ (fault).name] ?? `The microphone cannot be opened (${/** @type {DOMException} */ (fault).message}); send a recording instead.`);
    }
    const [track] = this.#stream.getAudioTracks();
    this.label = track.label;
    this.settings = { ...track.getSettings() };
    this.key = await steadyKey(this.settings);
    track.addEventListener("ended", () => this.#end("The microphone was taken away: plug it in again, and listen anew."));
    track.addEventListener("mute", () => this.#tell());
    track.addEventListener("unmute", () => this.#tell());
    try {
      await (this.#wanted === "track" ? this.#byTrack(track) : this.#byGraph(this.#stream));
    } catch (fault) {
      this.close();
      throw new Error(`The sound of the microphone cannot be taken (${/** @type {Error} */ (fault).message}); send a recording instead.`);
    }
    this.#watch = setInterval(() => this.#tell(), 500);
    this.#tell();
  }

  /** @param {MediaStreamTrack} track */
  async #byTrack(track) {
    this.capture = "track";
    const reader = new MediaStreamTrackProcessor({ track, maxBufferSize: queued }).readable.getReader();
    let on = true;
    this.#stop = () => { on = false; reader.cancel().catch(() => {}); };
    const gatherer = new Gatherer(this.#channel, (chunk) => this.#give(chunk));
    /** @type {Counter<Float32Array[]> | null} */
    let counter = null;
    /** @param {AudioData} sound */
    const take = (sound) => {
      if (sound.sampleRate !== this.rateHz || !counter) {
        if (counter) return this.#end("The microphone has changed its sampling frequency: listen anew.");
        this.rateHz = sound.sampleRate;
        const stamps = this.#stamps = new Stamps(this.rateHz, true);
        counter = new Counter(this.rateHz, (channels, frame, stampMs) => {
          stamps.tell(frame, stampMs);
          gatherer.add(frame, channels, channels[0].length);
        });
      }
      const channels = Array.from({ length: sound.numberOfChannels }, (_, planeIndex) => {
        const plane = new Float32Array(sound.numberOfFrames);
        sound.copyTo(plane, { planeIndex, format: "f32-planar" });
        return plane;
      });
      counter.add(channels, sound.numberOfFrames, sound.timestamp / 1000);
    };
    const first = await Promise.race([reader.read(), new Promise((done) => setTimeout(done, quietMs))]);
    if (!first || first.done) throw new Error("it gives none");
    take(first.value);
    first.value.close();
    (async () => {
      while (on) {
        const { value, done } = await reader.read();
        if (done) break;
        if (on) take(value);
        value.close();
      }
    })().catch((fault) => { if (on) this.#end(`The sound of the microphone broke off (${fault.message}): listen anew.`); });
  }

  /** @param {MediaStream} stream */
  async #byGraph(stream) {
    this.capture = "graph";
    const context = this.#context = await graphFor(stream, this.settings.sampleRate);
    await context.audioWorklet.addModule(new URL("./earworklet.js", import.meta.url));
    this.rateHz = context.sampleRate;
    const stamps = this.#stamps = new Stamps(this.rateHz, false);
    const node = new AudioWorkletNode(context, "timeball-ear", { numberOfInputs: 1, numberOfOutputs: 0, processorOptions: { channel: this.#channel } });
    node.port.onmessage = ({ data }) => {
      const out = context.getOutputTimestamp?.();
      if (out?.contextTime && out.performanceTime) stamps.tell(out.contextTime * this.rateHz, out.performanceTime);
      this.#give(data);
    };
    context.addEventListener("statechange", () => { stamps.clear(); this.#tell(); });
    context.createMediaStreamSource(stream).connect(node);
    this.#stop = () => { node.port.postMessage("end"); context.close().catch(() => {}); };
    await Promise.race([context.resume(), new Promise((done) => setTimeout(done, 1000))]);
    this.settings.baseLatency = context.baseLatency;
    this.settings.outputLatency = context.outputLatency;
  }

  /** @param {import("./eargather.js").Gathered} chunk */
  #give(chunk) {
    const stamps = this.#stamps;
    if (!this.#stream || !stamps) return; // it was closed
    const end = chunk.start + chunk.samples.length;
    this.#last = performance.now();
    stamps.arrive(end, this.#last);
    const endPerfMs = stamps.at(end);
    const placed = Number.isNaN(endPerfMs) ? null : this.#clock.place(endPerfMs);
    /** @type {Heard} */
    const detail = { ...chunk, endPerfMs, utcMs: placed?.utcMs ?? NaN, boundMs: placed ? 1000 * placed.boundS + stamps.spreadMs / 2 : NaN };
    this.dispatchEvent(new CustomEvent("chunk", { detail }));
  }

  /** @param {string} why */
  #end(why) {
    if (!this.#stream) return;
    this.close();
    this.trouble = why;
    this.#tell();
    this.dispatchEvent(new Event("ended"));
  }

  #tell() {
    const words = this.words;
    if (words === this.#said) return;
    this.#said = words;
    this.dispatchEvent(new Event("change"));
  }

  /** Whether it listens. */
  get on() {
    return this.#stream !== null;
  }

  /** Returns what is wrong with the sound, in sentences; "" if nothing is. */
  get words() {
    if (this.trouble) return this.trouble;
    if (!this.#stream) return "";
    const kept = Object.entries(processings).filter(([name]) => this.settings[name] && this.settings[name] !== "none").map(([, words]) => words);
    const spoilt = kept.length > 0 ? `The browser keeps ${kept.join(" and ")} on, which spoils ticks: choose another microphone or browser.` : "";
    const [track] = this.#stream.getAudioTracks();
    const silenced = track.muted || (this.#context && this.#context.state !== "running");
    if (silenced || performance.now() - this.#last > quietMs) {
      return [document.hidden ? "This device gives no sound while the page is hidden: keep it in view." : "This device gives no sound: see that the microphone is plugged in and not muted, and listen anew.", spoilt].filter(Boolean).join(" ");
    }
    return spoilt;
  }

  /** Returns the latency of the way in as the browser reports it, s; null if it does not. */
  get latencyS() {
    return typeof this.settings.latency === "number" ? this.settings.latency : null;
  }

  /** Whether what is heard is placed in time, which takes 2 s. */
  get settled() {
    return this.#stamps?.settled ?? false;
  }

  /** Returns how the stamps stand: their scatter and how long before they are in hand frames are stamped, ms. */
  get steadiness() {
    return { spreadMs: this.#stamps?.spreadMs ?? NaN, lagMs: this.#stamps?.lagMs ?? NaN };
  }

  /** Gives the microphone back. */
  close() {
    clearInterval(this.#watch);
    this.#stop();
    this.#stop = () => {};
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#stream = this.#context = null;
    this.#last = NaN;
  }
}

/** @type {Record<string, string>} */
const refusals = {
  NotAllowedError: "The browser was not allowed the microphone: allow it in the settings of this page, or send a recording.",
  SecurityError: "The browser was not allowed the microphone: allow it in the settings of this page, or send a recording.",
  NotFoundError: "No microphone was found: plug one in, or send a recording.",
  OverconstrainedError: "The chosen microphone is not there: choose another one, or send a recording.",
  NotReadableError: "The microphone is in use elsewhere: close what uses it, or send a recording.",
  AbortError: "The microphone did not start: plug it in anew, or send a recording.",
};

/**
 * Returns a graph at the microphone's own sampling frequency, because a change
 * of it blurs what is counted; where the browser says none, or cannot, at the one it
 * likes.
 *
 * @param {MediaStream} stream
 * @param {unknown} rateHz
 */
async function graphFor(stream, rateHz) {
  if (typeof rateHz === "number" && rateHz > 0) {
    const context = new AudioContext({ sampleRate: rateHz, latencyHint: "interactive" });
    try {
      context.createMediaStreamSource(stream).disconnect();
      return context;
    } catch {
      context.close().catch(() => {}); // then at the one it likes
    }
  }
  return new AudioContext({ latencyHint: "interactive" });
}

/**
 * Returns the name of the microphone itself where it was asked for as the
 * default one, which may be another tomorrow.
 *
 * @param {Record<string, unknown>} settings
 * @returns {Promise<string>}
 */
async function steadyKey(settings) {
  const id = String(settings.deviceId ?? "");
  if (id && id !== "default" && id !== "communications") return id;
  try {
    const all = await navigator.mediaDevices.enumerateDevices();
    const same = all.find((d) => d.kind === "audioinput" && d.groupId === settings.groupId && !["default", "communications", ""].includes(d.deviceId));
    return same?.deviceId ?? id;
  } catch {
    return id;
  }
}

// Plays a tone and hears it, to see how late the stamps of the sound are.
import { middle } from "./earstamp.js";

/** @typedef {import("./ear.js").Ear} Ear */

const fromHz = 2000, toHz = 6000, lastsS = 0.02; // passes a speaker, a room and a pick-up; no tick is like it
// Unevenly apart, so that no beat that is taken for the tone falls alike three times.
const playedS = [0, 1.07, 2.31];
const times = playedS.length;
const leadS = 0.4;
const beforeS = 0.05, afterS = 0.9; // where it is looked for, around when it was given out
const likeness = 0.3; // of what is heard to the tone: noise reaches 0.15
const agreeS = 0.003;

/**
 * Returns a tone that rises from 2 to 6 kHz within 20 ms and swells and fades.
 *
 * @param {number} rateHz
 */
export function sweep(rateHz) {
  const n = Math.round(lastsS * rateHz);
  return Float32Array.from({ length: n }, (_, k) => {
    const t = k / rateHz;
    return 0.8 * Math.sin(Math.PI * k / (n - 1)) ** 2 * Math.sin(2 * Math.PI * (fromHz * t + ((toHz - fromHz) * t * t) / (2 * lastsS)));
  });
}

/**
 * Returns where in the sound the tone lies best and how like it that is, 0 to 1.
 *
 * @param {Float32Array} sound
 * @param {Float32Array} tone
 */
export function find(sound, tone) {
  // Differences take away hum, which would hide the likeness.
  const steps = (/** @type {Float32Array} */ x) => x.subarray(1).map((v, k) => v - x[k]);
  const x = steps(sound), y = steps(tone);
  const own = y.reduce((sum, v) => sum + v * v, 0);
  let best = { at: 0, likeness: 0 };
  let energy = 0;
  for (let k = 0; k < y.length - 1 && k < x.length; k++) energy += x[k] * x[k];
  for (let at = 0; at + y.length <= x.length; at++) {
    energy += x[at + y.length - 1] ** 2;
    let sum = 0;
    for (let k = 0; k < y.length; k++) sum += x[at + k] * y[k];
    const like = energy > 0 ? Math.abs(sum) / Math.sqrt(energy * own) : 0;
    if (like > best.likeness) best = { at, likeness: like };
    energy = Math.max(0, energy - x[at] ** 2);
  }
  return best;
}

/**
 * Plays the tone three times, hears it, and returns how long it took from when
 * it was given to the output to the stamp under which it was heard, and how much
 * of that the output takes by its own account: the stamps are late by no less
 * than nothing, by no more than the whole, and by the rest if the output is right
 * and the way short. What it throws is a sentence.
 *
 * @param {Ear} ear that listens
 * @param {{ context?: AudioContext, destination?: AudioNode }} [out] where it is played
 * @returns {Promise<{ round_trip_s: number, spread_s: number, output_latency_s: number }>}
 */
export async function checkTone(ear, out = {}) {
  if (!ear.on) throw new Error("Listen first, then play the check tone.");
  const context = out.context ?? new AudioContext({ latencyHint: "interactive" });
  /** @type {import("./ear.js").Heard[]} */
  const heard = [];
  const keep = (/** @type {Event} */ e) => { heard.push(/** @type {CustomEvent} */ (e).detail); };
  ear.addEventListener("chunk", keep);
  try {
    // Without a gesture resume waits for ever.
    await Promise.race([context.resume(), new Promise((done) => setTimeout(done, 1000))]);
    if (context.state !== "running") throw new Error("This device plays no sound: press the button again.");
    for (let k = 0; k < 100 && ear.on && !ear.settled; k++) await new Promise((done) => setTimeout(done, 50));
    const tone = sweep(context.sampleRate);
    const buffer = new AudioBuffer({ length: tone.length, sampleRate: context.sampleRate });
    buffer.copyToChannel(tone, 0);
    const due = playedS.map((after) => context.currentTime + leadS + after);
    for (const at of due) {
      const source = new AudioBufferSourceNode(context, { buffer });
      source.connect(out.destination ?? context.destination);
      source.start(at);
    }
    /** @type {number[]} */
    const left = []; // performance.now of context time 0 as it leaves the device, ms
    let given = Infinity; // the same as it is given to the output, at the earliest
    while (context.currentTime < due[times - 1] + afterS + 0.3) {
      given = Math.min(given, performance.now() - 1000 * context.currentTime);
      const told = context.getOutputTimestamp?.();
      if (told?.contextTime && told.performanceTime) left.push(told.performanceTime - 1000 * told.contextTime);
      await new Promise((done) => setTimeout(done, 20));
      if (context.state !== "running" || !ear.on) throw new Error("The check tone was interrupted: play it again.");
    }
    const latencyS = left.length > 0 ? Math.max(0, middle(left) - given) / 1000 : context.outputLatency || context.baseLatency || 0;
    const tripsS = due.map((at) => tripS(heard, ear.rateHz, given + 1000 * at)).sort((a, b) => a - b);
    const spread = tripsS[times - 1] - tripsS[0];
    if (!(spread <= agreeS)) throw new Error("The check tone was not heard: turn the sound of this device up, bring the microphone near, and play it again.");
    return { round_trip_s: middle(tripsS), spread_s: spread, output_latency_s: latencyS };
  } finally {
    ear.removeEventListener("chunk", keep);
    if (!out.context) context.close().catch(() => {});
  }
}

/**
 * Returns how long after an instant the tone was heard, s; NaN: it was not.
 *
 * @param {import("./ear.js").Heard[]} heard
 * @param {number} rateHz
 * @param {number} givenMs ms of performance.now
 */
function tripS(heard, rateHz, givenMs) {
  const some = heard.filter((c) => c.endPerfMs > givenMs - 1000 * beforeS && c.endPerfMs - (1000 * c.samples.length) / rateHz < givenMs + 1000 * afterS);
  const first = some[0], last = some.at(-1);
  if (!first || !last) return NaN;
  const end = last.start + last.samples.length;
  const sound = new Float32Array(end - first.start);
  for (const c of some) sound.set(c.samples, c.start - first.start);
  const found = find(sound, sweep(rateHz));
  if (found.likeness < likeness) return NaN;
  return (last.endPerfMs - (1000 * (end - first.start - found.at)) / rateHz - givenMs) / 1000;
}

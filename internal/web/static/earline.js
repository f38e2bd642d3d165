// Carries sound to the server over a connection that may be cut.

/** @typedef {import("./ear.js").Heard} Heard */

const magic = 0x31534254;
const headBytes = 40;
const keepS = 60; // of sound that is not acknowledged
const bufferedBytes = 1 << 20; // handed to the socket at once
const soonMs = 250;
const seldomMs = 5_000;
const deafMs = 10_000; // the server says what it has every second
const partMs = 5_000;
const refused = [1008, 1009]; // policy violation, message too big: RFC 6455, section 7.4.1

/**
 * Returns a chunk as it goes to the server, little-endian.
 *
 * @param {Heard} chunk
 */
export function wire({ start, samples, lost, gap, utcMs, boundMs }) {
  const bytes = new ArrayBuffer(headBytes + 4 * samples.length);
  const view = new DataView(bytes);
  view.setUint32(0, magic, true);
  view.setUint32(4, samples.length, true);
  view.setFloat64(8, start, true);
  view.setFloat64(16, utcMs, true);
  view.setFloat64(24, boundMs, true);
  view.setUint32(32, Math.min(lost, 0xffffffff), true);
  view.setUint32(36, gap ? 1 : 0, true);
  samples.forEach((v, k) => view.setFloat32(headBytes + 4 * k, v, true));
  return bytes;
}

/**
 * The connection. Sound is kept until the server has it, and sent again after a
 * cut. Events: "change" when `words` does, "message" with what else the server
 * says, and "refused" when it wants no more.
 */
export class Line extends EventTarget {
  /** In words, what stands in the way; "" while all goes well. */
  words = "";

  #url;
  #hello;
  #rateHz;
  /** @type {WebSocket | null} */
  #socket = null;
  #greeted = false;
  #down = false; // cut off, or never reached
  #resume = false;
  /** @type {{ start: number, end: number, bytes: ArrayBuffer }[]} the oldest first */
  #kept = [];
  #next = 0; // of those kept, the first that was not sent on this connection
  /** @type {string[]} */
  #texts = [];
  #wait = soonMs;
  #retry = 0;
  #pumping = 0;
  #deaf = 0;
  #givenUp = 0; // frames
  #over = false;
  #stopped = false; // it was said on this connection
  /** @type {((done: boolean) => void) | null} */
  #finish = null;

  /**
   * @param {string} url
   * @param {{ rate_hz: number }} hello what is said first, without `resume`
   */
  constructor(url, hello) {
    super();
    this.#url = new URL(url, location.href);
    this.#url.protocol = this.#url.protocol === "https:" ? "wss:" : "ws:";
    this.#hello = hello;
    this.#rateHz = hello.rate_hz;
    addEventListener("online", this.#again);
    this.#open();
  }

  /** @param {Heard} chunk */
  send(chunk) {
    if (this.#over) return;
    this.#kept.push({ start: chunk.start, end: chunk.start + chunk.samples.length, bytes: wire(chunk) });
    while (this.#kept.length > 1 && this.#kept[this.#kept.length - 1].end - this.#kept[0].start > keepS * this.#rateHz) {
      const [gone] = this.#kept.splice(0, 1);
      // What is on its way may yet come.
      if (this.#next > 0) this.#next--;
      else this.#givenUp += gone.end - gone.start;
    }
    this.#pump();
    this.#tell();
  }

  /** @param {object} message */
  say(message) {
    this.#texts.push(JSON.stringify(message));
    this.#pump();
  }

  /** Sends what is kept and says that the sound is over. @returns {Promise<boolean>} whether the server has it all */
  stop() {
    if (this.#over) return Promise.resolve(this.#kept.length === 0);
    this.#finish?.(false);
    return new Promise((done) => {
      const patience = setTimeout(() => this.#finish?.(false), partMs);
      this.#finish = (whole) => {
        clearTimeout(patience);
        this.#finish = null;
        this.#close();
        done(whole);
      };
      this.#pump();
    });
  }

  #again = () => {
    if (this.#socket || this.#over) return;
    clearTimeout(this.#retry);
    this.#open();
  };

  #open() {
    const socket = new WebSocket(this.#url);
    this.#socket = socket;
    this.#greeted = this.#stopped = false;
    socket.binaryType = "arraybuffer";
    socket.onopen = () => socket.send(JSON.stringify({ hello: { ...this.#hello, resume: this.#resume } }));
    socket.onmessage = ({ data }) => {
      if (socket !== this.#socket) return;
      this.#listen();
      try {
        this.#hear(JSON.parse(data));
      } catch {
        // A later server may say more than this page understands.
      }
    };
    socket.onclose = ({ code, reason }) => {
      if (socket === this.#socket) this.#cut(code, reason);
    };
    this.#listen();
  }

  /** Gives the connection up when the server has said nothing for long. */
  #listen() {
    clearTimeout(this.#deaf);
    this.#deaf = setTimeout(() => {
      this.#socket?.close();
      this.#cut(1006, "");
    }, deafMs);
  }

  /** @param {Record<string, any>} message */
  #hear(message) {
    if (typeof message.have === "number") {
      this.#had(message.have);
      if (!this.#greeted) {
        this.#greeted = this.#resume = true;
        this.#down = false;
        this.#next = 0;
        this.#wait = soonMs;
      }
      this.#pump();
      this.#tell();
    } else if (message.done !== undefined && this.#finish) {
      this.#finish(this.#kept.length === 0);
    } else {
      this.dispatchEvent(new CustomEvent("message", { detail: message }));
    }
  }

  /** @param {number} have all frames before it are on the server */
  #had(have) {
    // A sound begun anew may count from 0 while the server still has an older one.
    if (!this.#greeted && !this.#resume) return;
    let n = 0;
    while (n < this.#kept.length && this.#kept[n].end <= have) n++;
    this.#kept.splice(0, n);
    this.#next = Math.max(0, this.#next - n);
  }

  #pump() {
    clearTimeout(this.#pumping);
    const socket = this.#socket;
    if (!socket || !this.#greeted || socket.readyState !== WebSocket.OPEN) return;
    for (; this.#texts.length > 0; this.#texts.shift()) socket.send(this.#texts[0]);
    while (this.#next < this.#kept.length && socket.bufferedAmount < bufferedBytes) socket.send(this.#kept[this.#next++].bytes);
    if (this.#next < this.#kept.length) this.#pumping = setTimeout(() => this.#pump(), 50);
    else if (this.#finish && !this.#stopped) {
      this.#stopped = true;
      socket.send(JSON.stringify({ do: "stop" }));
    }
  }

  /** @param {number} code @param {string} reason */
  #cut(code, reason) {
    clearTimeout(this.#deaf);
    this.#socket = null;
    if (refused.includes(code) || code === 1000) {
      const finish = this.#finish;
      this.#close();
      finish?.(false);
      this.dispatchEvent(new CustomEvent("refused", { detail: reason }));
      return;
    }
    if (this.#over) return;
    this.#retry = setTimeout(this.#again, this.#wait);
    this.#wait = Math.min(2 * this.#wait, seldomMs);
    this.#greeted = false;
    this.#down = true;
    this.#next = 0;
    this.#tell();
  }

  #tell() {
    const givenUpS = this.#givenUp / this.#rateHz;
    const words = [
      !this.#down || this.#over ? "" : `There is no connection to the computer of the workshop: the last ${keepS} s of sound are kept and sent when it is back.`,
      givenUpS > 0 ? `${givenUpS.toFixed(0)} s of sound were given up while there was no connection.` : "",
    ].filter(Boolean).join(" ");
    if (words === this.words) return;
    this.words = words;
    this.dispatchEvent(new Event("change"));
  }

  #close() {
    this.#over = true;
    this.#finish = null;
    removeEventListener("online", this.#again);
    for (const timer of [this.#retry, this.#pumping, this.#deaf]) clearTimeout(timer);
    const socket = this.#socket;
    this.#socket = null;
    socket?.close(1000);
    this.#tell();
  }
}

// Keeps what could not be sent, and sends it when the connection is back.

/**
 * @typedef {object} Kept what waits to be sent
 * @property {string} id of the entry; the server writes it once however often it comes
 * @property {string} action where it is sent to
 * @property {[string, string][]} body its fields
 * @property {string} type "multipart/form-data" or "application/x-www-form-urlencoded"
 * @property {string} at when it was pressed, UTC, if that was known
 * @property {string} page from which it comes
 * @property {{ perf: number, broken: number, origin: number } | null} [press] when it was pressed, where UTC was not known
 * @property {string} [words] why the server refused it
 *
 * @typedef {{ ok?: boolean, href?: string, words?: string, problems?: (string | { words?: string })[] }} Answer
 */

/** @typedef {import("./device.js").DeviceClock} DeviceClock */

// One key an entry: two tabs that keep two entries at once do not overwrite each other.
const prefix = "timeball.outbox.";
const soonMs = 5_000;
const seldomMs = 60_000;
const patienceMs = 20_000;
const lingerMs = 250;

const changed = new EventTarget();
/** @type {DeviceClock | null} */
let clock = null;
let wait = soonMs;
let timer = 0;
let running = false;
/** What this page sends for the first time: it does not wait yet. */
const first = new Set();

/** @returns {Kept[]} the oldest first */
function all() {
  /** @type {Kept[]} */
  const found = [];
  for (const key of keysUnder(prefix)) {
    const kept = read(key.slice(prefix.length));
    if (kept) found.push(kept);
  }
  return found.sort((a, b) => (a.id < b.id ? -1 : 1));
}

/**
 * Returns the keys of what this device keeps under a prefix; none where it keeps
 * nothing.
 *
 * @param {string} prefix
 * @returns {string[]}
 */
export function keysUnder(prefix) {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(prefix));
  } catch {
    return [];
  }
}

/** @param {string} id @returns {Kept | null} */
function read(id) {
  try {
    const kept = JSON.parse(localStorage.getItem(prefix + id) ?? "null");
    return kept && typeof kept.action === "string" && Array.isArray(kept.body) ? kept : null;
  } catch {
    return null;
  }
}

/** @param {Kept} kept @returns {boolean} whether this device can keep it */
function write(kept) {
  try {
    localStorage.setItem(prefix + kept.id, JSON.stringify(kept));
  } catch {
    return false;
  }
  changed.dispatchEvent(new Event("change"));
  return true;
}

/** @param {string} id */
function drop(id) {
  localStorage.removeItem(prefix + id);
  changed.dispatchEvent(new Event("change"));
}

/**
 * Runs `act` while no other tab sends the same entry.
 *
 * @template T
 * @param {string} id
 * @param {boolean} waiting whether to wait for the other tab
 * @param {() => Promise<T>} act
 * @returns {Promise<T | undefined>}
 */
function alone(id, waiting, act) {
  if (!navigator.locks) return act();
  return new Promise((resolve, reject) => {
    navigator.locks.request(prefix + id, { ifAvailable: !waiting }, async (lock) => {
      if (!lock) return resolve(undefined);
      await act().then(resolve, reject);
      // Another tab sees a little later that the entry is gone.
      if (!read(id)) await new Promise((done) => setTimeout(done, lingerMs));
    }).catch(reject);
  });
}

/**
 * Sends an entry.
 *
 * @param {Kept} kept
 * @param {FormData} [whole] its fields with files, which are not kept
 * @returns {Promise<{ end: "done" | "refused" | "unsent" | "away", answer: Answer, why: string }>} unsent: the server
 * has answered, and this entry must come again; away: it was not reached
 */
async function post(kept, whole) {
  try {
    const fields = whole ?? new FormData();
    if (!whole) for (const [name, value] of kept.body) fields.append(name, value);
    const body = kept.type === "multipart/form-data" ? fields : new URLSearchParams(kept.body);
    const r = await fetch(kept.action, { method: "POST", body, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(patienceMs) });
    /** @type {Answer | null} */
    const answer = await r.json().catch(() => null);
    if (r.ok && answer?.ok === true) return { end: "done", answer, why: "" };
    if (r.status === 401 || r.status === 403) return { end: "unsent", answer: {}, why: "sign in again on this device" };
    if (r.status >= 400 && r.status < 500 && r.status !== 408 && r.status !== 429) {
      return { end: "refused", answer: answer ?? {}, why: sentences(answer) || `the server refused it (${r.status})` };
    }
    // Also a page that is not the server's, such as the sign-in of a network.
    return { end: "unsent", answer: {}, why: `the server could not write it (${r.status})` };
  } catch {
    return { end: "away", answer: {}, why: "" };
  }
}

/** @param {Answer | null} answer */
function sentences(answer) {
  return (answer?.problems ?? []).map((p) => (typeof p === "string" ? p : (p.words ?? ""))).filter(Boolean).join("; ");
}

/**
 * Writes the instant of pressing into a field `at` that says "now" or nothing,
 * so that an entry sent late keeps its time.
 *
 * @param {Kept} kept
 * @param {string} instant
 */
function stamp(kept, instant) {
  kept.body = kept.body.map(([name, value]) => (name === "at" && /^\s*(now)?\s*$/i.test(value) ? [name, instant] : [name, value]));
}

/** @param {Kept} kept */
function timeless(kept) {
  return kept.body.some(([name, value]) => name === "at" && /^\s*(now)?\s*$/i.test(value));
}

/**
 * Sends a form without leaving the page, and keeps on this device what does not
 * get through. It is kept before it is sent, so that a page closed meanwhile
 * loses nothing. The form gets the event "taken" once the entry is written by
 * the server or kept here, with detail.sent telling which.
 *
 * @param {HTMLFormElement} form
 * @param {DeviceClock} device
 * @param {(answer: Answer, form: HTMLFormElement) => void} [onkept] by default the page the answer names is opened
 */
export function keep(form, device, onkept = (answer) => { if (answer.href) location.assign(answer.href); }) {
  runOutbox(device);
  let busy = false;
  let waiting = ""; // the entry of this form that is kept here
  /** @type {HTMLButtonElement | null} */
  let barred = null; // so that it is not pressed twice

  /** @param {string[]} lines */
  function say(...lines) {
    let place = form.querySelector("[data-says]");
    if (!place) {
      place = document.createElement("p");
      place.setAttribute("data-says", "");
      place.setAttribute("role", "status");
      form.append(place);
    }
    place.replaceChildren(...lines.map((text) => Object.assign(document.createElement("span"), { textContent: text + " " })));
  }

  form.addEventListener("submit", async (event) => {
    // Others fill fields in first, or stop it.
    if (event.defaultPrevented) return;
    event.preventDefault();
    if (busy) return;
    const pressed = performance.now();
    busy = true;
    const button = event.submitter instanceof HTMLButtonElement ? event.submitter : null;
    if (button) button.disabled = true;
    try {
      await submit(pressed, button);
    } finally {
      busy = false;
      if (waiting) barred = button;
      else if (button) button.disabled = false;
    }
  });

  /** @param {number} pressed ms of performance.now @param {HTMLButtonElement | null} button */
  async function submit(pressed, button) {
    const fields = new FormData(form);
    if (button?.name) fields.append(button.name, button.value);
    const files = [...fields].some(([, value]) => value instanceof File && value.size > 0);
    const utc = device.utcAt(pressed);
    const at = Number.isNaN(utc) ? "" : new Date(utc).toISOString();
    /** @type {Kept} */
    const kept = {
      id: String(fields.get("id") || crypto.getRandomValues(new Uint32Array(3)).join("-")),
      action: new URL(form.getAttribute("action") || location.href, location.href).href,
      body: [...fields].flatMap(([name, value]) => (typeof value === "string" ? [/** @type {[string, string]} */ ([name, value])] : [])),
      type: form.enctype === "multipart/form-data" ? form.enctype : "application/x-www-form-urlencoded",
      at, page: location.href,
    };
    if (at) stamp(kept, at);
    else if (timeless(kept)) kept.press = { perf: pressed, broken: device.state.broken, origin: performance.timeOrigin };
    /** @type {FormData | undefined} */
    let whole;
    if (files) {
      whole = new FormData();
      for (const [name, value] of kept.body) whole.append(name, value);
      for (const [name, value] of fields) if (value instanceof File) whole.append(name, value);
    }
    // Before anything is waited for: the page may be closed at any moment.
    first.add(kept.id);
    const safe = !files && write(kept);
    say("Sending…");
    await alone(kept.id, true, async () => {
      const { end, answer, why } = await post(kept, whole);
      first.delete(kept.id);
      changed.dispatchEvent(new Event("change"));
      if (end === "done") {
        drop(kept.id);
        say(answer.words ?? "Written.");
        form.dispatchEvent(new CustomEvent("taken", { detail: { sent: true } }));
        onkept(answer, form);
      } else if (end === "refused") {
        drop(kept.id);
        const problems = (answer.problems ?? []).map((p) => (typeof p === "string" ? p : (p.words ?? "")));
        say(...(problems.length > 0 ? problems : [why]));
      } else if (safe) {
        waiting = kept.id;
        told = "";
        say(`Kept on this device; it is sent when the connection is back${why ? `: ${why}` : ""}.`);
        form.dispatchEvent(new CustomEvent("taken", { detail: { sent: false } }));
        later();
      } else {
        say(files ? "No connection, and a picture cannot be kept here: leave this page open and send it again." : "No connection, and this device keeps nothing: leave this page open and send it again.");
      }
    });
  }

  let told = "";
  changed.addEventListener("change", () => {
    if (!waiting || told === waiting || read(waiting)) return;
    told = waiting;
    say("Sent.");
  });
  // Changed after it was kept, it may be sent again: under the same id while it
  // waits, and as another entry once it was sent.
  form.addEventListener("input", () => {
    if (!waiting || busy) return;
    const id = form.querySelector("input[name=id]");
    if (id instanceof HTMLInputElement && id.value === waiting && !read(waiting)) id.value = newID(performance.timeOrigin + performance.now());
    waiting = "";
    if (barred) barred.disabled = false;
  });
}

/**
 * Sends what waits: now, when the connection or the page comes back, and from
 * time to time.
 *
 * @param {DeviceClock} device
 */
export function runOutbox(device) {
  clock ??= device;
  if (running) return;
  running = true;
  const now = () => { wait = soonMs; resend(); };
  addEventListener("online", now);
  addEventListener("storage", (event) => { if (event.key === null || event.key.startsWith(prefix)) changed.dispatchEvent(new Event("change")); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) now(); });
  // An entry may wait for the clock alone.
  device.addEventListener("change", () => { if (all().some((kept) => kept.press && !kept.words)) now(); });
  now();
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(resend, wait);
}

let sending = false;
let reason = "";

async function resend() {
  if (sending) return;
  sending = true;
  let left = false;
  let why = "";
  try {
    for (const { id, words } of all()) {
      if (words) continue;
      const sent = await alone(id, false, () => resendOne(id));
      if (sent?.end === "unsent" || sent?.end === "away") left = true;
      why ||= sent?.why ?? "";
      if (sent?.end === "away") break; // the others would fare no better
      if (sent === undefined && read(id)) left = true; // another tab is at it
    }
  } finally {
    sending = false;
    if (why !== reason) {
      reason = why;
      changed.dispatchEvent(new Event("change"));
    }
    if (left) later();
    wait = left ? Math.min(2 * wait, seldomMs) : soonMs;
  }
}

/** @param {string} id @returns {Promise<{ end: string, why: string } | undefined>} */
async function resendOne(id) {
  const kept = read(id);
  if (!kept || kept.words) return undefined;
  if (kept.press) {
    const placed = kept.press.origin === performance.timeOrigin ? clock?.later(kept.press.perf, kept.press.broken) : undefined;
    if (placed === null) return { end: "away", why: "" };
    if (placed === undefined) {
      write({ ...kept, words: "when it was pressed could not be told, because this device had no connection then: write it again with its time" });
      return { end: "refused", why: "" };
    }
    kept.at = new Date(placed.utcMs).toISOString();
    stamp(kept, kept.at);
    delete kept.press;
    write(kept);
  }
  const { end, why } = await post(kept);
  if (end === "done") drop(id);
  else if (end === "refused") write({ ...kept, words: why });
  return { end, why: end === "unsent" ? why : "" };
}

/**
 * Shows how many entries wait on this device, and which the server has refused.
 *
 * @param {HTMLElement} element
 */
export function showOutbox(element) {
  if (!element.hasAttribute("role")) element.setAttribute("role", "status");
  function show() {
    const kept = all().filter((k) => !first.has(k.id));
    const refused = kept.filter((k) => k.words);
    const waiting = kept.length - refused.length;
    element.hidden = kept.length === 0;
    const lines = [];
    if (waiting > 0) {
      const line = document.createElement("p");
      line.textContent = `${waiting === 1 ? "One entry waits" : `${waiting} entries wait`} on this device for the connection${reason ? `: ${reason}` : ""}.`;
      lines.push(line);
    }
    for (const k of refused) {
      const line = document.createElement("p");
      line.className = "trouble";
      const link = Object.assign(document.createElement("a"), { href: k.page, textContent: "its page" });
      const button = Object.assign(document.createElement("button"), { type: "button", className: "do", textContent: "Remove it from this device" });
      button.addEventListener("click", () => {
        if (button.dataset.sure) drop(k.id);
        button.dataset.sure = "yes";
        button.textContent = "Press again: it was never written";
      });
      line.append(`An entry${k.at ? ` of ${k.at.slice(0, 16).replace("T", " ")}` : ""} was refused: ${k.words}. See `, link, ". ", button);
      lines.push(line);
    }
    element.replaceChildren(...lines);
  }
  changed.addEventListener("change", show);
  show();
}

const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/**
 * Returns a new ULID.
 *
 * @param {number} utcMs ms since 1970
 */
export function newID(utcMs) {
  let time = "";
  for (let t = Math.max(0, Math.floor(utcMs) || 0), i = 0; i < 10; i++, t = Math.floor(t / 32)) time = letters[t % 32] + time;
  return time + [...crypto.getRandomValues(new Uint8Array(16))].map((b) => letters[b % 32]).join("");
}

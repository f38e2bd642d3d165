import { keep } from "./outbox.js";

/**
 * Walks through the morning round: a step that is written, or kept on this
 * device, is closed and the next one that is due is opened.
 *
 * @param {HTMLElement} root
 * @param {import("./device.js").DeviceClock} device
 */
export function walkRound(root, device) {
  for (const form of document.querySelectorAll("form[data-keep]")) if (form instanceof HTMLFormElement) keepTyped(form);
  for (const step of root.querySelectorAll("[data-step]")) {
    const form = step.querySelector("form[data-keep]");
    if (!(step instanceof HTMLDetailsElement) || !(form instanceof HTMLFormElement)) continue;
    keep(form, device, () => {});
    form.addEventListener("taken", (event) => {
      const sent = event instanceof CustomEvent && event.detail.sent;
      const words = step.querySelector("[data-step-words]");
      if (words) {
        words.textContent = sent ? "written just now" : "kept on this device, to be sent";
        words.classList.remove("due");
      }
      step.open = false;
      step.dataset.made = "";
      count();
      next(step);
    });
  }

  /** Says how much is left. */
  function count() {
    const place = document.querySelector("[data-round-count]");
    /** @param {string} name */
    const left = (name) => root.querySelectorAll(`[data-step=${name}] > summary .due`).length;
    if (place) place.textContent = left("wind") + left("compare") === 0 ? "all wound and compared" : `${left("wind")} to wind, ${left("compare")} to compare`;
  }

  /** @param {HTMLDetailsElement} after */
  function next(after) {
    const steps = [...root.querySelectorAll("[data-step]")];
    const due = steps.slice(steps.indexOf(after) + 1).concat(steps.slice(0, steps.indexOf(after)))
      .find((step) => step instanceof HTMLDetailsElement && step.dataset.made === undefined && step.querySelector(".due"));
    if (!(due instanceof HTMLDetailsElement)) {
      root.dispatchEvent(new Event("made"));
      return;
    }
    due.open = true;
    due.closest("[data-stop]")?.scrollIntoView({ block: "start", behavior: "smooth" });
    const first = due.querySelector("input:not([type=hidden]), [data-pad], button");
    if (first instanceof HTMLElement) first.focus({ preventScroll: true });
  }
}

const typed = "timeball.typed.";
const freshMs = 12 * 3600 * 1000; // a round is made once a day

/**
 * Keeps what is typed into a form on this device until it is sent, for a page
 * that is closed, or put to sleep and thrown away, in the middle of a round.
 *
 * @param {HTMLFormElement} form
 */
function keepTyped(form) {
  const subject = form.querySelector("[name=entry]");
  const key = typed + new URL(form.action, location.href).pathname + (subject instanceof HTMLInputElement ? ` ${subject.value.split(" ")[0]}` : "");
  const fields = () => [...form.querySelectorAll("input[type=text][name]")].filter((e) => e instanceof HTMLInputElement);
  try {
    const kept = JSON.parse(localStorage.getItem(key) ?? "null");
    if (kept && Date.now() - kept.at < freshMs) {
      for (const field of fields()) field.value ||= kept.values[field.name] ?? "";
    } else {
      localStorage.removeItem(key);
    }
  } catch {
    localStorage.removeItem(key); // not one of ours
  }
  form.addEventListener("input", () => {
    const values = Object.fromEntries(fields().map((field) => [field.name, field.value]));
    try {
      localStorage.setItem(key, JSON.stringify({ at: Date.now(), values }));
    } catch {
      // This device keeps nothing; what is typed stays on the page.
    }
  });
  form.addEventListener("taken", () => localStorage.removeItem(key));
}

import { keep } from "./outbox.js";

/**
 * Walks through the morning round: a step that is written, or kept on this
 * device, is closed and the next one that is due is opened.
 *
 * @param {HTMLElement} root
 * @param {import("./device.js").DeviceClock} device
 */
export function walkRound(root, device) {
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
      next(step);
    });
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

// Makes the pages handier; each of them works without this.
import { runClock } from "./clock.js";
import { DeviceClock, boundWords, deviceName } from "./device.js";
import { takeInstant } from "./instant.js";
import { pointAtEntries } from "./curve.js";
import { filterLines } from "./filter.js";
import { listen } from "./listen.js";
import { keep, runOutbox, showOutbox } from "./outbox.js";
import { compareByTap } from "./tap.js";
import { exercise } from "./exercise.js";
import { countDown } from "./start.js";
import { walkRound } from "./round.js";

/** @param {string} name @param {(e: HTMLElement) => void} act */
function each(name, act) {
  for (const e of document.querySelectorAll(name)) if (e instanceof HTMLElement) act(e);
}

const device = new DeviceClock("/clock/exchange");
const clock = document.querySelector("[data-clock]");
if (clock instanceof HTMLTimeElement) {
  const now = runClock(clock, document.querySelector(".mast"), device);
  each("[data-take]", (place) => takeInstant(place, now));
}
each("[data-curve]", pointAtEntries);
for (const box of document.querySelectorAll("[data-filter]")) {
  if (box instanceof HTMLInputElement) filterLines(box);
}
for (const field of document.querySelectorAll("[data-device-name]")) {
  if (field instanceof HTMLInputElement && !field.value) field.value = deviceName();
}

runOutbox(device);
each("[data-outbox]", showOutbox);
// The device is measured all the time only where a page rests on it.
if (document.querySelector("[data-tap], [data-start], [data-ear-socket], form[data-keep], [data-device]")) {
  each("[data-tap]", (section) => compareByTap(section, device));
  each("[data-exercise]", exercise);
  each("[data-start]", (section) => countDown(section, device));
  each("[data-ear-socket]", (section) => listen(section, device));
  each("[data-round]", (root) => walkRound(root, device));
  // A round stays on its page, which still works when the connection is gone.
  const stays = document.querySelector("[data-round]") ? () => {} : undefined;
  for (const form of document.querySelectorAll("form[data-keep]")) {
    if (form instanceof HTMLFormElement && !form.closest("[data-step]")) keep(form, device, stays);
  }
  each("[data-device]", (place) => {
    const show = () => {
      const s = device.state;
      if (!s.measured) place.textContent = s.reached ? "This device is being compared with the standard." : "This device cannot reach the computer of the workshop.";
      else place.textContent = `UTC here to ${boundWords(s.serverBoundS)}, this device to ${boundWords(device.bound())} more: ${s.source}.${s.fit ? "" : " That is too wide to compare with."}`;
    };
    device.addEventListener("change", show);
    show();
  });
  device.watch();
}

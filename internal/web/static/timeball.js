// Makes the pages handier; each of them works without this.
import { runClock } from "./clock.js";
import { takeInstant } from "./instant.js";
import { pointAtEntries } from "./curve.js";
import { filterLines } from "./filter.js";

const clock = document.querySelector("[data-clock]");
if (clock instanceof HTMLTimeElement) {
  const now = runClock(clock, document.querySelector(".mast"));
  for (const place of document.querySelectorAll("[data-take]")) {
    if (place instanceof HTMLElement) takeInstant(place, now);
  }
}
for (const drawing of document.querySelectorAll("[data-curve]")) {
  if (drawing instanceof HTMLElement) pointAtEntries(drawing);
}
for (const box of document.querySelectorAll("[data-filter]")) {
  if (box instanceof HTMLInputElement) filterLines(box);
}

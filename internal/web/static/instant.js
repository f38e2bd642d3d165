/**
 * Offers a button that writes the present instant into a field, for the moment
 * at which a dial is read.
 *
 * @param {HTMLElement} place holds the button and names the field
 * @param {() => number} now ms since 1970
 */
export function takeInstant(place, now) {
  const field = document.getElementById(place.dataset.take ?? "");
  const button = place.querySelector("button");
  if (!(field instanceof HTMLInputElement) || !button) return;
  place.hidden = false;
  button.addEventListener("click", () => {
    field.value = new Date(now()).toISOString().slice(0, 21).replace("T", " ");
  });
}

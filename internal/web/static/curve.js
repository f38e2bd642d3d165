/**
 * Shows what a mark of a drawing stands for when it is pointed at or reached
 * by keyboard, and lights up its line in the logbook, and the other way round.
 * The tab key reaches a drawing once; the arrow keys go from mark to mark.
 *
 * @param {HTMLElement} drawing
 */
export function pointAtEntries(drawing) {
  const place = drawing.querySelector(".pointed");
  if (!(place instanceof HTMLElement)) return;
  const says = place;

  /**
   * @param {Element} mark
   * @param {boolean} on
   */
  function light(mark, on) {
    mark.classList.toggle("lit", on);
    document.getElementById("e-" + mark.getAttribute("data-entry"))?.classList.toggle("lit", on);
    says.textContent = on ? (mark.querySelector("title")?.textContent ?? "") : "";
    says.hidden = says.textContent === "";
  }

  for (const [event, on] of /** @type {const} */ ([["pointerover", true], ["pointerout", false], ["focusin", true], ["focusout", false]])) {
    drawing.addEventListener(event, (e) => {
      const mark = e.target instanceof Element ? e.target.closest("[data-entry]") : null;
      if (mark) light(mark, on);
    });
  }
  for (const sheet of drawing.querySelectorAll("svg")) walk(sheet);

  const book = document.getElementById("logbook-lines");
  for (const [event, on] of /** @type {const} */ ([["pointerover", true], ["pointerout", false]])) {
    book?.addEventListener(event, (e) => {
      const line = e.target instanceof Element ? e.target.closest("tr[data-entry]") : null;
      if (!line) return;
      for (const mark of drawing.querySelectorAll(`[data-entry="${CSS.escape(line.getAttribute("data-entry") ?? "")}"]`)) {
        mark.classList.toggle("lit", on);
      }
    });
  }
}

/**
 * Leaves one mark of a drawing to the tab key, the last, and the others to the
 * arrow keys.
 *
 * @param {SVGSVGElement} sheet
 */
function walk(sheet) {
  const marks = /** @type {SVGElement[]} */ ([...sheet.querySelectorAll("a[href], g[tabindex]")]);
  if (marks.length < 2) return;
  /** @param {number} n */
  const offer = (n) => marks.forEach((mark, k) => mark.setAttribute("tabindex", k === n ? "0" : "-1"));
  offer(marks.length - 1);
  sheet.addEventListener("keydown", (e) => {
    const from = marks.indexOf(/** @type {SVGElement} */ (e.target));
    const to = { ArrowLeft: from - 1, ArrowRight: from + 1, Home: 0, End: marks.length - 1 }[e.key];
    if (from < 0 || to === undefined || to < 0 || to >= marks.length) return;
    e.preventDefault();
    offer(to);
    marks[to].focus();
  });
}

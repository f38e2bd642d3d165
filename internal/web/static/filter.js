/**
 * Hides the lines of a table that do not hold what is typed, and says how many
 * are left. The form around the field finds in all entries, not only in those
 * that are shown.
 *
 * @param {HTMLInputElement} box
 */
export function filterLines(box) {
  const table = document.getElementById(box.dataset.filter ?? "");
  const says = document.getElementById("filter-count");
  if (!table) return;
  const lines = [...table.querySelectorAll("tbody > tr")];
  const first = box.value;
  box.addEventListener("input", () => {
    const words = box.value.trim().toLowerCase();
    let left = 0;
    for (const line of lines) {
      const held = words === "" || words === first.trim().toLowerCase() || (line.textContent ?? "").toLowerCase().includes(words);
      line.toggleAttribute("hidden", !held);
      if (held) left++;
    }
    if (says) says.textContent = words === "" ? "" : `${left} of the ${lines.length} lines shown here`;
  });
}

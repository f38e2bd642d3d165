// Shows what the server hears, and sends what is kept of it.

/**
 * Puts new sections in the place of old ones, those alone that differ, and holds
 * what is being read where it is on the screen.
 *
 * @param {HTMLElement} panel
 * @param {string} html
 */
export function renew(panel, html) {
  const fresh = document.createElement("template");
  fresh.innerHTML = html;
  const now = [...fresh.content.children];
  // Where something is being filled in, that; else what is topmost.
  const focus = document.activeElement?.closest("form") ? document.activeElement : null;
  const box = focus?.getBoundingClientRect();
  const read = box && box.bottom > 0 && box.top < innerHeight ? focus : [...document.querySelectorAll("main section")].find((e) => e.getBoundingClientRect().bottom > 0);
  const reads = () => {
    const still = read?.isConnected ? read : document.getElementById(read?.id || "none");
    return still?.getBoundingClientRect().top ?? NaN;
  };
  const was = reads();
  const old = [...panel.children];
  if (now.length === old.length && now.every((e, k) => e.id === old[k].id)) {
    now.forEach((e, k) => { if (!e.isEqualNode(old[k])) old[k].replaceWith(e); });
  } else {
    panel.replaceChildren(...now);
  }
  const moved = reads() - was;
  if (Math.abs(moved) >= 1 && scrollY > 0) scrollBy({ top: moved, behavior: "instant" });
}

/**
 * Sends a form and stays on the page if it is refused, because to leave the page
 * is to lose what is heard.
 *
 * @param {HTMLFormElement} form
 * @param {() => Promise<unknown>} end ends the listening, once it is written
 */
export function send(form, end) {
  const says = form.querySelector("[data-ear-problem]");
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const button = form.querySelector("[type=submit]");
    if (!(button instanceof HTMLButtonElement) || button.disabled || !says) return;
    button.disabled = true;
    says.textContent = "";
    try {
      const body = new URLSearchParams();
      for (const [name, value] of new FormData(form)) if (typeof value === "string") body.append(name, value);
      const answer = await fetch(form.action, { method: "POST", headers: { Accept: "application/json" }, body });
      /** @type {{ ok?: boolean, href?: string, problems?: string[] }} */
      const told = await answer.json();
      if (told.ok && told.href) {
        await end();
        location.assign(told.href);
        return;
      }
      says.textContent = told.problems?.join(" ") || "It was not written; press again.";
    } catch {
      says.textContent = "There is no connection to the computer of the workshop: nothing was written yet. Press again when it is back; it is written once.";
    }
    button.disabled = false;
  });
}

// Tonight by single keys: ticks are sent and drawn anew in place, so that the focus stays where it was.
addEventListener("DOMContentLoaded", () => {
  const kept = "tepui-single-keys";
  const box = document.getElementById("keys");
  try { box.checked = localStorage.getItem(kept) !== "off"; } catch { /* storage may be shut off */ }
  box.addEventListener("change", () => { try { localStorage.setItem(kept, box.checked ? "on" : "off"); } catch { /* as above */ } });

  const list = document.getElementById("ticks");
  list.addEventListener("submit", async (event) => {
    event.preventDefault();
    const form = event.target;
    const focused = document.activeElement?.id;
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("ticks");
      if (!answer.ok || !fresh) throw new Error(answer.statusText);
      list.replaceChildren(...document.importNode(fresh, true).childNodes);
      const head = list.previousElementSibling?.querySelector("p");
      const told = page.getElementById("ticks").previousElementSibling?.querySelector("p");
      if (head && told) head.textContent = told.textContent;
      if (focused) document.getElementById(focused)?.focus();
    } catch { form.submit(); }
  });

  addEventListener("keydown", (event) => {
    const at = document.activeElement;
    const typing = at?.matches("input:not([type=checkbox]), textarea, select");
    if (event.key === "Escape" && typing) { at.blur(); return; }
    if (!box.checked || typing || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    const button = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
    const field = document.querySelector(`[data-focus="${CSS.escape(event.key)}"]`);
    if (button) { event.preventDefault(); button.click(); } else if (field) { event.preventDefault(); field.focus(); }
  });
});

// The station sheet: a field is sent as it is left, one after the other; what comes back is the file and its sentence.
addEventListener("DOMContentLoaded", () => {
  const form = document.querySelector("[data-part]");
  const text = document.querySelector("#text");
  const gutter = document.querySelector("[data-gutter]");
  if (!text) return;
  const changed = document.querySelector("[data-difference]");
  const trouble = document.querySelector("[data-trouble]");
  const mark = () => form ? form.querySelector("[data-mark]").value : "";
  let drawn = text.value, line = 0, waiting = Promise.resolve(), leaving = false;
  const refused = new Set();  // fields whose words are nowhere but here
  const isDirty = () => text.value !== drawn;

  const number = () => {
    const count = text.value.split("\n").length - (text.value.endsWith("\n") ? 1 : 0);
    gutter.textContent = Array.from({ length: count }, (_, n) => n + 1).join("\n") + "\n";
  };
  text.addEventListener("input", number);
  text.addEventListener("scroll", () => { gutter.scrollTop = text.scrollTop; });
  const show = (number) => {
    if (!number || isDirty() || document.activeElement === text) return;
    line = number;
    const height = parseFloat(getComputedStyle(text).lineHeight);
    text.scrollTop = Math.max(0, (line - 4) * height);
  };

  const told = (field, sentence) => {
    field.classList.toggle("is-wrong", Boolean(sentence));
    if (sentence) refused.add(field); else refused.delete(field);
    field.querySelector(".wrong").textContent = sentence;
    const input = field.querySelector("[name^='v.']");
    if (sentence) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  };
  const steps = (counts) => ["undo", "redo"].forEach((word, n) => {
    const button = document.querySelector(`[data-${word}]`);
    button.disabled = !counts[n];
    button.querySelector("[data-count]").textContent = counts[n] || "";
  });
  const differs = async () => {
    const answer = await fetch(`/station/difference?mark=${encodeURIComponent(mark())}`);
    if (answer.status === 200) { changed.innerHTML = await answer.text(); changed.hidden = false; }
    else if (answer.status === 204 && !document.querySelector(".refusal[role=alert]")) changed.hidden = true;
  };

  const send = async (field) => {
    const body = new FormData();
    body.set("mark", mark());
    field.querySelectorAll("[name]").forEach((one) => body.set(one.name, one.value));
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(body), headers: { accept: "application/json" } });
    const said = await answer.json();
    const key = field.dataset.key;
    told(field, said.wrong[key] || "");
    if (said.sentence) { told(field, said.sentence); await differs(); return; }
    trouble.hidden = !said.trouble;
    trouble.querySelector("span").textContent = said.trouble;
    if (!said.written) return;
    if (!isDirty()) {
      text.value = drawn = said.text;
      text.defaultValue = said.text;
      document.querySelectorAll("[data-mark]").forEach((one) => { one.value = said.mark; });
      number();
    } else {  // the text is being edited: its own mark stays, so that writing it shows the difference
      document.querySelectorAll("[data-mark]").forEach((one) => { if (one.form !== text.form) one.value = said.mark; });
    }
    form.querySelectorAll("[data-key]").forEach((one) => { one.dataset.line = said.lines[one.dataset.key] || 0; });
    show(Number(field.dataset.line));
    steps(said.steps);
    newStrip();
  };

  if (form) {
    form.addEventListener("change", (event) => {
      const field = event.target.closest("[data-key]");
      if (!field) return;
      const origin = field.querySelector(".origin");
      if (origin) {
        const reading = field.querySelector(".reading-name");
        reading.hidden = origin.value !== "measured" && !reading.querySelector("input").value;
        origin.classList.toggle("is-measured", origin.value === "measured");
      }
      waiting = waiting.then(() => send(field)).catch(() => told(field, "The bench does not answer; what you typed stands here until it does."));
    });
    form.addEventListener("submit", (event) => { event.preventDefault(); document.activeElement?.blur(); });
    form.addEventListener("focusin", (event) => { show(Number(event.target.closest("[data-key]")?.dataset.line)); });
    setInterval(() => { if (document.visibilityState === "visible") waiting = waiting.then(differs).catch(() => {}); }, 3000);
    show(Number(form.querySelector("[data-key]")?.dataset.line) - 1);
    const here = document.querySelector(".list [aria-current]");
    here.closest("ul").scrollLeft = here.offsetLeft - 60;
  }
  document.addEventListener("submit", (event) => { if (event.target !== form) leaving = true; });
  addEventListener("beforeunload", (event) => { if (!leaving && (isDirty() || refused.size)) event.preventDefault(); });
});

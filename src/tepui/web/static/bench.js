// A page that waits for work asks how far it is, and shows the result once it is there.
addEventListener("DOMContentLoaded", () => {
  const work = document.querySelector("[data-work]");
  if (!work) return;
  const bar = work.querySelector("progress");
  const word = work.querySelector("[data-word]");
  let since = "";
  const ask = async () => {
    try {
      const answer = await fetch(`${work.dataset.work}/state?since=${encodeURIComponent(since)}`);
      if (!answer.ok) throw new Error(answer.statusText);
      const told = await answer.json();
      since = told.since;
      if (told.ended) { location.replace(work.dataset.work); return; }
      if (told.share !== null) {
        bar.value = told.share;
        word.textContent = `${Math.round(100 * told.share)} % done`;
      } else { word.textContent = told.state; }
      ask();
    } catch { word.textContent = "The bench does not answer; it may have been closed."; setTimeout(ask, 2000); }
  };
  ask();
});

// Levels that are being worked out: once they are there their parts are put into the sheet in place, so that nothing
// typed and no focus is lost; a sheet without such parts is drawn anew, and one that stays takes the new strip alone.
addEventListener("DOMContentLoaded", () => {
  const anew = document.querySelector("[data-anew]");
  if (!anew) return;
  const stays = document.querySelector("[data-stays]");
  const ask = async () => {
    try {
      const told = await (await fetch(`${anew.dataset.anew}/state`)).json();
      if (!told.ended) { setTimeout(ask, 200); return; }
      if (stays) newStrip();
      else if (document.querySelector("[data-fresh]")) {
        const next = await freshParts();
        if (next) { anew.dataset.anew = next; ask(); } else { anew.remove(); }
      } else if (document.activeElement?.matches("input, textarea, select")) setTimeout(ask, 1000);
      else location.reload();
    } catch { setTimeout(ask, 2000); }
  };
  ask();
});

// The strip as the server has it now; asked again while the levels are worked out.
async function newStrip() {
  const place = document.querySelector("[data-strip]");
  const here = place.querySelector("[aria-current]")?.getAttribute("href").split("/").pop() ?? "";
  const held = document.createElement("div");
  held.innerHTML = await (await fetch(`/strip?place=${encodeURIComponent(here)}`)).text();
  const fresh = held.firstElementChild;
  if (fresh.hasAttribute("data-waiting")) { setTimeout(newStrip, 300); return; }
  if (!place.contains(document.activeElement)) place.replaceWith(fresh);
}

// What was worked out anew, put in without touching the field that is being typed in; says what is still to come.
async function freshParts() {
  const drawn = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
  document.querySelectorAll("[data-fresh]").forEach((old) => {
    const fresh = drawn.querySelector(`[data-fresh=${old.dataset.fresh}]`);
    if (fresh && !old.contains(document.activeElement)) old.replaceWith(fresh);
  });
  const point = document.getElementById("r-point"), next = drawn.querySelector("[data-next]")?.dataset.next;
  if (point && next && !point.closest("form").contains(document.activeElement) && !document.getElementById("r-shown").value)
    point.value = next;
  newStrip();
  return drawn.querySelector("[data-anew]")?.dataset.anew;
}

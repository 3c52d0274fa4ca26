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

// Levels that are being worked out: the sheet is drawn anew once they are there, unless something is being typed; a
// sheet that stays as it is takes the new strip alone.
addEventListener("DOMContentLoaded", () => {
  const anew = document.querySelector("[data-anew]");
  if (!anew) return;
  const stays = document.querySelector("[data-stays]");
  const ask = async () => {
    try {
      const told = await (await fetch(`${anew.dataset.anew}/state`)).json();
      if (!told.ended) { setTimeout(ask, 200); return; }
      if (stays) newStrip();
      else if (!document.activeElement?.matches("input, textarea, select")) location.reload();
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

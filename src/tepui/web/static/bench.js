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

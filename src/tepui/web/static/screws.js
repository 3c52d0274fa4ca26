// At the screws: the sheet is fetched anew once the folder has a new trace, and only its body is put in place.
addEventListener("DOMContentLoaded", () => {
  const find = (from) => from.querySelector("[data-screws]");
  const ask = async () => {
    try {
      const answer = await fetch(`/screws/changed?since=${find(document).dataset.screws}`);
      const told = await answer.json();
      if (!told.on) { location.reload(); return; }
      while (document.activeElement?.closest("[data-screws]") && document.activeElement.matches("input")) {
        await new Promise((go) => setTimeout(go, 500));  // nothing is taken from under the fingers
      }
      if (String(told.number) !== find(document).dataset.screws) {
        const page = new DOMParser().parseFromString(await (await fetch("/screws")).text(), "text/html");
        if (!find(page)) { location.reload(); return; }
        find(document).replaceWith(document.adoptNode(find(page)));
        document.querySelector(".title .lead").textContent = page.querySelector(".title .lead").textContent;
      }
      ask();
    } catch { setTimeout(ask, 2000); }
  };
  ask();
});

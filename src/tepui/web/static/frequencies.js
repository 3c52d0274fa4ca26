// The frequency sheet: a handle that is moved asks for its plan; the newest question is answered, older ones are dropped.
addEventListener("DOMContentLoaded", () => {
  const form = document.querySelector("[data-plan]");
  if (!form) return;
  const said = document.querySelector("[data-said]");
  const slides = Object.fromEntries([...form.querySelectorAll("[data-slide]")].map((one) => [one.dataset.slide, one]));
  const side = () => form.querySelector("[name=side]:checked").value;
  let asked = null, isBusy = false;

  const answer = (told) => {
    for (const name of ["if", "lo"]) {
      const text = told.dataset[`${name}Text`];
      if (document.activeElement !== slides[name]) slides[name].value = told.dataset[name];
      slides[name].setAttribute("aria-valuetext", text);
      form.querySelector(`[data-out=${name}]`).textContent = text;
    }
    form.querySelector("[data-exact]").value = told.dataset.ifText;
    said.textContent = `${told.dataset.verdict}: modulator ${told.dataset.ifText}, oscillator ${told.dataset.loText}`;
  };
  const run = async () => {
    if (isBusy) return;
    isBusy = true;
    while (asked) {
      const query = asked;
      asked = null;
      try {
        const got = await fetch(`/frequencies/plan?${query}`);
        if (!got.ok) { said.textContent = await got.text(); continue; }
        const held = document.createElement("div");
        held.innerHTML = await got.text();
        held.querySelectorAll("[data-slot]").forEach((fresh) => {
          document.querySelector(`[data-slot=${fresh.dataset.slot}]`).replaceWith(fresh);
        });
        const told = document.querySelector("[data-slot=figures]");
        answer(told);
        const here = new URLSearchParams({ if: told.dataset.ifText, side: side() });
        history.replaceState(null, "", `/frequencies?${here}`);
      } catch { said.textContent = "The bench does not answer; it may have been closed."; }
    }
    isBusy = false;
  };
  for (const [name, slide] of Object.entries(slides)) {
    slide.addEventListener("input", () => {
      form.querySelector(`[data-out=${name}]`).textContent = `${slide.value / 1e6} MHz`;
      asked = new URLSearchParams({ [name]: `${slide.value} Hz`, side: side() });
      run();
    });
  }
  form.addEventListener("change", (event) => { if (event.target.name === "side") form.requestSubmit(); });
});

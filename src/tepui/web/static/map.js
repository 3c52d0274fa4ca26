// The map: tiles of this bench alone, dragged, zoomed and read. A place is a row and a column of the map's pixels.
addEventListener("DOMContentLoaded", () => {
  const work = document.querySelector("[data-map-work]");
  if (work) follow(work);
  const land = document.querySelector("[data-map]");
  if (land) show(land);
});

// A map that is being made: its share, and the sheet anew once it is there.
function follow(work) {
  const bar = work.querySelector("progress"), word = work.querySelector("[data-word]");
  let since = "";
  const ask = async () => {
    try {
      const told = await (await fetch(`${work.dataset.mapWork}/state?since=${encodeURIComponent(since)}`)).json();
      since = told.since;
      if (told.ended) { location.reload(); return; }
      if (told.share !== null) { bar.value = told.share; word.textContent = `${Math.round(100 * told.share)} % done`; }
      else word.textContent = told.state;
      ask();
    } catch { word.textContent = "The bench does not answer; it may have been closed."; setTimeout(ask, 2000); }
  };
  ask();
}

function show(land) {
  const TILE = 256, NEAREST = 3;
  const rows = +land.dataset.rows, columns = +land.dataset.columns, deepest = +land.dataset.deepest;
  const under = document.querySelector("[data-under]"), chosen = document.querySelector("[data-layer]");
  const pins = [...land.querySelectorAll(".pin")], length = land.querySelector("[data-length]");
  let layer = chosen.value, row = rows / 2, column = columns / 2, zoom = 0;
  const held = new Map();
  const isNight = () => getComputedStyle(document.documentElement).colorScheme.trim() === "dark"
    || (document.documentElement.dataset.theme ?? "") === "night"
    || (!document.documentElement.dataset.theme && matchMedia("(prefers-color-scheme: dark)").matches);
  const size = () => 2 ** (zoom - deepest);                       // screen pixels a map pixel
  const fit = () => Math.log2(Math.min(land.clientWidth / columns, land.clientHeight / rows)) + deepest;

  const draw = () => {
    const scale = size(), wide = land.clientWidth, high = land.clientHeight;
    row = Math.min(Math.max(row, 0), rows); column = Math.min(Math.max(column, 0), columns);
    const level = Math.min(Math.max(Math.ceil(zoom - 0.01), 0), deepest);
    const side = TILE * 2 ** (deepest - level) * scale;           // screen pixels a tile
    const left = wide / 2 - column * scale, top = high / 2 - row * scale;
    const theme = isNight() ? "night" : "day", wanted = new Set();
    const last = { x: Math.ceil(columns * scale / side) - 1, y: Math.ceil(rows * scale / side) - 1 };
    for (let y = Math.max(0, Math.floor(-top / side)); y <= Math.min(last.y, Math.floor((high - top) / side)); y += 1) {
      for (let x = Math.max(0, Math.floor(-left / side)); x <= Math.min(last.x, Math.floor((wide - left) / side)); x += 1) {
        const at = `${land.dataset.map}/tile/${layer}/${level}/${x}/${y}.png?theme=${theme}`;
        wanted.add(at);
        let tile = held.get(at);
        if (!tile) {
          tile = new Image();
          tile.alt = "";
          tile.draggable = false;
          tile.src = at;
          held.set(at, tile);
          land.prepend(tile);
        }
        const from = Math.round(left + x * side), down = Math.round(top + y * side);
        tile.style.left = `${from}px`; tile.style.top = `${down}px`;
        tile.style.width = `${Math.round(left + (x + 1) * side) - from}px`;
        tile.style.height = `${Math.round(top + (y + 1) * side) - down}px`;
      }
    }
    for (const [at, tile] of held) if (!wanted.has(at)) { tile.remove(); held.delete(at); }
    for (const pin of pins) {
      pin.style.left = `${left + pin.dataset.column * scale}px`; pin.style.top = `${top + pin.dataset.row * scale}px`;
    }
    const metres = land.dataset.pixel / scale * 140, power = 10 ** Math.floor(Math.log10(metres));
    const round = [5, 2, 1].map((one) => one * power).find((one) => one <= metres) ?? power;
    length.style.width = `${round / land.dataset.pixel * scale}px`;
    length.textContent = round >= 1000 ? `${round / 1000} km` : `${round} m`;
    read();
  };
  let waiting = null;
  const read = () => {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      try {
        const told = await (await fetch(`${land.dataset.map}/at?row=${row.toFixed(2)}&column=${column.toFixed(2)}`)).json();
        under.textContent = words(told);
      } catch { under.textContent = "The bench does not answer; it may have been closed."; }
    }, 120);
  };
  const sign = (value, digits = 1) => value.toFixed(digits).replace("-", "−");
  const words = (told) => {
    if (told.locator === undefined) return "Beside the map.";
    const place = `${told.locator}, ${told.latitude}, ${told.longitude}, ground ${sign(told.height_m, 0)} m`.replaceAll("-", "−");
    if (told.level_dbm === null) return `${place}: nothing is worked out here.`;
    return `${place}: level ${sign(told.level_dbm)} dBm, C/N ${sign(told.cn_db)} dB, margin of the most robust mode `
      + `${sign(told.margin_db)} dB; best mode ${told.mode}; seen with ${sign(told.gain_needed_dbi)} dBi or more.`;
  };
  const move = (x, y) => { column += x / size(); row += y / size(); draw(); };
  const nearer = (by, x = land.clientWidth / 2, y = land.clientHeight / 2) => {
    const before = size();
    zoom = Math.min(Math.max(zoom + by, Math.min(fit(), 0)), deepest + NEAREST);
    const away = [x - land.clientWidth / 2, y - land.clientHeight / 2];
    column += away[0] / before - away[0] / size(); row += away[1] / before - away[1] / size();
    draw();
  };
  const whole = () => { zoom = fit(); row = rows / 2; column = columns / 2; draw(); };

  const fingers = new Map();
  let apart = 0;
  land.addEventListener("pointerdown", (event) => {
    land.setPointerCapture(event.pointerId); fingers.set(event.pointerId, event); apart = 0;
  });
  land.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    fingers.set(event.pointerId, event);
    if (fingers.size === 1) { move(before.clientX - event.clientX, before.clientY - event.clientY); return; }
    const [a, b] = [...fingers.values()], now = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
    const box = land.getBoundingClientRect();
    if (apart) nearer(Math.log2(now / apart), (a.clientX + b.clientX) / 2 - box.left, (a.clientY + b.clientY) / 2 - box.top);
    apart = now;
  });
  for (const end of ["pointerup", "pointercancel"]) land.addEventListener(end, (event) => { fingers.delete(event.pointerId); apart = 0; });
  land.addEventListener("wheel", (event) => {
    event.preventDefault();
    const box = land.getBoundingClientRect();
    nearer(-Math.sign(event.deltaY) / 2, event.clientX - box.left, event.clientY - box.top);
  }, { passive: false });
  land.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] }[event.key];
    if (step) move(...step);
    else if (event.key === "+" || event.key === "=") nearer(0.5);
    else if (event.key === "-") nearer(-0.5);
    else if (event.key === "Home") whole();
    else return;
    event.preventDefault();
  });
  document.querySelector("[data-nearer]").addEventListener("click", () => nearer(1));
  document.querySelector("[data-farther]").addEventListener("click", () => nearer(-1));
  document.querySelector("[data-whole]").addEventListener("click", whole);
  chosen.addEventListener("change", () => {
    layer = chosen.value;
    document.querySelectorAll("[data-legend]").forEach((one) => { one.hidden = one.dataset.legend !== layer; });
    draw();
  });
  document.querySelectorAll("[data-theme-switch]").forEach((one) => one.addEventListener("click", () => setTimeout(draw)));
  new ResizeObserver(() => draw()).observe(land);
  whole();
}

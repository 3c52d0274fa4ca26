// Drift since the watch began: what was read, as a band from the lowest to the highest end of its doubt, in one ink.
addEventListener("DOMContentLoaded", () => {
  const root = document.querySelector("[data-drift]");
  if (!root) return;
  const WIDE = 1000, HIGH = 100;
  const number = (value, digits) => value.toFixed(digits).replace("-", "\u2212");
  const KINDS = {
    lower: { least: 2, digits: 1, unit: "dB" }, upper: { least: 2, digits: 1, unit: "dB" },
    level_db: { least: 2, digits: 1, unit: "dB" }, centre_hz: { least: 2e3, digits: 1, unit: "kHz", scale: 1e3 },
  };
  const words = (seconds) => (seconds < 90 ? `${Math.round(seconds)} s ago` : `${Math.round(seconds / 60)} min ago`);

  document.addEventListener("snapshot", (event) => {
    const s = event.detail, slots = s.drift;
    root.hidden = slots.length < 2;
    if (root.hidden) return;
    const begin = slots[0].time_s, end = Math.max(s.time_s, begin + 1);
    root.querySelectorAll("[data-staff]").forEach((at) => {
      const kind = KINDS[at.dataset.staff], scale = kind.scale || 1;
      const seen = slots.map((slot) => [WIDE * (slot.time_s - begin) / (end - begin), ...slot[at.dataset.staff]]);
      const zero = at.dataset.staff === "centre_hz" ? seen[0][2] : 0;
      const known = seen.flatMap(([, low, high]) => (low === null ? [high] : [low, high]));
      let low = Math.min(...known), high = Math.max(...known);
      const spare = Math.max(kind.least - (high - low), 0) / 2 + 0.05 * kind.least;
      const y = (value) => (HIGH * (high + spare - value) / (high - low + 2 * spare)).toFixed(1);
      const top = seen.map(([x, , up]) => `${Math.min(x, WIDE).toFixed(1)} ${y(up)}`);
      const foot = seen.map(([x, down]) => `${Math.min(x, WIDE).toFixed(1)} ${down === null ? HIGH : y(down)}`).reverse();
      at.querySelector("path").setAttribute("d", `M${[...top, ...foot].join("L")}Z`);
      const shown = (value) => number((value - zero) / scale, kind.digits);
      const said = `${shown(low)} to ${shown(high)} ${kind.unit}`;
      at.querySelector("[data-range]").textContent = said;
      at.querySelector("svg").setAttribute("aria-label", `${at.querySelector("[data-name]").textContent}: ${said} since ${words(end - begin)}`);
    });
    root.querySelector("[data-since]").textContent = words(end - begin);
  });
});

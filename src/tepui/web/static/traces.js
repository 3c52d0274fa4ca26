// Live traces: binary frames for credit, drawn on canvases under an overlay of lines that a reading gave.
// The layout of a frame stands in desk/watch_frames.py. What was on its way while the page stood still is left out.
addEventListener("DOMContentLoaded", () => {
  const root = document.querySelector("[data-watch]");
  if (!root) return;
  const CREDITS = 3, STALL_MS = 300, VERSION = 1, HEAD = 32, PART = 40;
  const IN_HZ = 300e3, OUT_HZ = 800e3, TOP_DB = 4, OFFSETS = [300e3, 500e3, 700e3];
  const SIDES = ["lower", "upper", "middle"];
  const number = (value, digits = 1) => value.toFixed(digits).replace("-", "\u2212");
  let bottom = -50, reading = null, pending = null, drawn = 0, since = performance.now(), counted = 0;
  let lastTask = performance.now(), woke = 0;

  // A drawing: its canvas, the overlay, and where its frequencies lie.
  const drawings = [...root.querySelectorAll("[data-drawing]")].map((at) => ({
    at, side: at.dataset.drawing, canvas: at.querySelector("canvas"), over: at.querySelector("svg"), colour: "",
    wide: 0, high: 0, gap: null,
  }));
  const span = (one) => {
    const half = reading ? reading.half_hz : 0;
    if (one.side === "whole") return [-half - OUT_HZ, half + OUT_HZ];
    return one.side === "lower" ? [-half - OUT_HZ, -half + IN_HZ] : [half - IN_HZ, half + OUT_HZ];
  };
  const fit = () => {
    for (const one of drawings) {
      const box = one.canvas.getBoundingClientRect(), scale = devicePixelRatio || 1;
      one.wide = one.canvas.width = Math.max(1, Math.round(box.width * scale));
      one.high = one.canvas.height = Math.max(1, Math.round(box.height * scale));
      one.scale = scale;
      one.colour = getComputedStyle(one.canvas).color;
    }
  };
  new ResizeObserver(fit).observe(root);
  new MutationObserver(fit).observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme"] });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", fit);

  const decode = (buffer) => {
    const view = new DataView(buffer), frame = { parts: [] };
    if (view.getUint8(0) !== VERSION) return null;
    const flags = view.getUint8(1);
    frame.practice = Boolean(flags & 1); frame.zeroed = Boolean(flags & 2); frame.clipping = Boolean(flags & 4);
    frame.fresh = view.getUint8(3);
    frame.number = view.getUint32(4, true); frame.time_s = view.getFloat64(8, true); frame.stamp = view.getFloat64(16, true);
    for (let at = HEAD, n = view.getUint8(2); n > 0; n -= 1) {
      const points = view.getUint16(at + 2, true);
      frame.parts.push({
        side: SIDES[view.getUint8(at)], averages: view.getFloat32(at + 4, true), offset: view.getFloat64(at + 8, true),
        step: view.getFloat64(at + 16, true), heard_s: view.getFloat64(at + 24, true), top: view.getFloat32(at + 32, true),
        decibel: view.getFloat32(at + 36, true), bytes: new Uint8Array(buffer, at + PART, points),
      });
      at += PART + points;
    }
    return frame;
  };

  const level = (part, n) => part.top + part.decibel * (part.bytes[n] - 255);
  const draw = (frame) => {
    for (const one of drawings) {
      const pen = one.canvas.getContext("2d"), [from, to] = span(one);
      pen.clearRect(0, 0, one.wide, one.high);
      pen.strokeStyle = one.colour; pen.lineWidth = 1.5 * one.scale; pen.lineJoin = "round";
      const y = (value) => one.high * (TOP_DB - value) / (TOP_DB - bottom);
      for (const part of frame.parts) {
        if (one.side !== "whole" && part.side !== one.side) continue;
        pen.beginPath();
        let broken = true, before = null, gap = null;
        for (let n = 0; n < part.bytes.length; n += 1) {
          const place = part.offset + part.step * n;
          if (!part.bytes[n]) { if (!broken || gap) { gap = gap || [place, place]; gap[1] = place; } broken = true; continue; }
          const x = one.wide * (place - from) / (to - from);
          if (x < -20 || x > one.wide + 20) continue;
          const v = Math.min(Math.max(y(level(part, n)), 0), one.high);
          if (broken) pen.moveTo(x, v); else pen.lineTo(x, v);
          broken = false; before = x;
        }
        pen.stroke();
        if (one.side !== "whole") one.gap = gap;
      }
    }
    drawn += 1; counted += 1;
    root.dataset.drawn = drawn; root.dataset.newest = frame.number;
    document.dispatchEvent(new CustomEvent("trace-drawn", { detail: { number: frame.number, time_s: frame.time_s } }));
  };

  // The overlay: rulers, the lifted line, its touch and its reading; drawn anew with each reading.
  const overlay = (one) => {
    const [from, to] = span(one), half = reading.half_hz, out = one.side === "lower" ? -1 : 1;
    const X = (hz) => `${(100 * (hz - from) / (to - from)).toFixed(2)}%`;
    const Y = (db) => `${(100 * (TOP_DB - Math.max(db, bottom)) / (TOP_DB - bottom)).toFixed(2)}%`;
    const line = (a, b, c, d, css) => `<line class="${css}" x1="${a}" y1="${b}" x2="${c}" y2="${d}"/>`;
    const at = (hz, db, inner) => `<svg x="${X(hz)}" y="${Y(db)}" overflow="visible">${inner}</svg>`;
    const text = (hz, db, said, more = "") => `<text x="${X(hz)}" y="${Y(db)}" ${more}>${said}</text>`;
    const parts = [];
    const floor = reading.state && reading.state.floor_db;
    if (floor !== null && floor !== undefined && floor > bottom) {
      const top = 100 * (TOP_DB - floor) / (TOP_DB - bottom);
      parts.push(`<rect class="f-stipple" x="0" y="${top.toFixed(2)}%" width="100%" height="${(100 - top).toFixed(2)}%"/>`);
    }
    for (let db = 0; db >= bottom; db -= 10) {
      parts.push(line("0", Y(db), "100%", Y(db), "hair"), `<text class="t-soft" x="0" y="${Y(db)}" dx="-6" dy="4" text-anchor="end">${number(db, 0)}</text>`);
    }
    parts.push(line("0", "100%", "100%", "100%", "pen"));
    for (const edge of one.side === "whole" ? [-half, half] : [out * half]) {
      parts.push(line(X(edge), "0", X(edge), "100%", "chainline"), `<text class="t-soft" x="${X(edge)}" y="100%" dy="16" text-anchor="middle">edge</text>`);
    }
    if (one.side === "whole") {
      parts.push(unseen(X));
      for (const hz of [-half / 2, 0, half / 2]) parts.push(`<text class="t-soft" x="${X(hz)}" y="100%" dy="16" text-anchor="middle">${hz ? number(hz / 1e6) : "centre"}</text>`);
      return parts.join("");
    }
    for (const offset of OFFSETS) {
      const hz = out * (half + offset);
      parts.push(line(X(hz), "0", X(hz), "100%", "hair"), `<text class="t-soft" x="${X(hz)}" y="100%" dy="16" text-anchor="middle">${offset / 1e3}</text>`);
    }
    if (one.gap) parts.push(`<rect class="f-hatch" x="${X(one.gap[0])}" y="0" width="${(100 * (one.gap[1] - one.gap[0]) / (to - from)).toFixed(2)}%" height="100%"/>`);
    const lifted = reading.lines[one.side];
    if (lifted && reading.moment) {
      const place = (offset) => out * (half + offset), [near, , far] = lifted.offset_hz, mid = OFFSETS[1];
      const [a, , c] = lifted.level_db, up = lifted.lift_db;
      const pen = reading.practice ? "pen" : "pencil", fill = reading.practice ? "f-ink" : "f-pencil";
      parts.push(line(X(place(near)), Y(a), X(place(far)), Y(c), "before"), line(X(place(near)), Y(a + up), X(place(far)), Y(c + up), pen));
      for (const [offset, value] of [[near, a], [far, c]]) parts.push(at(place(offset), value, '<path class="thin" d="M-5-5 5 5M5-5-5 5"/>'));
      parts.push(at(place(lifted.touch_hz), lifted.touch_db, `<circle class="${pen}" r="5"/>`));
      parts.push(line(X(place(mid)), Y(0), X(place(mid)), Y(lifted.read_db), pen));
      parts.push(at(place(mid), 0, `<path class="${fill}" d="M0 0L-3 9H3Z"/>`), at(place(mid), lifted.read_db, `<path class="${fill}" d="M0 0L-3-9H3Z"/>`));
      parts.push(text(place(mid), lifted.read_db / 2, `shown ${number(lifted.read_db)}`, `class="knock t-firm" dx="${8 * out}" dy="5" text-anchor="${out < 0 ? "end" : "start"}"`));
    }
    return parts.join("");
  };
  let heard = [];
  const unseen = (X) => {
    const [from, to] = span({ side: "whole" });
    const seen = heard.map((part) => [part.offset, part.offset + part.step * (part.bytes.length - 1)]).sort((a, b) => a[0] - b[0]);
    const holes = []; let end = from;
    for (const [a, b] of seen) { if (a > end) holes.push([end, a]); end = Math.max(end, b); }
    if (end < to) holes.push([end, to]);
    return holes.map(([a, b]) => {
      const wide = (100 * (b - a) / (to - from));
      const said = wide > 20 ? `<text class="t-soft knock" x="${X((a + b) / 2)}" y="50%" text-anchor="middle">not seen by this receiver</text>` : "";
      return `<rect class="f-stipple" x="${X(a)}" y="0" width="${wide.toFixed(2)}%" height="100%"/>${said}`;
    }).join("");
  };

  const settleBottom = () => {
    const lowest = heard.map((part) => {
      let least = 255;
      for (const byte of part.bytes) if (byte && byte < least) least = byte;
      return part.top + part.decibel * (least - 255);
    });
    const wanted = Math.min(-40, 10 * Math.floor(Math.min(...lowest) / 10));
    if (lowest.length && (wanted < bottom || wanted > bottom + 10)) bottom = Math.max(wanted, -80);
  };

  document.addEventListener("snapshot", (event) => {
    reading = event.detail;
    settleBottom();
    for (const one of drawings) {
      const inner = overlay(one);
      if (one.was !== inner) { one.over.innerHTML = inner; one.was = inner; }
    }
  });

  // Credit: one for each frame that was drawn or left out.
  let socket;
  const grant = () => { if (socket.readyState === WebSocket.OPEN) socket.send(String(performance.now())); };
  const alive = () => {
    const now = performance.now();
    if (now - lastTask > STALL_MS) woke = now;
    lastTask = now;
  };
  const turn = () => {
    alive();
    requestAnimationFrame(turn);
    if (!pending) return;
    const { frame, taken, came } = pending;
    pending = null;
    if (performance.now() - came <= STALL_MS && frame.stamp >= woke && reading) { heard = frame.parts; draw(frame); }
    else if (reading === null) heard = frame.parts;
    for (let n = 0; n < taken; n += 1) grant();
  };
  const rate = root.querySelector("[data-rate]");
  setInterval(() => {
    alive();
    const now = performance.now();
    if (now - since < 1000) return;
    root.dataset.rate = (1000 * counted / (now - since)).toFixed(1);
    if (rate) rate.textContent = `${Math.round(1000 * counted / (now - since))} traces a second`;
    since = now; counted = 0;
  }, 50);
  const connect = () => {
    socket = new WebSocket(`ws://${location.host}/watch/traces`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => { for (let n = 0; n < CREDITS; n += 1) grant(); };
    socket.onmessage = (event) => {
      alive();
      const frame = decode(event.data);
      if (!frame || frame.stamp < woke) { grant(); return; }
      pending = { frame, taken: (pending ? pending.taken : 0) + 1, came: performance.now() };
    };
    socket.onclose = () => { pending = null; setTimeout(connect, 2000); };
  };
  fit();
  turn();
  connect();
});

// The edge watch: asks for the next snapshot once the last is drawn, so that nothing old is ever shown.
addEventListener("DOMContentLoaded", () => {
  const root = document.querySelector("[data-watch]");
  if (!root) return;
  const part = (name, from = root) => from.querySelector(`[data-${name}]`);
  const said = (name, text, from = root) => { const at = part(name, from); if (at.textContent !== text) at.textContent = text; };
  const number = (value) => value.toFixed(1).replace("-", "\u2212");
  const MINUTE = 60, WIDE = 600, HIGH = 120, LEAST_SPAN = 4;
  const ORIGIN = {
    transmitter: "the transmitter's own", receiver: "partly the receiver's", hidden: "hidden by the floor",
    unknown: "not settled",
  };
  const TASKS = {
    "fit the pad": (s) => `Leave the drive; put ${s.pad_step_db} dB of pad before the receiver, then press p.`,
    "reading with the pad": (s) => `Reading with the pad, ${Math.round(100 * s.share)} %. Leave the drive alone.`,
    "take the pad off": (s) => `Done. Take the ${s.pad_step_db} dB pad off again, then press p.`,
    "terminate the input": () => "Put a termination on the receiver's input, then press f.",
    "reading the floor": (s) => `Reading the floor, ${Math.round(100 * s.share)} %; then put the signal back.`,
  };

  const drawMinute = (at, side, s) => {
    const seen = s.minute.map((one) => [WIDE * (1 - (s.time_s - one.time_s) / MINUTE), one[side]]).filter(([x]) => x >= 0);
    const all = s.minute.flatMap((one) => [one.lower, one.upper]);
    if (!seen.length) return;
    let low = Math.min(...all.map((one) => one.value - one.half)), high = Math.max(...all.map((one) => one.value + one.half));
    const spare = Math.max(LEAST_SPAN - (high - low), 0) / 2 + 0.3;
    low -= spare; high += spare;
    const y = (value) => (HIGH * (high - value) / (high - low)).toFixed(1);
    const points = (pick) => seen.map(([x, one]) => `${x.toFixed(1)} ${y(pick(one))}`);
    const top = points((one) => one.value + one.half), foot = points((one) => one.value - one.half).reverse();
    at.querySelector(".band").setAttribute("d", `M${[...top, ...foot].join("L")}Z`);
    at.querySelector(".line").setAttribute("d", `M${points((one) => one.value).join("L")}`);
    said("span", `${number(low)} to ${number(high)} dB`, at);
  };

  // The receiver's own state, a cell each: a word first, the number behind it.
  const cell = (name, word, detail) => {
    const at = root.querySelector(`[data-cell="${name}"]`);
    said("word", word, at); said("detail", detail, at);
  };
  const padWord = (s) => {
    if (s.state.clipping) return ["needed", "the converter clips"];
    const told = Object.values(s.verdicts).map((one) => one.origin);
    if (told.includes("receiver")) return ["needed", "a shoulder is partly the receiver's"];
    if (told.length && told.every((one) => one === "transmitter")) return ["good as it is", `${s.pad_db} dB fitted`];
    return ["not known", "press p for the pad test"];
  };
  const fares = (s) => {
    root.querySelector("[data-fares]").hidden = !s.state;
    if (!s.state) return;
    cell("clipping", s.state.clipping ? "clipping" : "no clipping", s.state.clipping ? `${(100 * s.state.clipped_share).toPrecision(2)} % of the samples` : `${number(s.state.level_db)} dB of full scale`);
    cell("floor", s.state.floor_db === null ? "not known" : `${number(s.state.floor_db)} dB`, s.state.floor_db === null ? "press f to read it" : s.moment && s.moment.lower.bound + s.moment.upper.bound ? "hides a shoulder" : "taken off");
    cell("pad", ...padWord(s));
    const rest = [];
    if (s.state.used_bits !== null) rest.push(`${s.state.used_bits.toFixed(1)} bits used`);
    if (s.state.lost) rest.push(`samples lost at ${s.state.lost} places`);
    if (s.pad_db) rest.push(`pad ${s.pad_db} dB`);
    if (s.practice && s.gains_db.DRIVE) rest.push(`drive ${number(s.gains_db.DRIVE)} dB`);
    said("state", rest.join(", "));
    said("advice", s.state.advice ? `${s.state.advice[0].toUpperCase()}${s.state.advice.slice(1)}.` : "");
  };

  const draw = (s) => {
    root.classList.toggle("is-practice", s.practice);
    root.querySelectorAll(".practice-only").forEach((at) => { at.hidden = !s.practice; });
    said("problem", s.problem || (s.moment ? "" : "Listening"));
    for (const side of ["lower", "upper"]) {
      const at = root.querySelector(`[data-side="${side}"]`), one = s.moment && s.moment[side];
      at.classList.toggle("is-bound", Boolean(one && one.bound));
      said("value", one ? number(one.value) : "\u00a0", at);
      said("doubt", one ? (one.bound ? "at most: the floor hides more" : `\u00b1 ${one.half.toFixed(1)} dB, floor taken off`) : "\u00a0", at);
      const told = s.verdicts[side];
      said("origin", told ? ORIGIN[told.origin] + (told.low_db === null ? "" : `: sent ${number(told.low_db)} to ${number(told.high_db)} dB`)
        : "whose it is: not known", at);
      drawMinute(at, side, s);
    }
    fares(s);
    document.dispatchEvent(new CustomEvent("snapshot", { detail: s }));
    const task = TASKS[s.task];
    said("task", task ? task(s) : Object.keys(s.verdicts).length ? "By the pad test:"
      : "Whether a shoulder is the receiver's own is not known yet: a pad before it would tell.");
    const sentences = Object.entries(s.verdicts).map(([side, told]) => `${side}: ${told.sentence}`);
    const list = part("told");
    if (list.dataset.was !== sentences.join("\n")) {
      list.dataset.was = sentences.join("\n");
      list.replaceChildren(...sentences.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
    }
  };

  let socket, latest = null;
  const connect = () => {
    socket = new WebSocket(`ws://${location.host}/watch/live`);
    socket.onopen = () => socket.send("next");
    socket.onmessage = (event) => {
      const told = JSON.parse(event.data);
      if (!told.running) { location.reload(); return; }
      requestAnimationFrame(() => {
        if (told.snapshot) { latest = told.snapshot; draw(latest); }
        socket.send("next");
      });
    };
    socket.onclose = () => { said("problem", "The bench does not answer; it may have been closed."); setTimeout(connect, 2000); };
  };
  connect();
  const press = (key) => { if (socket.readyState === WebSocket.OPEN) socket.send(key); };
  root.querySelectorAll("[data-key]").forEach((at) => at.addEventListener("click", () => press(at.dataset.key)));
  addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
    if ("pf+-".includes(event.key)) press(event.key);
  });
});

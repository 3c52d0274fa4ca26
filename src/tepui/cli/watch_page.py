"""A snapshot of an edge watch as lines of text, for a window of any size; it draws and computes nothing else.

Layout of 80 by 24: what is watched; both shoulders in large figures with their doubt; whose they are; the last
minute; the receiver's own state; what to do. Smaller windows get one line a look. Nothing depends on colour.
"""

from dataclasses import dataclass

from tepui.cli.digits import large, width_of
from tepui.jobs.watch_state import (
    FIT_PAD,
    FLOOR,
    IDLE,
    RECEIVER,
    SIDES,
    TAKE_OFF,
    TERMINATE,
    TRANSMITTER,
    WITH_PAD,
    Moment,
    ReceiverState,
    Side,
    Snapshot,
)

LEAST_COLUMNS, LEAST_ROWS = 78, 23
CHART_ROWS, MINUTE_S, LEAST_SPAN_DB = 5, 60.0, 4.0
EIGHTHS = " ▁▂▃▄▅▆▇█"
LABEL = 5


@dataclass(frozen=True, kw_only=True)
class Paper:
    """What lines are made for. ``blocks``: whether block characters can be shown; ``bold``: whether bold can."""

    columns: int
    rows: int
    blocks: bool = True
    bold: bool = True

    @property
    def is_large(self) -> bool:
        """Whether the full page fits."""
        return self.columns >= LEAST_COLUMNS and self.rows >= LEAST_ROWS

    def strong(self, text: str) -> str:
        """The text, bold where that can be shown."""
        return f"\x1b[1m{text}\x1b[0m" if self.bold else text

    def plain(self, text: str) -> str:
        """Signs a plain terminal has not, written otherwise."""
        return text if self.blocks else text.replace("±", "+-")


def page_lines(snapshot: Snapshot, paper: Paper) -> list[str]:
    """The whole page; no line is wider than the paper."""
    half = paper.columns // 2
    scale = max(1, min(half // width_of("-00.0"), (paper.rows - 16) // 7))
    lines = [paper.strong(_fit(_title(snapshot), paper.columns))]
    moment = snapshot.moment
    if moment is None:
        wait = [*_wrapped(snapshot.problem or "listening", paper.columns - 4), ""]
        lines += [f"  {line}" for line in wait] + [""] * (7 * scale + 3 - len(wait))
    else:
        lines.append(_pair(["LOWER EDGE", "UPPER EDGE"], half))
        figures = [large(_figure(moment.side(side)), ink="█" if paper.blocks else "#", scale=scale) for side in SIDES]
        lines += [_pair(list(row), half) for row in zip(*figures, strict=True)]
        lines.append(_pair([_doubt(moment.side(side), paper) for side in SIDES], half))
        lines.append(_pair([_origin(snapshot, side) for side in SIDES], half))
    lines.append("")
    lines += _minute(snapshot, paper, half)
    lines += ["", *_receiver(snapshot, paper)]
    lines += [paper.strong(_fit(line, paper.columns)) for line in _task(snapshot)[:2]]
    keys = "p pad test    f floor    q end" + ("    + - practice drive" if snapshot.practice else "")
    lines += [""] * (paper.rows - 1 - len(lines))
    return [*lines[: paper.rows - 1], _fit(keys, paper.columns)]


def short_line(snapshot: Snapshot, paper: Paper) -> str:
    """One line, for a small window."""
    words = ["PRACTICE"] if snapshot.practice else []
    if snapshot.moment is None:
        words.append(snapshot.problem or "listening")
    else:
        for side in SIDES:
            seen = snapshot.moment.side(side)
            words.append(f"{side} {_figure(seen)} {_doubt(seen, paper)}")
        if snapshot.state is not None:
            words.append(_fares(snapshot.state, snapshot.moment))
    words += _task(snapshot)[:1]
    return _fit("  ".join(words), paper.columns)


def _title(snapshot: Snapshot) -> str:
    mark = "PRACTICE, no measurement" if snapshot.practice else snapshot.receiver
    minutes, seconds = divmod(int(snapshot.time_s), 60)
    return f"Edge watch   {snapshot.channel}   {mark}   {minutes:d}:{seconds:02d}"


def _figure(side: Side) -> str:
    """The level to a tenth, as far as there is room: a shoulder lies between -99.9 and 0."""
    return f"{min(max(side.best.high if side.is_bound else side.best.value, -99.9), 9.9):.1f}"


def _doubt(side: Side, paper: Paper) -> str:
    if side.is_bound:
        return "dB at most: the floor hides more"
    return paper.plain(f"dB ± {2 * side.best.std:.1f}, floor taken off")


def _origin(snapshot: Snapshot, side: str) -> str:
    verdict = snapshot.verdicts.get(side)
    if verdict is None:
        return "receiver-made? unknown: press p"
    sent = "" if verdict.low_db is None else f": sent {verdict.low_db:.1f} to {verdict.high_db:.1f}"
    if verdict.origin == TRANSMITTER:
        return f"transmitter's own{sent}"
    if verdict.origin == RECEIVER:
        return f"part receiver's{sent}"
    return f"not settled{sent}" if sent else "hidden by the floor"


def _minute(snapshot: Snapshot, paper: Paper, half: int) -> list[str]:
    """The last minute of both sides as bars, newest on the right, both on one scale."""
    levels = [one.side(side).best.value for one in snapshot.minute for side in SIDES]
    if not levels:
        return [""] * (CHART_ROWS + 1)
    low, high = min(levels), max(levels)
    spare = max(LEAST_SPAN_DB - (high - low), 0.0) / 2
    low, high = low - spare - 0.5, high + spare
    charts = [_bars(snapshot, side, low, high, half - LABEL - 3, blocks=paper.blocks) for side in SIDES]
    rows = []
    for number, pair in enumerate(zip(*charts, strict=True)):
        label = f"{high:.0f}" if number == 0 else f"{low:.0f}" if number == CHART_ROWS - 1 else ""
        rows.append(_pair([f"{label:>{LABEL - 1}} {bars}" for bars in pair], half))
    foot = "a minute ago" + "now".rjust(half - LABEL - 3 - 12)
    return [*rows, _pair([" " * LABEL + foot] * 2, half)]


def _bars(snapshot: Snapshot, side: str, low: float, high: float, columns: int, *, blocks: bool) -> list[str]:
    heights: list[float | None] = [None] * columns
    for one in snapshot.minute:
        place = columns - 1 - int((snapshot.time_s - one.time_s) / MINUTE_S * columns)
        if 0 <= place < columns:
            heights[place] = (one.side(side).best.value - low) / (high - low) * CHART_ROWS
    held: float | None = None
    for place, height in enumerate(heights):  # a look lasts until the next one
        held = held if height is None else height
        heights[place] = held
    rows = []
    for row in range(CHART_ROWS - 1, -1, -1):
        parts = [0.0 if height is None else min(max(height - row, 0.0), 1.0) for height in heights]
        rows.append("".join(EIGHTHS[round(8 * part)] if blocks else "#" if part > 0.5 else " " for part in parts))
    return rows


def _receiver(snapshot: Snapshot, paper: Paper) -> list[str]:
    state = snapshot.state
    if state is None or snapshot.moment is None:
        return ["", ""]
    bits = "" if state.used_bits is None else f", {state.used_bits:.1f} bits"
    floor = "not known (key f)" if state.floor_db is None else f"{state.floor_db:.1f} dB"
    pad = f", pad {snapshot.pad_db:g} dB" if snapshot.pad_db else ""
    lost = f", lost at {state.lost} places" if state.lost else ""
    drive = snapshot.gains_db.get("DRIVE", 0.0) if snapshot.practice else 0.0
    turned = f", drive {drive:+.1f}" if drive else ""
    first = f"Receiver at {state.level_db:.1f} dB of full scale{bits}, floor {floor}{pad}{lost}{turned}"
    return [_fit(first, paper.columns), paper.strong(_fit(_fares(state, snapshot.moment), paper.columns))]


def _fares(state: ReceiverState, moment: Moment) -> str:
    advice = state.advice(max(moment.lower.best.value, moment.upper.best.value))
    clipping = f"CLIPPING {100 * state.clipped_share:.2g} % of the samples: " if state.is_clipping else ""
    return f"{clipping}{advice}" if advice else "level good, no clipping"


def _task(snapshot: Snapshot) -> list[str]:
    """What the operator is asked for, or what the last test told."""
    step = f"{snapshot.pad_step_db:g} dB"
    if snapshot.task == FIT_PAD:
        return [f"PAD TEST: leave the drive, put {step} of pad before the receiver, then press p"]
    if snapshot.task == WITH_PAD:
        return [f"PAD TEST: reading with the pad, {100 * snapshot.share:.0f} %; leave the drive alone"]
    if snapshot.task == TAKE_OFF:
        return [f"PAD TEST done: take the {step} pad off again, then press p", *_told(snapshot)]
    if snapshot.task == TERMINATE:
        return ["FLOOR: put a termination on the receiver's input, then press f"]
    if snapshot.task == FLOOR:
        return [f"FLOOR: reading, {100 * snapshot.share:.0f} %; then put the signal back"]
    assert snapshot.task == IDLE
    return _told(snapshot)


def _told(snapshot: Snapshot) -> list[str]:
    return [f"{side}: {snapshot.verdicts[side].sentence}" for side in SIDES if side in snapshot.verdicts]


def _pair(texts: list[str], half: int) -> str:
    left, right = (_fit(text, half - 2) for text in texts)
    return f" {left:<{half - 1}} {right}".rstrip()


def _fit(text: str, columns: int) -> str:
    return text if len(text) <= columns else text[: columns - 1] + "~"


def _wrapped(text: str, columns: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, columns)

"""The page of a watch: what is on it, that it fits, and that plain terminals get plain characters."""

from dataclasses import replace

import pytest

from tepui.cli.digits import SHAPES, large
from tepui.cli.watch_page import Paper, page_lines, short_line
from tepui.ground.doubt import estimate
from tepui.jobs.watch_state import (
    FIT_PAD,
    IDLE,
    RECEIVER,
    TERMINATE,
    TRANSMITTER,
    Moment,
    ReceiverState,
    Side,
    Snapshot,
    Verdict,
)

PAPER = Paper(columns=80, rows=24, bold=False)
PLAIN = Paper(columns=80, rows=24, blocks=False, bold=False)


def side(level_db, *, hidden=False):
    shown = estimate(level_db + 1, averaging=0.2)
    return Side(shown=shown, received=None if hidden else estimate(level_db, averaging=0.25))


def snapshot(**changes):
    minute = tuple(
        Moment(time_s=t, lower=side(-33.4 - t / 30), upper=side(-35.1), level_db=-12.0) for t in range(0, 60, 2)
    )
    state = ReceiverState(
        level_db=-12.3, clipped_share=0.0, used_bits=7.6, floor_db=-41.2, floor_method="guard", lost=0
    )
    made = Snapshot(
        time_s=61.0,
        practice=True,
        receiver="practice",
        channel="1286 MHz, 7 MHz wide 8K 1/16",
        moment=minute[-1],
        state=state,
        minute=minute,
        verdicts={},
        task=IDLE,
        pad_db=0.0,
        pad_step_db=10.0,
        share=0.0,
        problem="",
        centre_hz=1286e6,
        gains_db={},
    )
    return replace(made, **changes)


def read_large(rows):
    """The text that large figures show, found again shape by shape: four squares of two columns, or fewer."""
    text, at = "", 0
    width = max(map(len, rows))
    rows = [row.ljust(width) for row in rows]
    while at < width:
        for letter, shape in SHAPES.items():
            end = at + 2 * len(shape[0])
            drawn = ["".join("#" if one == "#" else " " for one in line for _ in (0, 1)) for line in shape]
            seen = ["".join(" " if one == " " else "#" for one in row[at:end]).ljust(end - at) for row in rows]
            if letter != " " and seen == drawn:
                text, at = text + letter, end + 1
                break
        else:
            return text
    return text


@pytest.mark.parametrize("text", ["-33.5", "-1.0", "-46.7", "-98.2", "0.3"])
def test_law_large_figures_read_back(text):
    assert read_large(large(text, ink="█")) == text


@pytest.mark.parametrize("paper", [PAPER, PLAIN, Paper(columns=200, rows=60, bold=False), Paper(columns=78, rows=23)])
@pytest.mark.parametrize("task", [IDLE, FIT_PAD, TERMINATE])
def test_law_the_page_fits_and_says_what_counts(paper, task):
    lines = page_lines(snapshot(task=task), paper)
    assert len(lines) == paper.rows
    plain = [line.replace("\x1b[1m", "").replace("\x1b[0m", "") for line in lines]
    assert all(len(line) <= paper.columns for line in plain)
    page = "\n".join(plain)
    for words in ("PRACTICE", "LOWER EDGE", "UPPER EDGE", "0.5, floor taken off", "unknown: press p", "floor -41.2 dB"):
        assert words in page


def test_law_the_figures_on_the_page_are_the_levels():
    rows = page_lines(snapshot(), PAPER)[2:9]
    last = snapshot().moment
    assert read_large([row[1:40].rstrip() for row in rows]) == f"{last.lower.received.value:.1f}"
    assert read_large([row[41:] for row in rows]) == "-35.1"


def test_law_a_plain_page_is_ascii():
    "\n".join(page_lines(snapshot(), PLAIN)).encode("ascii")


def test_law_a_bound_says_so():
    hidden = Moment(time_s=0.0, lower=side(-33.0, hidden=True), upper=side(-33.0), level_db=-12.0)
    page = "\n".join(page_lines(snapshot(moment=hidden), PAPER))
    assert "at most: the floor hides more" in page


@pytest.mark.parametrize(
    ("origin", "words"),
    [(TRANSMITTER, "transmitter's own: sent -36.2 to -34.1"), (RECEIVER, "part receiver's: sent -36.2 to -34.1")],
)
def test_law_whose_shoulders_they_are(origin, words):
    told = Verdict(origin=origin, sentence="Told.", value_db=-35.0, low_db=-36.2, high_db=-34.1, level_db=-12.0)
    lines = page_lines(snapshot(verdicts={"lower": told, "upper": told}), PAPER)
    assert sum(line.count(words) for line in lines) == 2
    assert "lower: Told." in "\n".join(lines)


def test_law_trouble_is_said():
    clipping = replace(snapshot().state, clipped_share=0.01, level_db=-4.0)
    page = "\n".join(page_lines(snapshot(state=clipping), PAPER))
    assert "CLIPPING 1 % of the samples: fit a pad, or 8 dB less gain" in page
    nothing = page_lines(snapshot(moment=None, problem="No edge of a signal is seen here."), PAPER)
    assert any("No edge of a signal" in line for line in nothing)
    assert len(nothing) == 24


def test_law_a_small_window_gets_one_line():
    line = short_line(snapshot(), Paper(columns=60, rows=10, bold=False))
    assert line.startswith("PRACTICE  lower -35")
    assert len(line) <= 60

"""Recording from a running receiver: what is asked for, row by row, and what came of it.

Theory  Blocks are handed on as they come; where the receiver stops or the operator does, what came until then is a
        shorter recording. Losses are told where they happened.
Source  own definition; [SigMF] for what is kept of it.
Holds   One stretch of one tuning and setting a recording.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.statements import exact, text
from tepui.signals.live import LiveReceiver, ReceiverStoppedError, Samples

BLOCK_S = 0.1
MOST_BLOCK = 1 << 20
CLIPPED_SHARE = 1e-5
FULL_SCALE = 1.0 - 1e-6
FILL_DB = -12.0  # of the signal's mean: it passes 10 dB above its mean once in 10 000 samples
FILL_STEP_DB = 6.0  # few settings, so that many recordings share one and are tied by it
FILL_ROUNDS, FILL_SAMPLES = 4, 1 << 15
COUNT = "count"
COLUMNS = (
    ("name", ""),
    ("frequency_hz", "Hz"),
    ("rate_hz", "Hz"),
    ("duration_s", "s"),
    ("converter_level_db", "dB"),
    ("full_scale_share", "1"),
    ("losses", "1"),
)


@dataclass(frozen=True, kw_only=True)
class Take:
    """One recording to be made. rate_hz None: as the receiver runs."""

    name: str
    frequency_hz: float
    duration_s: float
    rate_hz: float | None = None
    settings: Mapping[str, float | bool] = field(default_factory=dict)


@dataclass
class Taken:
    """What came of it, filled while the blocks go by.

    stopped   why it ended early, in one sentence; empty where it did not
    losses    sample -> samples lost before it
    breaks    samples before which the driver lost some it did not count
    """

    take: Take
    rate_hz: float
    tuned_hz: float
    n_samples: int = 0
    stopped: str = ""
    losses: dict[int, int] = field(default_factory=dict)
    breaks: list[int] = field(default_factory=list)
    power: float = 0.0
    n_full_scale: int = 0

    @property
    def duration_s(self) -> float:
        """Length of what came. [s]"""
        return self.n_samples / self.rate_hz


def taken_blocks(
    receiver: LiveReceiver, taken: Taken, *, go_on: Callable[[], bool], tell: Callable[[float], None]
) -> Iterator[Samples]:
    """The blocks of one recording as they come, until it is long enough, ``go_on`` says no, or the receiver stops."""
    wanted = max(1, round(taken.take.duration_s * taken.rate_hz))
    size = min(MOST_BLOCK, max(1024, round(BLOCK_S * taken.rate_hz)))
    while taken.n_samples < wanted:
        if not go_on():
            taken.stopped = taken.stopped or "Stopped by the operator."
            return
        try:
            block = receiver.read(min(size, wanted - taken.n_samples))
        except ReceiverStoppedError as problem:
            taken.stopped = str(problem)
            return
        if block.lost:
            taken.losses[taken.n_samples] = block.lost
        taken.breaks += [taken.n_samples + place for place in block.breaks]
        samples = block.samples
        axes = samples.view("f4")
        taken.power += float((axes.astype("f8") ** 2).sum())
        taken.n_full_scale += int((abs(axes.reshape(-1, 2)) >= FULL_SCALE).any(axis=1).sum())
        taken.n_samples += len(samples)
        yield samples
        tell(taken.n_samples / wanted)


def fill_converter(receiver: LiveReceiver, element: str) -> float:
    """Set a gain so that the signal fills the converter with room for its peaks; returns what is in force. [dB]

    element  the gain behind the first stage that distorts, by name
    raises   ReceiverStoppedError
    """
    steps = receiver.info.gain_named(element)
    assert steps is not None
    gain_db = receiver.set_gain(element, receiver.gains_db.get(steps.name, steps.low_db))
    for _ in range(FILL_ROUNDS):  # a converter that is starved or clips misleads once
        block = receiver.read(FILL_SAMPLES).samples
        level_db = _decibels(float(np.var(block)))
        wanted_db = gain_db + FILL_DB - level_db
        wanted_db = steps.low_db + FILL_STEP_DB * math.floor((wanted_db - steps.low_db) / FILL_STEP_DB)
        wanted_db = min(max(wanted_db, steps.low_db), steps.high_db)
        if abs(wanted_db - gain_db) < 0.5 * FILL_STEP_DB:
            break
        gain_db = receiver.set_gain(element, wanted_db)
    return gain_db


def record_outcome(all_taken: list[Taken]) -> Outcome:
    """What was recorded: a table of all, and findings of each."""
    findings: list[Finding] = []
    rows = []
    for taken in all_taken:
        about = f"recording:{taken.take.name}"
        level_db = _decibels(taken.power / max(taken.n_samples, 1))
        share = taken.n_full_scale / max(taken.n_samples, 1)
        losses = len(taken.losses) + len(taken.breaks)
        stopped = f" {taken.stopped}" if taken.stopped else ""
        findings.append(exact(about, "duration_s", taken.duration_s, "s", source=COUNT, remark=stopped.strip()))
        findings.append(
            exact(
                about, "converter_level_db", level_db, "dB",
                source="mean power of the samples over that of a full-scale carrier",
            )
        )  # fmt: skip
        findings.append(text(about, "complete", not taken.stopped, source=COUNT))
        findings.append(exact(about, "losses", losses, "1", source="count of the capture process and the driver"))
        findings += _cautions(about, share)
        rows.append((taken.take.name, taken.tuned_hz, taken.rate_hz, taken.duration_s, level_db, share, losses))
    return Outcome(findings=tuple(findings), tables=(Table(name="recorded", columns=COLUMNS, rows=tuple(rows)),))


def _cautions(about: str, share: float) -> list[Finding]:
    if share <= CLIPPED_SHARE:
        return []
    return [
        Finding(
            about=about, key="full_scale_share", kind="caution", value=share, unit="1", low=share, high=share,
            standing="measured", source="count of the samples at their last code",
            remark="The converter was driven to its end: shoulders are partly the receiver's own. Record again with a "
            "pad, or less gain.",
        )
    ]  # fmt: skip


def _decibels(power: float) -> float:
    return 10 * math.log10(max(power, 1e-12))

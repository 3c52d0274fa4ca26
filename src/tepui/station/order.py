"""What must hold between the tables of a station file: names, the order of the stages, levels against limits.

Theory  Signal runs from the modulator to the antenna. A level is the sum of what is stated before it; where a stage
        states neither gain nor loss the sum ends, and nothing is said beyond.
Source  common practice (no published source) for what order can work.
Holds   Nominal mean levels; doubts and peaks are the business of the findings.
"""

from collections.abc import Iterator, Mapping

from tepui.ground.errors import ChoiceError, RangeError
from tepui.station.lines import Path
from tepui.station.nouns import Station
from tepui.station.stages import LOSSY, Stage


def check_order(station: Station, lines: Mapping[Path, int]) -> None:
    """Refuse names that occur twice and an order of stages that cannot work.

    lines   where each key stands (``lines.key_lines``)
    raises  InputError: one sentence
    """
    _check_names(station, lines)
    before: Stage | None = None
    for n, stage in enumerate(station.stages):
        at = f"{station.file}, line {lines.get(('stage', n, 'kind'), 1)}, kind of stage"
        if stage.kind == "modulator" and before is not None:
            raise ChoiceError(
                f'{at} "{stage.name}": the modulator {stage.name} stands behind {before.name}; it must be the first '
                "stage."
            )
        if before is not None and before.kind == "antenna":
            raise ChoiceError(
                f'{at} "{stage.name}": the {stage.kind} {stage.name} stands behind the antenna {before.name}, and '
                "nothing can; stages stand in signal order, the antenna last."
            )
        if stage.kind == "amplifier" and stage.gain is not None and stage.gain.value < 0:
            raise RangeError(
                f'{stage.gain.place}: "{stage.gain.text}" is a loss, and an amplifier has a gain of at least 0 dB; '
                "for a loss use loss and the kind pad or passive."
            )
        _check_figures(stage)
        before = stage


# Of two figures of one stage the first cannot be above the second, because of the third.
_NOT_ABOVE = (
    ("p1db", "saturated", "an amplifier compresses before it saturates"),
    ("p1db", "oip3", "an intercept lies above the compression"),
    ("input_p1db", "iip3", "an intercept lies above the compression"),
    ("case_max", "junction_max", "a case is colder than what it holds"),
)


def _check_figures(stage: Stage) -> None:
    """Refuse figures of one stage that cannot be together."""
    for low, high, why in _NOT_ABOVE:
        first, second = getattr(stage, low), getattr(stage, high)
        if first is not None and second is not None and first.value > second.value:
            raise RangeError(f'{first.place}: "{first.text}" is above {high} "{second.text}", and {why}; one is wrong.')


def _check_names(station: Station, lines: Mapping[Path, int]) -> None:
    stages, instruments = [row.name for row in station.stages], [row.name for row in station.instruments]
    calls = [far.call for far in station.fars]
    for word, key, names in (("stage", "name", stages), ("instrument", "name", instruments), ("far", "call", calls)):
        for n, name in enumerate(names):
            if name in names[:n]:
                raise ChoiceError(
                    f'{station.file}, line {lines.get((word, n, key), 1)}, {key} of {word}: "{name}" is the {key} of '
                    f"another {word}; each needs its own."
                )


def check_levels(station: Station) -> None:
    """Refuse a nominal level above a stage's stated maximum input.

    raises  RangeError
    """
    for stage, level_dbm in nominal_inputs(station):
        most = stage.max_input
        if most is not None and level_dbm is not None and level_dbm > most.value + 1e-9:
            raise RangeError(
                f'{most.place}: the level at its input is {level_dbm:.1f} dBm, and "{most.text}" is the most it bears; '
                f"put a pad of {level_dbm - most.value:.1f} dB or more before it, or lower the level."
            )


def nominal_inputs(station: Station) -> Iterator[tuple[Stage, float | None]]:
    """Each stage with the nominal mean level at its input; None where it cannot be said. [dBm]"""
    level: float | None = None
    for stage in station.stages:
        yield stage, level
        if stage.kind == "modulator":
            level = None if stage.level is None else stage.level.value
        elif stage.kind == "antenna":
            level = None
        elif level is not None:
            step = nominal_gain_db(stage, station.channel.centre.value)
            level = None if step is None else level + step


def nominal_gain_db(stage: Stage, centre_hz: float) -> float | None:
    """Gain of a stage, loss negative; None where nothing is stated. [dB]"""
    if stage.kind in LOSSY:
        if stage.loss is not None:
            return -stage.loss.value
        if stage.curve is not None:
            import numpy as np

            return -float(np.interp(centre_hz, stage.curve.frequency_hz, stage.curve.loss_db))
        return None
    if stage.gain is None and stage.memory is not None:
        return stage.memory.gain_db
    return None if stage.gain is None else stage.gain.value


def is_inverted(station: Station) -> bool | None:
    """Whether the mixers mirror the spectrum all in all; None where an oscillator is not stated."""
    inverted = False
    frequency = station.channel.centre.value
    for stage in reversed(station.stages):
        if stage.kind == "mixer":
            if stage.frequency is None:
                return None
            inverted ^= stage.frequency.value > frequency
            frequency = abs(frequency - stage.frequency.value)
    return inverted


def stage_inputs_hz(station: Station) -> dict[str, float | None]:
    """Centre of the signal at each stage's input, mixing undone from the channel backwards; None where unknown. [Hz]"""
    found: dict[str, float | None] = {}
    frequency: float | None = station.channel.centre.value
    for stage in reversed(station.stages):
        if stage.kind == "mixer" and frequency is not None:
            frequency = None if stage.frequency is None else abs(frequency - stage.frequency.value)
        found[stage.name] = frequency
    return found

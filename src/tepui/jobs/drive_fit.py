"""The curve through a drive series: which readings it takes, behind which signal, how far they are trusted.

Theory  chain/amplifiers/fit.py fits, prediction/drive.py finds the crossing. Readings that scatter more than their
        doubts are doubted more, by the factor that makes the scatter likely.
Source  R. T. Birge 1932, Phys. Rev. 40, 207, for that factor. The floors believed in beforehand are this program's own.
Holds   as drive_series.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tepui.chain.amplifiers.families import FAMILIES
from tepui.chain.amplifiers.fit import AmplifierFit, DriveData, fit_amplifier
from tepui.evidence.drive import Baseline, DriveReading, SideLevel
from tepui.jobs.drive_slopes import LEAST_SPAN_DB, moves
from tepui.prediction.drive import Crossing, crossing
from tepui.prediction.waveform_density import sidelobe_shoulder_db, view_of_mode
from tepui.signals.dvbt.mode import Mode

POWER_STD_DB = 0.05  # of a power reading against the next: the last digit of most displays; assumed
SIDELOBE_STD_DB = 0.7  # pilots part the sides by some tenths, filters may take a little off
OTHER_FLOOR_DB = (-44.0, 6.0)  # and its doubt, beforehand: modulators and stages before the one that is turned


@dataclass(frozen=True, kw_only=True)
class FitQuestion:
    """What is asked of the readings.

    model          a family's name, or auto
    is_mode_known  or only taken for granted: then nothing is known of the side-lobes
    axis_is_power  whether settings are powers, so that powers say nothing more
    is_sent        whether a floor in the readings is the transmitter's
    """

    target_db: float
    confidence: float
    step_db: float
    model: str
    baseline: Baseline | None
    mode: Mode
    is_mode_known: bool
    axis_is_power: bool
    is_sent: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesFit:
    """The fitted curve and where it crosses; ``first`` and ``last`` are the settings it rests on.

    strain  by how much the readings' own doubts were widened, because they scatter more than that; 1 mostly
    """

    fit: AmplifierFit
    where: Crossing
    first: float
    last: float
    strain: float = 1.0


def fitted(
    readings: Sequence[DriveReading],
    levels: Sequence[SideLevel | None],
    question: FitQuestion,
    *,
    flat: Sequence[str],
) -> SeriesFit | None:
    """The curve through all readings; None where too few of them follow the drive."""
    pairs = [(r, side) for r, side in zip(readings, levels, strict=True) if side is not None and side.true is not None]
    used = pairs if question.is_sent and moves(pairs) else [(r, level) for r, level in pairs if r.name not in flat]
    settings = [reading.setting_dbm for reading, _ in used]
    if not settings or max(settings) - min(settings) < LEAST_SPAN_DB:
        return None
    data = _fit_data(readings, levels, question.baseline, axis_is_power=question.axis_is_power)
    families = tuple(FAMILIES) if question.model == "auto" else (question.model,)
    floors = _floors(question) if question.is_sent or flat else ()
    view = view_of_mode(question.mode)
    fit = fit_amplifier(data, view, families=families, floors=floors)
    strain = fit.strain
    if strain > 1:
        fit = fit_amplifier(_doubted(data, strain), view, families=families, floors=floors)
    first, last = pairs[0][0].setting_dbm, pairs[-1][0].setting_dbm
    where = crossing(
        fit,
        target_db=question.target_db,
        confidence=question.confidence,
        first=first,
        last=last,
        step_db=question.step_db,
        is_sent=question.is_sent,
    )
    return SeriesFit(fit=fit, where=where, first=first, last=last, strain=strain)


def _doubted(data: DriveData, factor: float) -> DriveData:
    """The same readings, each doubted more, as their scatter asks for."""
    return replace(data, shoulder_std_db=factor * data.shoulder_std_db, power_std_db=factor * data.power_std_db)


def _floors(question: FitQuestion) -> tuple[tuple[float, float], ...]:
    """Shoulders that a signal may bring along: side-lobes nobody took away, and any other."""
    if not question.is_mode_known:
        return (OTHER_FLOOR_DB,)
    return (sidelobe_shoulder_db(question.mode), SIDELOBE_STD_DB), OTHER_FLOOR_DB


def _fit_data(
    readings: Sequence[DriveReading],
    levels: Sequence[SideLevel | None],
    baseline: Baseline | None,
    *,
    axis_is_power: bool,
) -> DriveData:
    """Arrays; a reading drowned in a known baseline goes in as shown, for it still bounds the curve from above."""
    used = [
        (reading.setting_dbm, level)
        for reading, level in zip(readings, levels, strict=True)
        if level is not None and (level.true is not None or level.on_baseline)
    ]
    shown = [level.shown_db if level.on_baseline or level.true is None else level.true.value for _, level in used]
    power = [(r.setting_dbm, r.power_dbm) for r in readings if r.power_dbm is not None and not axis_is_power]
    return DriveData(
        setting_db=np.array([setting for setting, _ in used]),
        shoulder_db=np.array(shown),
        shoulder_std_db=np.array([level.own_std_db for _, level in used]),
        common_std_db=np.array([level.common_std_db for _, level in used]),
        on_baseline=np.array([level.on_baseline for _, level in used]),
        baseline_db=None if baseline is None else baseline.level_db,
        baseline_std_db=0.0 if baseline is None else baseline.std_db,
        power_setting_db=np.array([setting for setting, _ in power], dtype=np.float64),
        power_dbm=np.array([level for _, level in power], dtype=np.float64),
        power_std_db=np.full(len(power), POWER_STD_DB),
    )

"""Peaks of the envelope, before and behind the amplifier, at the setting a drive series points to.

Theory  How often the envelope passes which level over its mean: into the amplifier as many carriers do (Rayleigh), out
        of it through every fitted amplifier, weighed as they are.
Source  chain/amplifiers/output_crest.py.
Holds   as drive_series.py.
"""

from typing import Any

import numpy as np

from tepui.ground.findings import Table
from tepui.jobs.drive_fit import SeriesFit
from tepui.jobs.drive_operation import operating_setting

FROM_DB, TO_DB, STEP_DB = 0.0, 12.0, 0.25
FINE = 8
LEAST = 1e-7  # rarer than this nothing is said


def peak_curves(result: SeriesFit, *, step_db: float = STEP_DB / FINE) -> dict[str, Any] | None:
    """Level over the mean and both probabilities; None where no setting meets the target."""
    setting = operating_setting(result)
    if setting is None:
        return None
    level_db = np.arange(FROM_DB, TO_DB + step_db / 2, step_db)
    return {
        "setting_dbm": setting,
        "level_db": level_db,
        "before": np.exp(-(10 ** (level_db / 10))),
        "after": result.fit.ccdf(setting, level_db),
    }


def peaks_table(result: SeriesFit) -> Table | None:
    """The same in quarters of a decibel."""
    found = peak_curves(result, step_db=STEP_DB)
    if found is None:
        return None
    columns = (("level_over_mean_db", "dB"), ("probability_before", "1"), ("probability_after", "1"))
    rows = [
        (float(level), float(before), float(after) if after >= LEAST else None)
        for level, before, after in zip(found["level_db"], found["before"], found["after"], strict=True)
        if before >= LEAST
    ]
    return Table(name="crest_ccdf", columns=columns, rows=tuple(rows))

"""Loss of a filter over frequency, from rows of a table or from its prototype.

Theory  Rows are joined by straight lines; beyond the ends of a table its last value holds. The signal is taken as flat.
Source  chain.filters.prototype for a filter that is still to be made.
Holds   Near the channel: ``Curve.assumed`` tells a prototype from a measured curve. Table rows below 45 MHz are offsets
        from the channel's centre.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.prototype import prototype_loss_db
from tepui.station.stages import Curve, Stage

OFFSETS_BELOW_HZ = 45e6
DEEPEST_DB = 65.0  # home-made boxes leak past their resonators at 60 to 70 dB: common practice
POINTS = 1201


def curve_of_rows(rows: Sequence[tuple[float, float]], *, centre_hz: float) -> Curve:
    """A curve from rows of frequency and loss; one row alone is a loss that is the same everywhere."""
    if len(rows) == 1:
        return Curve(frequency_hz=np.array([centre_hz]), loss_db=np.array([rows[0][1]]), how="one number")
    frequency, loss = np.array(rows, dtype=np.float64).T
    if np.abs(frequency).max() < OFFSETS_BELOW_HZ:
        frequency = frequency + centre_hz
    return Curve(frequency_hz=frequency, loss_db=loss, how=f"table of {len(rows)} rows")


def with_prototype(stage: Stage, *, centre_hz: float) -> Stage:
    """The stage with the curve of its prototype, where centre, width and poles are stated."""
    if stage.kind != "filter" or stage.width is None or stage.poles is None:
        return stage
    middle = centre_hz if stage.centre is None else stage.centre.value
    frequency = np.unique(np.concatenate([
        np.linspace(middle - 4 * stage.width.value, middle + 4 * stage.width.value, POINTS),
        np.geomspace(middle / 8, 4 * middle, POINTS),
    ]))  # fmt: skip
    ripple_db = 0.0 if stage.ripple is None else stage.ripple.value
    loss = prototype_loss_db(
        frequency,
        centre_hz=middle,
        width_hz=stage.width.value,
        poles=stage.poles,
        ripple_db=ripple_db,
        unloaded_q=None if stage.unloaded_q is None else stage.unloaded_q.value,
    )
    form = "Chebyshev" if ripple_db > 0 else "maximally flat"
    how = f"{form} prototype of {stage.poles} poles, held to {DEEPEST_DB:g} dB"
    return replace(
        stage, curve=Curve(frequency_hz=frequency, loss_db=np.minimum(loss, DEEPEST_DB), how=how, assumed=True)
    )


def loss_at_db(curve: Curve, frequency_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Loss at frequencies; beyond the ends of a table its last value holds. (n,) [dB]"""
    return np.asarray(np.interp(np.asarray(frequency_hz, dtype=np.float64), curve.frequency_hz, curve.loss_db))


def channel_loss_db(curve: Curve, *, centre_hz: float, occupied_hz: float) -> float:
    """Loss of the signal's mean power over its flat occupied width. [dB]"""
    inside = loss_at_db(curve, centre_hz + np.linspace(-occupied_hz / 2, occupied_hz / 2, 401))
    return float(-10 * np.log10(np.mean(10 ** (-inside / 10))))

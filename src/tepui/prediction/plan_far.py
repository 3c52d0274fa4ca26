"""What the far receivers make of every plan: received, in doubt, or by nobody.

Theory  All plans send the same channel, so ranges, gaps and raster judge them alike; the oscillator's step and its
        reference put each plan off by its own amount, which the far receiver has to follow beside its own error.
Source  far_receiver.py; errors add, as they may all err the same way.
Holds   Frequencies only. Where the pull-in is not known nothing is made of errors.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.prediction.far_receiver import FarReceiver, FarTuning, far_tuning

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class FarStation:
    """A station that should receive."""

    name: str
    receiver: FarReceiver


@dataclass(frozen=True, kw_only=True, eq=False)
class FarFaults:
    """By plan, all (c,).

    lost     no station can receive it, whatever is calibrated
    missed   one of several stations cannot
    strayed  errors may put it beyond what a receiver follows
    """

    lost: Bools
    missed: Bools
    strayed: Bools


def far_faults(
    stations: Sequence[FarStation], *, wanted_hz: float, width_hz: float, off_hz: Floats, drift_hz: Floats
) -> FarFaults:
    """How each plan fares at the far stations.

    off_hz    (c,) where the channel of each plan lies beside the wanted
    drift_hz  (c,) by how much it may be off besides, 95 %
    """
    count = len(off_hz)
    unheard = np.zeros((len(stations), count), bool)
    strayed = np.zeros(count, bool)
    for n, station in enumerate(stations):
        tuning = far_tuning(station.receiver, wanted_hz=wanted_hz, width_hz=width_hz, transmit_error_hz=0.0)
        pull_in = station.receiver.pull_in_hz
        unheard[n] = out_of_reach(station.receiver, tuning)
        if pull_in is not None and tuning.inside:
            sign = -1.0 if tuning.inverted else 1.0
            beside = np.abs(sign * off_hz - (tuning.off_hz or 0.0))
            strayed |= ~unheard[n] & (beside + drift_hz + tuning.error_hz > pull_in)
    some = np.logical_or.reduce(unheard, axis=0, initial=False)
    lost = some & np.logical_and.reduce(unheard, axis=0)
    return FarFaults(lost=np.asarray(lost), missed=np.asarray(some & ~lost), strayed=strayed)


def out_of_reach(receiver: FarReceiver, tuning: FarTuning) -> bool:
    """Whether the channel lies in a gap, or beside the raster by more than the receiver follows."""
    if not tuning.inside:
        return True
    return receiver.pull_in_hz is not None and abs(tuning.off_hz or 0.0) > receiver.pull_in_hz

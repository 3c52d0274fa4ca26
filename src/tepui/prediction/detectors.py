"""What an instrument set on a single carrier shows of a Gaussian signal, relative to its mean power.

Theory  Power w = |x|^2 of a complex Gaussian is exponential. A thermal head shows its mean. A log detector shows
        E[10 log10 w] = -10 log10(e) x 0.5772 = -2.51 dB (Euler's constant). A linear envelope detector shows
        E[|x|]^2 = pi/4 = -1.05 dB. A peak detector shows what is exceeded for a share of the time, 10 log10(-ln share).
        A diode probe is a thermal head below its square law's end and an envelope or peak detector above it.
        A receiver narrower than the signal shows its share of the width.
Source  E[ln w] = -gamma, E[sqrt w] = sqrt(pi)/2 of the exponential density; limits of the square law: common practice.
Holds   OFDM of hundreds of carriers, bandwidth of the detector wider than the signal unless it is a receiver.
"""

import math
from dataclasses import dataclass

from tepui.signals.detected import LINEAR_DB, LOG_DB

PEAK_SHARE = 1e-4
SQUARE_BELOW_DBM = -20.0
LINEAR_ABOVE_DBM = 5.0


@dataclass(frozen=True, kw_only=True)
class Shown:
    """Shown level less the mean power: middle and standard uncertainty of the detector itself, and in words why."""

    offset_db: float
    std_db: float
    why: str


def crest_db(share: float = PEAK_SHARE) -> float:
    """Envelope power over mean power that is exceeded for ``share`` of the time. [dB]

    >>> round(crest_db(1e-4), 2)
    9.64
    """
    return 10 * math.log10(-math.log(share))


def detector(kind: str, *, law: str | None = None, input_dbm: float | None = None) -> Shown:
    """What a detector of this kind shows.

    law        of a diode probe, where it is known
    input_dbm  mean level at the detector, which decides the law of a probe otherwise
    """
    if kind == "log detector":
        return Shown(offset_db=LOG_DB, std_db=0.1, why="a logarithmic detector shows 2.5 dB less than the mean power")
    if kind == "envelope detector":
        return Shown(offset_db=LINEAR_DB, std_db=0.1, why="a linear envelope detector shows 1.05 dB less than the mean")
    if kind == "peak detector":
        return Shown(
            offset_db=crest_db(), std_db=0.5, why="a peak detector shows the envelope's peaks, 9.6 dB above the mean"
        )
    if kind == "diode probe":
        return _probe(law, input_dbm)
    return Shown(offset_db=0.0, std_db=0.0, why="it shows the mean power")


def _probe(law: str | None, input_dbm: float | None) -> Shown:
    square = law == "square" or (law is None and input_dbm is not None and input_dbm < SQUARE_BELOW_DBM)
    if square:
        return Shown(offset_db=0.0, std_db=0.2, why="a diode in its square law shows the mean power")
    if law == "linear":
        return Shown(offset_db=LINEAR_DB, std_db=0.5, why="a diode in its linear law shows 1.05 dB less than the mean")
    middle = (LINEAR_DB + crest_db()) / 2
    return Shown(
        offset_db=middle,
        std_db=(crest_db() - LINEAR_DB) / math.sqrt(12),
        why="a diode above its square law shows anything between 1 dB below the mean and the peaks, by its capacitor",
    )


def receiver_share_db(*, usable_hz: float | None, occupied_hz: float) -> float:
    """Part of the signal's power that a receiver of this width shows, 0 where it is wide enough. [dB]"""
    if usable_hz is None or usable_hz >= occupied_hz:
        return 0.0
    return 10 * math.log10(usable_hz / occupied_hz)

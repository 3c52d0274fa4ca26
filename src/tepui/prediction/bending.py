"""What a stage does to the signal's peaks, from the best model its data allow: shoulder, MER, fall of the gain.

Theory  Each memoryless model is one curve over x, the mean level before compression less a reference in dB: Rapp over
        the saturated output, cubic over OIP3, the diode ring over its oscillator, a measured curve over its own input.
        The interval of a shoulder is read at x plus and minus two standard uncertainties, the widest over the forms
        the data leave open (Rapp's smoothness 2 to 3). A memory polynomial has a curve for each shoulder.
Source  chain.amplifiers for the models; tables/mixer_ofdm_drive for the ring, moved by what a measured one compresses
        earlier. OIP3 rules up to 8 dB below P1dB, where transistors leave the cubic: common practice.
Holds   No memory but where it was measured. Cubic: peaks at 1e-4 up to the top of the cubic, 4.8 dB below OIP3;
        beyond, ``extrapolated``.
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from tepui.chain.amplifiers.closed_form import Amplifier
from tepui.chain.amplifiers.drive_curve import drive_curve
from tepui.chain.amplifiers.memory import MemoryPolynomial, memory_curve
from tepui.chain.amplifiers.models import odd_polynomial, rapp, rapp_compression_w
from tepui.chain.amplifiers.tabulated import MeasuredCurve
from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.prediction.waveform_density import terms_of_mode, view_of_mode
from tepui.signals.dvbt.mode import Mode
from tepui.tables.load import load_table

Floats = npt.NDArray[np.float64]
SMOOTHNESS = (2.5, 2.0, 3.0)  # middle first; 2 to 3 for transistors in class AB
RING_COMPRESSION_DBM = 3.0  # input of the tabled ring at 1 dB compression, oscillator +7 dBm
RING_MEASURED_DBM = 1.0  # of a measured one
RING_STD_DB = 1.0
RING_LO_DBM = 7.0
CUBIC_TOP_DB = -14.4  # mean over OIP3 at which peaks at 1e-4 reach the top of the cubic
CUBIC_BELOW_P1DB_DB = 8.0
DEEPEST_DB = -80.0
STEP_DB = 0.25


@dataclass(frozen=True, kw_only=True)
class Bend:
    """A model and where it stands.

    model          "rapp", "cubic", "ring", "measured curve" or "memory polynomial"
    reference_dbm  what x is counted from; ``at_input`` whether at the input
    std_db         standard uncertainty of the reference
    forms          Rapp's smoothness: the middle first; otherwise (0.0,)
    why            in words: which data it was made from
    weak           made from a single-carrier P1dB that nobody measured, and nothing else
    """

    model: str
    reference_dbm: float
    std_db: float
    why: str
    at_input: bool = False
    forms: tuple[float, ...] = (0.0,)
    curve: MeasuredCurve | MemoryPolynomial | None = None
    weak: bool = False


@dataclass(frozen=True, kw_only=True)
class Bent:
    """What the stage adds at one drive; each as (low, value, high).

    shoulder_db  the higher one
    sides_db     below and above the channel
    """

    shoulder_db: tuple[float, float, float]
    sides_db: tuple[tuple[float, float, float], tuple[float, float, float]]
    mer_db: tuple[float, float, float]
    compression_db: float
    x_db: float
    extrapolated: bool
    shoulder_slope: float


@dataclass(frozen=True, kw_only=True, eq=False)
class _Universal:
    """Shoulder, MER and fall of the mean power over x; ``sides`` (2, n) where they differ."""

    x: Floats
    shoulder: Floats
    mer: Floats
    compression: Floats
    sides: Floats | None = None

    def sides_at(self, x: float) -> tuple[float, float]:
        """Shoulder below and above the channel. [dB]"""
        rows = (self.shoulder, self.shoulder) if self.sides is None else self.sides
        return float(np.interp(x, self.x, rows[0])), float(np.interp(x, self.x, rows[1]))

    def rows_at(self, x: Floats) -> Floats:
        """Shoulder below, above, and MER. (3, n) [dB]"""
        sides = (self.shoulder, self.shoulder) if self.sides is None else self.sides
        return np.stack([np.interp(x, self.x, row) for row in (sides[0], sides[1], self.mer)])

    def at(self, x: float) -> tuple[float, float, float]:
        return tuple(float(np.interp(x, self.x, row)) for row in (self.shoulder, self.mer, self.compression))  # type: ignore[return-value]


def bend_at(bend: Bend, *, input_dbm: float, output_dbm: float, std_db: float, mode: Mode) -> Bent:
    """What the stage adds at a mean level.

    output_dbm  before compression
    std_db      standard uncertainty of that level
    """
    x = (input_dbm if bend.at_input else output_dbm) - bend.reference_dbm
    spread = COVERAGE_FACTOR * math.hypot(std_db, bend.std_db)
    curves = [_universal(bend.model, form, bend.curve, _same_view(mode)) for form in bend.forms]
    shoulder, mer, compression = curves[0].at(x)
    low = [curve.at(x - spread) for curve in curves]
    high = [curve.at(x + spread) for curve in curves]
    both = [[curve.sides_at(at) for at in (x - spread, x, x + spread)] for curve in curves]
    sides = [
        (min(one[0][side] for one in both), both[0][1][side], max(one[2][side] for one in both)) for side in (0, 1)
    ]
    slope = (curves[0].at(x + STEP_DB)[0] - curves[0].at(x - STEP_DB)[0]) / (2 * STEP_DB)
    return Bent(
        shoulder_db=(min(shoulder, *(one[0] for one in low)), shoulder, max(shoulder, *(one[0] for one in high))),
        sides_db=(sides[0], sides[1]),
        mer_db=(min(mer, *(one[1] for one in high)), mer, max(mer, *(one[1] for one in low))),
        compression_db=compression,
        x_db=x,
        extrapolated=_beyond(bend, x, curves[0]) or (bend.model == "ring" and x + spread > curves[0].x[-1]),
        shoulder_slope=slope,
    )


def bend_draws(
    bend: Bend, *, input_dbm: Floats, output_dbm: Floats, z: Floats, u: Floats, mode: Mode
) -> tuple[Floats, Floats]:
    """Shoulders and MER of drawn levels.

    output_dbm  (n,) before compression
    z           (n,) standard normal: where the reference lies within its doubt
    u           (n,) from 0 to 1: where among the forms that the data leave open
    returns     (2, n) shoulders below and above; (n,) MER [dB]
    """
    x = (input_dbm if bend.at_input else output_dbm) - bend.reference_dbm - bend.std_db * z
    curves = [_universal(bend.model, form, bend.curve, _same_view(mode)) for form in bend.forms]
    rows = np.stack([curve.rows_at(x) for curve in curves])  # (forms, 3, n)
    found = rows[0]
    if len(rows) > 1:
        away = 2 * u - 1
        found = found + np.abs(away) * (np.where(away < 0, rows[1], rows[2]) - found)
    return np.asarray(found[:2]), np.asarray(found[2])


def _beyond(bend: Bend, x: float, curve: _Universal) -> bool:
    if bend.model == "cubic":
        return x > CUBIC_TOP_DB
    if isinstance(bend.curve, MemoryPolynomial):
        return x + 9.64 > bend.curve.reach_dbm - bend.curve.reference_dbm
    if bend.curve is not None:
        return x + 9.64 > bend.curve.reach_dbm
    return not curve.x[0] <= x <= curve.x[-1]


def _same_view(mode: Mode) -> Mode:
    """One mode for all that look alike to an amplifier, so that curves are formed once."""
    return Mode(
        width_hz=mode.width_hz, n_fft=mode.n_fft, guard=mode.guard, constellation="QPSK", code_rate=mode.code_rate
    )


@lru_cache(maxsize=64)
def _universal(model: str, form: float, measured: MeasuredCurve | MemoryPolynomial | None, mode: Mode) -> _Universal:
    if model == "ring":
        return _ring()
    if isinstance(measured, MemoryPolynomial):
        return _with_memory(measured, mode)
    if model == "measured curve":
        assert measured is not None
        x = np.arange(measured.input_dbm[0] - 10, measured.reach_dbm + STEP_DB, STEP_DB)
        return _from(measured.amplifier, x, mode)
    if model == "cubic":
        return _from(lambda v: odd_polynomial(v, coefficients=(1.0, -1.0)), np.arange(-45, -7, STEP_DB), mode)
    return _from(lambda v: rapp(v, gain_ratio=1.0, saturated_w=1.0, smoothness=form), np.arange(-30, 10, STEP_DB), mode)


def _from(amplifier: Amplifier, x: Floats, mode: Mode) -> _Universal:
    drive = 10 ** (x / 10)
    curve = drive_curve(amplifier, drive, view_of_mode(mode))
    gain = curve.power_w / drive
    shoulder = np.maximum.accumulate(np.maximum(curve.shoulder_db, DEEPEST_DB))
    return _Universal(
        x=x,
        shoulder=shoulder,
        mer=np.minimum.accumulate(np.minimum(curve.mer_db, -DEEPEST_DB)),
        compression=-10 * np.log10(gain / gain[0]),
    )


def _with_memory(amplifier: MemoryPolynomial, mode: Mode) -> _Universal:
    """Up to where peaks at 1e-4 pass what the polynomial was fitted with, and 3 dB beyond."""
    top = amplifier.reach_dbm - amplifier.reference_dbm - 9.64 + 3
    x = np.arange(top - 40, top + STEP_DB, STEP_DB)
    curve = memory_curve(
        amplifier,
        10 ** (x / 10),
        terms=terms_of_mode(mode),
        view=view_of_mode(mode),
        occupied_width_hz=mode.occupied_width_hz,
    )
    sides = np.maximum.accumulate(np.maximum(np.stack([curve.lower_db, curve.upper_db]), DEEPEST_DB), axis=1)
    return _Universal(
        x=x,
        shoulder=sides.max(axis=0),
        mer=np.minimum.accumulate(np.minimum(curve.mer_db, -DEEPEST_DB)),
        compression=-10 * np.log10(curve.gain_ratio / curve.gain_ratio[0]),
        sides=sides,
    )


def memory_bend(amplifier: MemoryPolynomial) -> Bend:
    """A measured memory polynomial."""
    delays, orders = amplifier.coefficients.shape
    return Bend(
        model="memory polynomial",
        reference_dbm=amplifier.reference_dbm,
        std_db=0.0,
        at_input=True,
        curve=amplifier,
        why=f"memory polynomial of {delays} delays up to order {2 * orders - 1}",
    )


def _ring() -> _Universal:
    table = load_table("mixer_ofdm_drive")
    drive, product, shoulder, mer = (
        np.array([float(cell) for cell in table.column(name)])
        for name in ("ofdm_drive_dbm", "product_dbm", "shoulder_300_700khz_db", "mer_db")
    )
    gain = product - drive
    return _Universal(
        x=drive,
        shoulder=np.maximum.accumulate(-shoulder),
        mer=np.minimum.accumulate(mer),
        compression=gain.max() - gain,
    )


def rapp_bend(
    *, p1db_dbm: tuple[float, float] | None, saturated_dbm: tuple[float, float] | None, weak: bool = False
) -> Bend:
    """Rapp from P1dB and saturated output, each a value and its standard uncertainty; one of them may be missing."""
    if saturated_dbm is not None and p1db_dbm is not None:
        above = saturated_dbm[0] - p1db_dbm[0]
        p = smoothness_for(above)
        return Bend(
            model="rapp",
            reference_dbm=saturated_dbm[0],
            std_db=max(saturated_dbm[1], p1db_dbm[1]),
            forms=(p, max(p * 0.8, 0.7), p * 1.25),
            why=f"saturating (Rapp, smoothness {p:.1f}), from P1dB and saturated output",
        )
    if saturated_dbm is not None:
        reference, std = saturated_dbm
        why = "saturating (Rapp, smoothness 2 to 3), from the saturated output"
    else:
        assert p1db_dbm is not None
        reference, std = p1db_dbm[0] + compression_below_db(SMOOTHNESS[0]), math.hypot(p1db_dbm[1], 0.3)
        why = "saturating (Rapp, smoothness 2 to 3), from P1dB alone"
    return Bend(model="rapp", reference_dbm=reference, std_db=std, forms=SMOOTHNESS, why=why, weak=weak)


def ring_bend(*, lo_dbm: float, input_p1db_dbm: tuple[float, float] | None) -> Bend:
    """A diode ring by its oscillator level and, if known, its input compression."""
    compression, std = input_p1db_dbm or (RING_MEASURED_DBM + lo_dbm - RING_LO_DBM, RING_STD_DB)
    return Bend(
        model="ring",
        reference_dbm=compression - RING_COMPRESSION_DBM,
        std_db=std,
        at_input=True,
        why=f"diode ring with {lo_dbm:g} dBm of oscillator, compressing 1 dB at {compression:g} dBm",
    )


def compression_below_db(smoothness: float) -> float:
    """How far P1dB lies below the saturated output of a Rapp amplifier. [dB]"""
    return -10 * math.log10(rapp_compression_w(saturated_w=1.0, smoothness=smoothness))


def smoothness_for(above_db: float) -> float:
    """Rapp's smoothness for a saturated output so far above P1dB; held between 0.8 and 10."""
    low, high = 0.8, 10.0
    if above_db >= compression_below_db(low):
        return low
    if above_db <= compression_below_db(high):
        return high
    return float(brentq(lambda p: compression_below_db(p) - above_db, low, high))


def backoff_for_shoulder(shoulder_db: float, *, mode: Mode | None = None) -> float:
    """How far below P1dB a Rapp amplifier of smoothness 2, the softer end, must stay for a shoulder. [dB]"""
    seen = mode or Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3))
    curve = _universal("rapp", SMOOTHNESS[1], None, _same_view(seen))
    x = float(np.interp(shoulder_db, curve.shoulder, curve.x))
    output = x - float(np.interp(x, curve.x, curve.compression))
    return -compression_below_db(SMOOTHNESS[1]) - output

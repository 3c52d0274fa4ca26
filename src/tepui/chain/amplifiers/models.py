"""Memoryless amplifier models: output envelope from input envelope, sample by sample.

Theory  On the complex envelope x, with |x|^2 the power in watts, an amplifier without memory is y = x g(|x|).
        Cubic: y = a1 x - a3 x |x|^2 with a3 = a1^3 / OIP3, exact for small overdrive. Rapp: smooth limit A0,
        no phase. Saleh: own curves for amplitude and phase. Odd polynomial: any measured c1, c3, c5 ...
Source  Rapp 1991 (p of 2 to 3 for transistors in class AB; p = 3.0 in EURASIP JWCN 2014:199); Saleh 1981, its two
        parameter sets from memory; cubic: third-order intercept by its definition with two tones.
Holds   Envelope changing slowly against the amplifier's own bandwidth; bias, supply and heat left out. The cubic
        only where it still rises; beyond that it is refused, since it would fold back.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

Envelope = npt.NDArray[np.complex64] | npt.NDArray[np.complex128]
RAPP_SMOOTHNESS_STUDY = 3.0  # EURASIP JWCN 2014:199


@dataclass(frozen=True, kw_only=True)
class SalehCurves:
    """A = amplitude_a r / (1 + amplitude_b r^2) and phase = phase_a r^2 / (1 + phase_b r^2), r in units of its own."""

    amplitude_a: float
    amplitude_b: float
    phase_a: float
    phase_b: float


# Saleh 1981, travelling-wave tubes; recalled, not confirmed against the printed table.
SALEH_SET_1 = SalehCurves(amplitude_a=2.1587, amplitude_b=1.1517, phase_a=4.0033, phase_b=9.1040)
SALEH_SET_2 = SalehCurves(amplitude_a=1.9638, amplitude_b=0.9945, phase_a=2.5293, phase_b=2.8168)


def _squared(x: Envelope) -> npt.NDArray[np.floating]:
    return np.asarray(x.real**2 + x.imag**2)


def cubic(x: Envelope, *, gain_ratio: float, oip3_w: float) -> Envelope:
    """Third-order amplifier.

    x           (...), sqrt(W)
    gain_ratio  power gain of small signals
    oip3_w      third-order intercept referred to the output, per tone
    returns     (...), sqrt(W)
    raises      RangeError where the envelope passes the top of the cubic, |y| = (2/3) sqrt(OIP3/3)
    """
    require_positive("gain_ratio", gain_ratio, unit="1")
    require_positive("oip3_w", oip3_w, unit="W")
    power = gain_ratio * _squared(x) / oip3_w
    peak = float(power.max(initial=0.0))
    if peak > 1 / 3:
        raise RangeError(
            "The cubic model rises up to a linear output 4.8 dB below OIP3; this drive peaks "
            f"{10 * math.log10(peak):.1f} dB relative to OIP3. Use a saturating model, or less drive."
        )
    return np.asarray(math.sqrt(gain_ratio) * x * (1 - power))


def rapp(x: Envelope, *, gain_ratio: float, saturated_w: float, smoothness: float) -> Envelope:
    """Amplifier that bends smoothly towards a limit and turns no phase (Rapp).

    saturated_w  power at the limit, A0^2
    smoothness   p: 2 to 3 for transistors in class AB; the greater, the sharper
    """
    require_positive("gain_ratio", gain_ratio, unit="1")
    require_positive("saturated_w", saturated_w, unit="W")
    require_positive("smoothness", smoothness, unit="1")
    power = gain_ratio * _squared(x) / saturated_w
    return np.asarray(math.sqrt(gain_ratio) * x * (1 + power**smoothness) ** (-0.5 / smoothness))


def rapp_compression_w(*, saturated_w: float, smoothness: float, compression_db: float = 1.0) -> float:
    """Output power at which a Rapp amplifier's gain has fallen by ``compression_db``. [W]

    >>> round(10 * math.log10(rapp_compression_w(saturated_w=1.0, smoothness=2.0)), 1)
    -2.2
    """
    require_positive("compression_db", compression_db, unit="dB")
    drive = (10 ** (smoothness * compression_db / 10) - 1) ** (1 / smoothness)  # linear output over A0^2
    return float(saturated_w * drive * 10 ** (-compression_db / 10))


def saleh(x: Envelope, *, curves: SalehCurves) -> Envelope:
    """Amplifier with amplitude and phase curves of Saleh's two-parameter form, in the curves' own units."""
    power = _squared(x)
    gain = curves.amplitude_a / (1 + curves.amplitude_b * power)
    phase = curves.phase_a * power / (1 + curves.phase_b * power)
    return np.asarray(x * gain * np.exp(1j * phase))


def odd_polynomial(x: Envelope, *, coefficients: Sequence[complex]) -> Envelope:
    """y = x (c1 + c3 |x|^2 + c5 |x|^4 + ...).

    coefficients  c1, c3, c5 ...; complex ones turn the phase with the envelope (AM/PM)
    """
    if not coefficients:
        raise RangeError("A polynomial needs at least its first coefficient, the gain; none was given.")
    power = _squared(x)
    total = np.full(x.shape, coefficients[-1], dtype=x.dtype)
    for coefficient in reversed(coefficients[:-1]):
        total = total * power + coefficient
    return np.asarray(x * total)

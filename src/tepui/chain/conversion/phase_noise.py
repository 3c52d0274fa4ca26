"""Phase noise of the oscillator into what a receiver suffers: common phase error and inter-carrier interference.

Theory  Common error: 2 int L(f) sinc^2(f Tu) df, which pilots take away; interference: 2 int L(f) (1 - sinc^2(f Tu))
        df, which nothing takes away. MER ceiling = -10 lg of the interference. A multiplier by M adds 20 lg M.
        A plateau L0 with one pole at fc has pi L0 fc in all, of which the common part is 2/a (1 - (1 - e^-a)/a),
        a = 2 pi fc Tu. A free-running oscillator L = c/f^2 leaves an interference of 2 c Tu pi^2/3.
Source  P. Robertson, S. Kaiser, IEEE ICC 1995 (the weighting, from memory); the closed forms by hand, from the Fourier
        transforms of exp(-|t|) and of the triangle.
Holds   Small angles: a total below about -20 dBc. Both sidebands alike. Offsets beyond ``highest_hz`` are left out:
        half the channel is where most of it still lands on some carrier.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
LOBES, POINTS_A_LOBE, POINTS_A_DECADE = 64, 64, 400
LOWEST_HZ = 1e-3


@dataclass(frozen=True, kw_only=True)
class PhaseNoiseProfile:
    """Single-sideband phase noise, straight between points on logarithmic axes.

    offset_hz, level_dbc_hz  points, offsets rising
    slope_db_decade          beyond the last point; below the first one the level stays (``extended`` says so)
    """

    offset_hz: tuple[float, ...]
    level_dbc_hz: tuple[float, ...]
    slope_db_decade: float = -20.0

    def __post_init__(self) -> None:
        if not self.offset_hz or len(self.offset_hz) != len(self.level_dbc_hz):
            raise RangeError("A phase noise profile needs as many levels as offsets, and at least one.")
        if any(b <= a for a, b in zip(self.offset_hz, self.offset_hz[1:], strict=False)) or self.offset_hz[0] <= 0:
            raise RangeError("The offsets of a phase noise profile must be above zero and rise from point to point.")
        if any(not -200 <= level <= 0 for level in self.level_dbc_hz):
            raise RangeError("Phase noise must lie between -200 and 0 dBc/Hz (physics of oscillators).")
        if not -60 <= self.slope_db_decade <= 0:
            raise RangeError(
                f"The slope beyond the last point must lie between -60 and 0 dB a decade, not {self.slope_db_decade:g}."
            )

    def raised(self, gain_db: float) -> "PhaseNoiseProfile":
        """The same after a multiplier: every level higher by ``gain_db``."""
        levels = tuple(level + gain_db for level in self.level_dbc_hz)
        return PhaseNoiseProfile(offset_hz=self.offset_hz, level_dbc_hz=levels, slope_db_decade=self.slope_db_decade)

    def density(self, offset_hz: npt.ArrayLike) -> Floats:
        """L(f) as a ratio. (n,) -> (n,) [1/Hz]"""
        offset = np.asarray(offset_hz, dtype=np.float64)
        decades = np.log10(offset)
        points = np.log10(np.asarray(self.offset_hz))
        level = np.interp(decades, points, np.asarray(self.level_dbc_hz))
        level += np.maximum(decades - points[-1], 0.0) * self.slope_db_decade
        return np.asarray(10 ** (level / 10))


@dataclass(frozen=True, kw_only=True)
class PhaseNoiseEffect:
    """What a profile does to one FFT size, relative to the signal.

    common_db        common phase error, taken away by the pilots
    interference_db  inter-carrier interference
    """

    common_db: float
    interference_db: float

    @property
    def mer_ceiling_db(self) -> float:
        """MER that phase noise alone leaves. [dB]"""
        return -self.interference_db


def effect_on_symbols(profile: PhaseNoiseProfile, *, useful_s: float, highest_hz: float) -> PhaseNoiseEffect:
    """Common phase error and inter-carrier interference of symbols with a useful part of ``useful_s``."""
    require_positive("useful_s", useful_s, unit="s")
    require_positive("highest_hz", highest_hz, unit="Hz")
    offset = _grid(profile, useful_s=useful_s, highest_hz=highest_hz)
    weight = np.sinc(offset * useful_s) ** 2
    beyond = offset * useful_s > LOBES
    weight[beyond] = 1 / (2 * (np.pi * offset[beyond] * useful_s) ** 2)
    density = profile.density(offset)
    common = 2 * float(np.trapezoid(density * weight, offset))
    rest = 2 * float(np.trapezoid(density * (1 - weight), offset))
    return PhaseNoiseEffect(common_db=_db(common), interference_db=_db(rest))


def integrated_db(profile: PhaseNoiseProfile, *, lowest_hz: float, highest_hz: float) -> float:
    """Both sidebands between two offsets without a weight: the trade's quick figure. [dB]"""
    if not 0 < lowest_hz < highest_hz:
        raise RangeError(f"The offsets must rise from above zero, not {lowest_hz:g} to {highest_hz:g} Hz.")
    decades = math.log10(highest_hz / lowest_hz)
    inner = [point for point in profile.offset_hz if lowest_hz < point < highest_hz]
    offset = np.union1d(np.geomspace(lowest_hz, highest_hz, int(POINTS_A_DECADE * decades) + 2), inner)
    return _db(2 * float(np.trapezoid(profile.density(offset), offset)))


def _db(ratio: float) -> float:
    return 10 * math.log10(max(ratio, 1e-30))


def _grid(profile: PhaseNoiseProfile, *, useful_s: float, highest_hz: float) -> Floats:
    """Offsets fine enough for the weight's lobes, for the profile's slopes and at its points."""
    lobes_end = min(LOBES / useful_s, highest_hz)
    lobes = np.linspace(LOWEST_HZ, lobes_end, int(POINTS_A_LOBE * lobes_end * useful_s) + POINTS_A_LOBE)
    decades = math.log10(highest_hz / LOWEST_HZ)
    slopes = np.geomspace(LOWEST_HZ, highest_hz, int(POINTS_A_DECADE * decades))
    points = np.array([point for point in profile.offset_hz if LOWEST_HZ < point < highest_hz])
    return np.union1d(np.union1d(lobes, slopes), points)

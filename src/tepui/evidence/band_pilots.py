"""Where the channel lies in a trace, and whether the pilots of its mode are in it: the band itself tells.

Theory  Averaged without end, the band is its own course times the shape that pilots give it (pilot_rise.py), times
        scatter of known size. How much of that shape the trace shows is one for them and none for the even spectrum of
        noise; its scatter makes that a likelihood. Upright or mirrored, and where the guard is not known of which
        guard: the likeliest counts.
Source  Likelihood ratio of two simple hypotheses under Gaussian scatter; [EN300744] 4.5 for the pilots.
Holds   Channels with as many carriers as a mode; elsewhere there are no pilots.
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.evidence.shoulder_curves import BandFit, alike, scatter_of_terms
from tepui.signals.dvbt.mode import GUARDS
from tepui.signals.dvbt.pilot_rise import RISE_STD_DB, pilot_shape
from tepui.signals.spectrum import Spectrum

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

PILOTS_BEFOREHAND = 9.0  # to one, where a mode has so many carriers (this program's limit)


@dataclass(frozen=True, kw_only=True)
class Band:
    """The channel in a trace.

    centre_offset_hz   signal centre less tuned frequency
    occupied_width_hz  from the lowest to the highest carrier
    more               how many times more averages its points have than those beside it
    guard              over the useful part, None where it is not known
    share_of_pilots    how likely they are there
    """

    centre_offset_hz: float
    occupied_width_hz: float
    carrier_spacing_hz: float
    more: float
    guard: Fraction | None
    is_mirrored: bool = False
    share_of_pilots: float = 0.0

    def pilots(self, offset_hz: Floats, resolution_hz: float) -> Floats:
        """What pilots alone make of the band, at offsets from the channel's centre."""
        return pilot_shape(
            -offset_hz if self.is_mirrored else offset_hz,
            occupied_width_hz=self.occupied_width_hz,
            carrier_spacing_hz=self.carrier_spacing_hz,
            resolution_bandwidth_hz=resolution_hz,
            guard=self.guard,
        )

    def fit(self, trace: Spectrum, *, stride: int = 1) -> tuple[Places, BandFit]:
        """Which points of a trace lie in the band, and the smooth course through them."""
        offset_hz = trace.frequency_hz - self.centre_offset_hz
        half_hz = self.occupied_width_hz / 2
        there = np.flatnonzero(np.abs(offset_hz) <= half_hz)[::stride]
        pilots = self.pilots(offset_hz[there], trace.resolution_bandwidth_hz) if self.share_of_pilots else 1.0
        return there, BandFit(
            offset_hz=offset_hz[there],
            half_hz=half_hz,
            resolution_hz=trace.resolution_bandwidth_hz,
            pilots=np.ones(len(there)) + self.share_of_pilots * (pilots - 1.0),
            n_averages=self.more * trace.n_averages,
        )

    def pilots_std_db(self, resolution_hz: float) -> float:
        """Standard uncertainty of the highest value in band from the pilots' shape, and from whether they are there."""
        half_hz = self.occupied_width_hz / 2
        across = np.linspace(-half_hz + resolution_hz, half_hz - resolution_hz, 2001)
        rise_db = 10 * math.log10(float(self.pilots(across, resolution_hz).max()))
        likely = self.share_of_pilots
        return math.hypot(likely * RISE_STD_DB, rise_db * math.sqrt(likely * (1 - likely)))


def with_pilots(trace: Spectrum, band: Band, *, stride: int = 1) -> Band:
    """The band, with how likely pilots are in it as each ``stride``-th point of a trace shows it."""
    there, fit = band.fit(trace, stride=stride)
    row = trace.density[there]
    rest = row / fit.smooth(row[None, :])[0] - 1
    found = [
        (_evidence(rest, fit, one.pilots(fit.offset_hz, trace.resolution_bandwidth_hz)), one)
        for guard in (GUARDS if band.guard is None else (band.guard,))
        for one in (replace(band, guard=guard), replace(band, guard=guard, is_mirrored=True))
    ]
    evidence, best = max(found, key=lambda pair: pair[0])
    return replace(best, share_of_pilots=_share(evidence))


def _evidence(rest: Floats, band: BandFit, shape: Floats) -> float:
    """How much likelier the band is with the pilots whose shape this is than without: a logarithm.

    rest  (m,) of the trace, over the band's own course
    """
    uneven = (shape - 1)[band.inside]
    if not uneven.any():
        return -math.inf
    uneven = uneven - uneven.mean()
    step_hz = float(band.offset_hz[1] - band.offset_hz[0])
    likeness = alike(len(uneven), step_hz, band.resolution_hz)
    weights = uneven / float(uneven @ uneven)
    scatter = float(scatter_of_terms(weights[:, None], likeness)[0]) / math.sqrt(band.n_averages)
    return (float(rest[band.inside] @ weights) - 0.5) / max(scatter, 1e-6) ** 2


def _share(evidence: float) -> float:
    if evidence == -math.inf:
        return 0.0
    return 1 / (1 + math.exp(-min(max(evidence, -500.0), 500.0)) / PILOTS_BEFOREHAND)

"""What a band-pass filter is to do, as couplings and external Qs that metal can be made to have.

Theory  k_ij = w / sqrt(g_i g_j), Q_e = g_0 g_1 / w and g_n g_(n+1) / w, w = width / centre. The width is that of equal
        ripple for Chebyshev and of 3 dB for Butterworth; an even Chebyshev ends in g_(n+1) = tanh^2(beta / 4).
Source  G. Matthaei, L. Young, E. Jones 1964 and A. Zverev 1967, from memory; tables chebyshev_g and kq_values.
Holds   Narrow band: a width below about a fifth of the centre.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.ladder import couplings, ladder_values, width_ratio_3db
from tepui.chain.filters.ladder import midband_loss_db as ladder_loss_db
from tepui.ground.checks import require_between, require_positive

MOST_POLES = 9
WIDEST_SHARE = 0.3


@dataclass(frozen=True, kw_only=True)
class FilterGoal:
    """A band-pass filter by its numbers.

    width_hz   between the outer points of equal ripple; between 3 dB points where ``ripple_db`` is 0 (Butterworth)
    """

    centre_hz: float
    width_hz: float
    poles: int
    ripple_db: float

    def __post_init__(self) -> None:
        require_positive("centre", self.centre_hz, unit="Hz")
        require_between(
            "width", self.width_hz, 1e-4 * self.centre_hz, WIDEST_SHARE * self.centre_hz, unit="Hz",
            source="coupled resonators, narrow band",
        )  # fmt: skip
        require_between("poles", self.poles, 1, MOST_POLES, unit="poles", source="this program's limit")
        require_between("ripple", self.ripple_db, 0, 3, unit="dB", source="0 is Butterworth")

    @property
    def relative_width(self) -> float:
        """Width over centre, w."""
        return self.width_hz / self.centre_hz

    @property
    def _ladder(self) -> tuple[float, ...]:
        return ladder_values(n_poles=self.poles, ripple_db=self.ripple_db)

    @property
    def elements(self) -> npt.NDArray[np.float64]:
        """g_1 to g_n."""
        return np.array(self._ladder[1:-1])

    @property
    def load(self) -> float:
        """g_(n+1): 1, or of an even Chebyshev coth^2(beta / 4)."""
        return self._ladder[-1]

    @property
    def couplings(self) -> npt.NDArray[np.float64]:
        """k_12, k_23 ... between neighbours."""
        return np.array(couplings(self._ladder, fraction=self.relative_width))

    @property
    def external_q(self) -> float:
        """Q_e of the first resonator, and of the last: g_1 / w = g_n g_(n+1) / w."""
        return float(self.elements[0] / self.relative_width)

    @property
    def width_3db_hz(self) -> float:
        """Width between the 3 dB points of the lossless prototype."""
        return self.width_hz * width_ratio_3db(n_poles=self.poles, ripple_db=self.ripple_db)

    @property
    def return_loss_db(self) -> float:
        """Least return loss within the ripple band; 3 dB for Butterworth."""
        passed = 10 ** (-(self.ripple_db or 10 * math.log10(2)) / 10)
        return -10 * math.log10(1 - passed)


def midband_loss_db(goal: FilterGoal, unloaded_q: float) -> float:
    """Loss at the centre for a finite unloaded Q: S. B. Cohn 1959, from memory. [dB]"""
    g = ladder_values(n_poles=goal.poles, ripple_db=goal.ripple_db)
    return ladder_loss_db(g, fraction=goal.relative_width, unloaded_q=unloaded_q)

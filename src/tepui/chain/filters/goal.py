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

from tepui.chain.filters.prototype import prototype_elements
from tepui.ground.checks import require_between, require_positive

MOST_POLES = 9
WIDEST_SHARE = 0.3
THREE_DB = 10**0.3010299956639812 - 1


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
    def elements(self) -> npt.NDArray[np.float64]:
        """g_1 to g_n."""
        return np.array(prototype_elements(self.poles, self.ripple_db))

    @property
    def load(self) -> float:
        """g_(n+1): 1, or of an even Chebyshev coth^2(beta / 4)."""
        if self.ripple_db == 0 or self.poles % 2:
            return 1.0
        beta = math.log(1 / math.tanh(self.ripple_db * math.log(10) / 40))
        return 1 / math.tanh(beta / 4) ** 2

    @property
    def couplings(self) -> npt.NDArray[np.float64]:
        """k_12, k_23 ... between neighbours."""
        g = self.elements
        return np.asarray(self.relative_width / np.sqrt(g[:-1] * g[1:]))

    @property
    def external_q(self) -> float:
        """Q_e of the first resonator, and of the last: g_1 / w = g_n g_(n+1) / w."""
        return float(self.elements[0] / self.relative_width)

    @property
    def width_3db_hz(self) -> float:
        """Width between the 3 dB points of the lossless prototype."""
        if self.ripple_db == 0:
            return self.width_hz
        ratio = math.sqrt(THREE_DB / (10 ** (self.ripple_db / 10) - 1))
        return self.width_hz * (math.cosh(math.acosh(ratio) / self.poles) if ratio > 1 else 1.0)

    @property
    def return_loss_db(self) -> float:
        """Least return loss within the ripple band; 3 dB for Butterworth."""
        passed = 10 ** (-(self.ripple_db or 10 * math.log10(2)) / 10)
        return -10 * math.log10(1 - passed)


def midband_loss_db(goal: FilterGoal, unloaded_q: float) -> float:
    """Loss at the centre for a finite unloaded Q, 4.343 sum(g) / (w Qu): S. B. Cohn 1959, from memory. [dB]"""
    return float(10 / math.log(10) * goal.elements.sum() / (goal.relative_width * unloaded_q))

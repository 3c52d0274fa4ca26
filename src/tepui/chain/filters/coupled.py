"""The response a prototype promises: transmission of coupled resonators with losses, over any frequencies.

Theory  Coupled resonators of the ladder's couplings and external Qs, all at the centre; see resonators.py.
Source  ladder.py and resonators.py, with their sources.
Holds   Resonators that resonate once: no harmonic passbands, no coupling past a neighbour, no path round the filter
        through its box. A built filter shows all three, so far from its passband this is a bound, never a fact: see
        ``CLAIM_DB``.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.ladder import (
    MOST_POLES,
    OUR_LIMIT,
    couplings,
    external_q,
    ladder_values,
    midband_loss_db,
    width_ratio_3db,
)
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering
from tepui.ground.checks import require_between, require_one_of, require_positive
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
CLAIM_DB = (60.0, 70.0)  # rejection a built filter may be trusted with before it was measured: common practice


@dataclass(frozen=True, kw_only=True)
class BandpassDesign:
    """A band-pass filter by its prototype.

    width_hz    between the points of ``width_at``
    ripple_db   of the Chebyshev prototype; 0 means Butterworth
    width_at    "ripple" or "3 dB"; for Butterworth both are the same
    raises      RangeError where the parts contradict each other
    """

    centre_hz: float
    width_hz: float
    n_poles: int
    ripple_db: float
    unloaded_q: float
    width_at: str = "ripple"

    def __post_init__(self) -> None:
        require_positive("filter centre", self.centre_hz, unit="Hz")
        require_positive("filter width", self.width_hz, unit="Hz")
        require_between("filter poles", self.n_poles, 1, MOST_POLES, unit="poles", source=OUR_LIMIT)
        require_between("filter ripple", self.ripple_db, 0, 3, unit="dB", source=OUR_LIMIT)
        require_between("unloaded Q of the filter", self.unloaded_q, 10, 1e5, unit="", source=OUR_LIMIT)
        require_one_of("width_at", self.width_at, ("ripple", "3 dB"), source=OUR_LIMIT)
        if self.width_hz >= self.centre_hz:
            raise RangeError(
                f"The filter's width, {self.width_hz / 1e6:g} MHz, must be below its centre, "
                f"{self.centre_hz / 1e6:g} MHz."
            )

    @property
    def elements(self) -> tuple[float, ...]:
        """Ladder elements g0 to g_{n+1}. [1]"""
        return ladder_values(n_poles=self.n_poles, ripple_db=self.ripple_db)

    @property
    def fraction(self) -> float:
        """Ripple width over the centre. [1]"""
        narrowed = 1.0 if self.width_at == "ripple" else width_ratio_3db(n_poles=self.n_poles, ripple_db=self.ripple_db)
        return self.width_hz / narrowed / self.centre_hz

    @property
    def midband_loss_db(self) -> float:
        """Loss at the centre, by Cohn's sum. [dB]"""
        return midband_loss_db(self.elements, fraction=self.fraction, unloaded_q=self.unloaded_q)

    def text(self) -> str:
        """The filter in words."""
        kind = "Butterworth" if self.ripple_db == 0 else f"{self.ripple_db:g} dB Chebyshev"
        return f"{self.n_poles} poles, {kind}, {self.width_hz / 1e6:g} MHz, unloaded Q {self.unloaded_q:g}"


def loss_db(design: BandpassDesign, frequency_hz: npt.ArrayLike) -> Floats:
    """Transmission loss at any frequencies above zero. (n,) -> (n,) [dB]"""
    transmission = scattering(design, frequency_hz)[0]
    return np.asarray(-20 * np.log10(np.maximum(np.abs(transmission), 1e-30)))


def scattering(
    design: BandpassDesign, frequency_hz: npt.ArrayLike
) -> tuple[npt.NDArray[np.complex128], npt.NDArray[np.complex128]]:
    """S21 and S11 at any frequencies above zero. (n,) -> (n,), (n,)"""
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    if not (frequency.size and np.all(frequency > 0)):
        raise RangeError("frequency_hz must be above zero throughout.")
    g, fraction = design.elements, design.fraction
    q_first, q_last = external_q(g, fraction=fraction)
    made = CoupledFilter(
        resonator_hz=np.full(design.n_poles, design.centre_hz),
        couplings=np.array(couplings(g, fraction=fraction)),
        q_first=q_first,
        q_last=q_last,
        unloaded_q=design.unloaded_q,
    )
    s = coupled_scattering(made, frequency)
    return s[:, 1, 0], s[:, 0, 0]

"""A two-port by its scattering parameters: what a network analyser shows and what a filter calculation gives.

Theory  s[i, j] is the wave out of port i + 1 over the wave into port j + 1, both ports terminated in z0.
Source  [Touchstone] 2.0 for the order of ports; complex values at each frequency.
Holds   One real reference resistance for both ports and all frequencies.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.signals.arrays import checked_sweep, read_only_complex


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoPort:
    """Scattering parameters over frequency.

    frequency_hz  (n,) from 0 on, rising
    s             (n, 2, 2) complex; s[:, 1, 0] is the forward transmission
    z0_ohm        reference resistance
    raises        RangeError where the parts contradict each other or a number is not finite
    """

    frequency_hz: npt.NDArray[np.float64]
    s: npt.NDArray[np.complex128]
    z0_ohm: float

    def __post_init__(self) -> None:
        frequency_hz = checked_sweep(self.frequency_hz, z0_ohm=self.z0_ohm)
        object.__setattr__(self, "frequency_hz", frequency_hz)
        object.__setattr__(self, "s", read_only_complex(self.s, name="s", shape=(len(frequency_hz), 2, 2)))

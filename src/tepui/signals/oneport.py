"""A one-port by its reflection: what an analyser with a single port, or a bridge, shows.

Theory  gamma is the wave out of the port over the wave into it, the line's resistance being z0.
Source  [Touchstone] 2.0; complex values at each frequency.
Holds   One real reference resistance for all frequencies.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.signals.arrays import checked_sweep, read_only_complex


@dataclass(frozen=True, kw_only=True, eq=False)
class OnePort:
    """Reflection over frequency.

    frequency_hz  (n,) from 0 on, rising
    gamma         (n,) complex
    z0_ohm        reference resistance
    raises        RangeError where the parts contradict each other or a number is not finite
    """

    frequency_hz: npt.NDArray[np.float64]
    gamma: npt.NDArray[np.complex128]
    z0_ohm: float

    def __post_init__(self) -> None:
        frequency_hz = checked_sweep(self.frequency_hz, z0_ohm=self.z0_ohm)
        object.__setattr__(self, "frequency_hz", frequency_hz)
        object.__setattr__(self, "gamma", read_only_complex(self.gamma, name="gamma", shape=(len(frequency_hz),)))

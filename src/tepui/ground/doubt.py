"""An estimate and its doubt: what rows 2 and 3 return, before a job makes it a finding.

Theory  Independent standard uncertainties add as squares; 95 % is k = 2 where the sum is Gaussian.
Source  [GUM] JCGM 100:2008, clauses 5.1 and 6.2.
Holds   First-order propagation; a skewed distribution gives its own low and high instead.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

COVERAGE_FACTOR = 2.0


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A value, its standard uncertainty and where that comes from.

    contributions  name -> standard uncertainty of that part, same unit as the value
    """

    value: float
    std: float
    contributions: Mapping[str, float] = field(default_factory=dict)

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.value - COVERAGE_FACTOR * self.std

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.value + COVERAGE_FACTOR * self.std


def estimate(value: float, **parts: float) -> Estimate:
    """An estimate whose standard uncertainty is the root sum of squares of its named parts.

    >>> estimate(20.0, noise=0.3, window=0.4).std
    0.5
    """
    return Estimate(value=value, std=math.sqrt(sum(part * part for part in parts.values())), contributions=dict(parts))

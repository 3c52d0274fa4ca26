"""Round steps for a ruler.

Theory  Steps are 1, 2 or 5 times a power of ten.
Source  common practice (no published source).
Holds   Ends that differ.
"""

import math


def nice_steps(low: float, high: float, about: int) -> list[float]:
    """Round values from ``low`` to ``high``, about as many as asked.

    >>> nice_steps(-3, 47, 5)
    [0.0, 10.0, 20.0, 30.0, 40.0]
    """
    rough = (high - low) / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(one * power for one in (1, 2, 5, 10) if one * power >= rough * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [count * step + 0.0 for count in range(first, last + 1)]

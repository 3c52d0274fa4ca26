"""From mean output to what leaves the antenna: peaks, radiated power, the distance at which a density is reached.

Theory  The envelope passes its mean by 9.64 dB for 1e-4 of the time; PEP is taken there. In the main beam the
        density at d is S = k^2 EIRP / (4 pi d^2), k the factor on the field where ground reflects. Within
        2 D^2 / lambda of an antenna of size D the beam is not formed, and the formula says too much.
Source  Free-space spreading; k of 1 to 2, 1.6 in common use ([OET65], from memory). Limits are the operator's to enter.
Holds   Main beam, far field. No word on which limit applies where.
"""

import math

from tepui.ground.checks import require_positive


def density_distance_m(*, eirp_w: float, density_w_m2: float, reflection: float = 1.0) -> float:
    """Distance in the main beam at which the density falls to a limit. [m]

    >>> round(density_distance_m(eirp_w=363.0, density_w_m2=6.35), 2)
    2.13
    """
    require_positive("eirp_w", eirp_w, unit="W")
    require_positive("density_w_m2", density_w_m2, unit="W/m2")
    return reflection * math.sqrt(eirp_w / (4 * math.pi * density_w_m2))


def far_field_m(*, size_m: float, wavelength_m: float) -> float:
    """Where the beam of an antenna is formed, 2 D^2 / lambda. [m]"""
    return 2 * size_m**2 / wavelength_m

"""What dry air and water vapour take from a wave, per kilometre.

Theory  Each spectral line of oxygen and water vapour has a strength and a Van Vleck-Weisskopf shape; under them lies
        the non-resonant dry continuum. The sum of the imaginary refractivity gives the attenuation.
Source  [P.676-13] annex 1, equations (1) to (9), tables 1 and 2 (tables p676_oxygen_lines, p676_water_lines).
Holds   1 to 350 GHz by the source; below 1 GHz, down to 0.03 GHz, the same sum is continued as [P.452] does.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_between
from tepui.tables.load import load_table

STANDARD_PRESSURE_HPA, STANDARD_TEMPERATURE_K, STANDARD_VAPOUR_G_M3 = 1013.25, 288.15, 7.5
Floats = npt.NDArray[np.float64]


@cache
def _lines(name: str, letter: str) -> Floats:
    rows = load_table(name)
    columns = ["f0_ghz", *(f"{letter}{number}" for number in range(1, 7))]
    return np.array([[float(row[column]) for column in columns] for row in rows]).T


def _shape(f: float, f0: Floats, width: Floats, mixing: Floats | float) -> Floats:
    below = (width - mixing * (f0 - f)) / ((f0 - f) ** 2 + width**2)
    above = (width - mixing * (f0 + f)) / ((f0 + f) ** 2 + width**2)
    return f / f0 * (below + above)


def gas_attenuation_db_km(
    *,
    frequency_hz: float,
    pressure_hpa: float = STANDARD_PRESSURE_HPA,
    temperature_k: float = STANDARD_TEMPERATURE_K,
    vapour_g_m3: float = STANDARD_VAPOUR_G_M3,
) -> tuple[float, float]:
    """Specific attenuation of dry air and of water vapour. [dB/km]

    pressure_hpa  of the dry air, as the source's equations take it
    raises        RangeError outside 0.03 to 350 GHz
    """
    f = frequency_hz / 1e9
    require_between("frequency", f, 0.03, 350, unit="GHz", source="ITU-R P.676-13 annex 1, continued below 1 GHz")
    theta, vapour = 300.0 / temperature_k, vapour_g_m3 * temperature_k / 216.7
    f0, a1, a2, a3, a4, a5, a6 = _lines("p676_oxygen_lines", "a")
    strength = a1 * 1e-7 * pressure_hpa * theta**3 * np.exp(a2 * (1 - theta))
    width = a3 * 1e-4 * (pressure_hpa * theta ** (0.8 - a4) + 1.1 * vapour * theta)
    width = np.sqrt(width**2 + 2.25e-6)
    mixing = (a5 + a6 * theta) * 1e-4 * (pressure_hpa + vapour) * theta**0.8
    dry = float(np.sum(strength * _shape(f, f0, width, mixing)))
    debye = 5.6e-4 * (pressure_hpa + vapour) * theta**0.8
    continuum = 6.14e-5 / (debye * (1 + (f / debye) ** 2)) + 1.4e-12 * pressure_hpa * theta**1.5 / (1 + 1.9e-5 * f**1.5)
    dry += f * pressure_hpa * theta**2 * continuum
    f0, b1, b2, b3, b4, b5, b6 = _lines("p676_water_lines", "b")
    strength = b1 * 1e-1 * vapour * theta**3.5 * np.exp(b2 * (1 - theta))
    width = b3 * 1e-4 * (pressure_hpa * theta**b4 + b5 * vapour * theta**b6)
    width = 0.535 * width + np.sqrt(0.217 * width**2 + 2.1316e-12 * f0**2 / theta)
    wet = float(np.sum(strength * _shape(f, f0, width, 0.0)))
    return 0.1820 * f * dry, 0.1820 * f * wet

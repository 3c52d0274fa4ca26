"""What rain takes from a wave: per kilometre, and over a path that is not all in the same rain.

Theory  gamma = k R^alpha with R the rain rate; the path counts as if shorter, for hard rain falls in small cells.
Source  [P.838-3] eqs 1 to 3 (table p838_coefficients); [P.530-17] 2.4.1 for the distance factor, from memory.
Holds   1 to 1000 GHz per kilometre; paths near the horizon, to 60 km, linear polarisation.
"""

import math

from tepui.ground.checks import require_between
from tepui.tables.load import load_table

MOST_FACTOR = 2.5
LONGEST_KM = 60.0


def _coefficient(name: str, log_f: float) -> float:
    total = 0.0
    for row in load_table("p838_coefficients"):
        if row["coefficient"] != name:
            continue
        a, b = float(row["a"]), float(row["b"])
        total += a * log_f + b if row["part"] == "line" else a * math.exp(-(((log_f - b) / float(row["c"])) ** 2))
    return total


def rain_coefficients(*, frequency_hz: float, vertical: bool) -> tuple[float, float]:
    """k and alpha of a horizontal path.

    raises  RangeError outside 1 to 1000 GHz
    """
    f = frequency_hz / 1e9
    require_between("frequency of rain attenuation", f, 1, 1000, unit="GHz", source="ITU-R P.838-3")
    end = "v" if vertical else "h"
    log_f = math.log10(f)
    return float(10 ** _coefficient(f"k_{end}", log_f)), _coefficient(f"alpha_{end}", log_f)


def rain_loss_db(*, frequency_hz: float, vertical: bool, rate_mm_h: float, distance_m: float) -> float:
    """Loss by rain of a rate along a path. [dB]

    raises  RangeError
    """
    require_between("rain rate", rate_mm_h, 0, 250, unit="mm/h", source="this program's limit")
    k, alpha = rain_coefficients(frequency_hz=frequency_hz, vertical=vertical)
    d = distance_m / 1e3
    require_between("path length of rain attenuation", d, 0, LONGEST_KM, unit="km", source="ITU-R P.530")
    if rate_mm_h == 0 or d == 0:
        return 0.0
    f = frequency_hz / 1e9
    below = 0.477 * d**0.633 * rate_mm_h ** (0.073 * alpha) * f**0.123 - 10.579 * (1 - math.exp(-0.024 * d))
    factor = MOST_FACTOR if below < 1 / MOST_FACTOR else 1 / below
    return float(k * rate_mm_h**alpha * d * factor)

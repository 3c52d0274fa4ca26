"""What an amplifier turns into heat with a signal whose envelope is Rayleigh: classes A, B and AB in closed form.

Theory  Envelope a over its largest, mean square m = 10^(-backoff/10); p(a) = (2a/m) exp(-a^2/m). Supply power over the
        peak output: class A 2, class B (4/pi) a, class AB (4/pi) max(q, a) with q the idle current over that at full
        drive. Means: E[a] = sqrt(pi m)/2 and E[max(q, a)] = q + sqrt(pi m)/2 erfc(q / sqrt(m)).
        So class B has (sqrt(pi)/2) 10^(-backoff/20), class A 0.5 x 10^(-backoff/10).
Source  Ideal waveforms of the classes as any textbook of amplifiers has them; integrals by hand from the density.
Holds   Ideal devices that use the whole supply: an upper bound. Envelopes above full drive count as if not clipped,
        1 % of the supply power at 6 dB. Real modules at 1.3 GHz reach 10 to 20 % here (common practice).
"""

import math

from tepui.ground.checks import require_between, require_one_of

CLASSES = ("A", "AB", "B")
_SOURCE = "this program's limit"


def supply_ratio(amplifier_class: str, *, backoff_db: float, idle_ratio: float = 0.0) -> float:
    """Mean supply power over the peak envelope's output power. [1]

    backoff_db  mean output below the peak envelope that full drive gives
    idle_ratio  of class AB: idle current over the current at full drive
    """
    require_one_of("class", amplifier_class, CLASSES, source="classes with a closed form here")
    require_between("backoff_db", backoff_db, 0, 200, unit="dB", source=_SOURCE)
    require_between("idle_ratio", idle_ratio, 0, 1, unit="of one", source="idle below full drive")
    if amplifier_class == "A":
        return 2.0
    mean_square = 10 ** (-backoff_db / 10)
    q = idle_ratio if amplifier_class == "AB" else 0.0
    mean = q + math.sqrt(math.pi * mean_square) / 2 * math.erfc(q / math.sqrt(mean_square))
    return 4 / math.pi * mean


def mean_efficiency(amplifier_class: str, *, backoff_db: float, idle_ratio: float = 0.0) -> float:
    """Mean output over mean supply power of the ideal class: what a real amplifier stays below. [1]

    >>> round(mean_efficiency("B", backoff_db=8.0), 3)
    0.353
    """
    return float(10 ** (-backoff_db / 10) / supply_ratio(amplifier_class, backoff_db=backoff_db, idle_ratio=idle_ratio))

"""What travels between rods besides the TEM field: their coupling as waves of the whole box.

Theory  A rod that carries I(y) = cos ky up to its open end, and a fifth of what is left there through gap and screw,
        sends waves into the box that go as cos(n pi y / L) along the rods and as sin(m pi z / h) between the plates (m
        odd): each decays sideways by sqrt((m pi / h)^2 + (n pi / L)^2 - k^2). The TEM field is the case that all n
        decay by m pi / h. Coupling is the reaction of one rod's field on the other's current over the slope of its own;
        the ratio of both cases multiplies the TEM coupling. It is 1 for long rods between near plates.
Source  waves of a closed box, R. Collin 1960 (Green's functions of guides), from memory; arrangement our own. The
        fifth, between none and all, is the one of which four filters solved as fields on a grid
        (benchmarks/check_filter_fields.py) agree within 5 %; any share keeps interdigital ones within 6 %.
Holds   Plates less than half a wave apart. Rods as thin currents: their own thickness is in the static capacitance.
"""

import numpy as np
import numpy.typing as npt
from scipy.constants import speed_of_light

from tepui.chain.filters.rod_box import RodBox

Floats = npt.NDArray[np.float64]
ALONG, BETWEEN = np.arange(24), np.array([1.0, 3.0, 5.0, 7.0, 9.0])
BEYOND = 0.2  # share of the current at the open end that goes on to the wall as one thread
NEAREST_CUT = 0.9  # of the wave number at which the plates let a wave through, beyond which nothing more is added


def wave_factors(box: RodBox, frequency_hz: Floats) -> Floats:
    """Coupling of each pair of neighbours over that of the TEM field. (n_f, n - 1)"""
    f = np.asarray(frequency_hz, dtype=np.float64)
    k = np.minimum(2 * np.pi * f / speed_of_light, NEAREST_CUT * np.pi / box.plates_m)[:, None]
    length, top = box.length_m, box.box_length_m
    q = np.asarray(ALONG * np.pi / top, dtype=np.float64)
    parts = _parts(k, q, length=length, top=top) ** 2 * np.where(ALONG == 0, 1, 2) / top
    plain = BETWEEN * np.pi / box.plates_m
    decay = np.sqrt(plain**2 + q[:, None] ** 2 - k[:, :, None] ** 2)
    radius = box.diameter_m / 2
    sent = np.exp(-decay * radius) / decay
    grown = (sent + (k[:, :, None] ** 2 - q[:, None] ** 2) * sent * (radius + 1 / decay) / (2 * decay)).sum(axis=-1)
    alone = (np.exp(-plain * radius) / plain).sum() * (length / 2 + np.sin(2 * k * length) / (4 * k))
    slope = (parts * grown).sum(axis=1) / alone[:, 0]
    if box.structure == "combline":
        turned: Floats = np.ones(len(ALONG))
        met = np.asarray(np.sin(2 * k * length) / (2 * k))
    else:
        turned = np.asarray((-1.0) ** ALONG)
        met = np.asarray(np.sin(k * (2 * length - top)) / k)
    factors = []
    for apart in box.spacings_m:
        waves = (parts * (1 - (q / k) ** 2) * turned * (np.exp(-decay * apart) / decay).sum(axis=-1)).sum(axis=1)
        static = (np.exp(-plain * apart) / plain).sum() * met[:, 0]
        factors.append(waves / static / slope)
    return np.array(factors).reshape(len(box.spacings_m), len(f)).T


def _parts(k: Floats, q: Floats, *, length: float, top: float) -> Floats:
    """Share of a rod's current in each wave along the box. (n_f, n)"""
    rod = length / 2 * (np.sinc((k - q) * length / np.pi) + np.sinc((k + q) * length / np.pi))
    beyond = (top * np.sinc(q * top / np.pi) - length * np.sinc(q * length / np.pi)) * np.cos(k * length)
    return np.asarray(rod + BEYOND * beyond)

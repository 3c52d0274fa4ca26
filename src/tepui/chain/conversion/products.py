"""Mixing products: which sums of oscillators and signal there are, where they stand, how wide, and what moves them.

Theory  A mixer makes m LO + n IF for all whole m and n; overall sign has no meaning, so f = |m LO + n IF|. The n-th
        power of a signal of width B spreads over n B. Wanted is LO + IF when frequencies may carry a sign: with
        LO = RF - IF (low side; below zero where the signal is mixed down) and IF taken negative on the high side,
        every plan has its wanted product at (1, 1). Two mixers: (1, 1, 1) with the oscillators in signal order. An
        oscillator multiplied by M leaves its other harmonics k: the same sums with m = k / M.
Source  Arithmetic; widths from the n-fold convolution, see shape.py.
Holds   One signal. Lines of the oscillators (n = 0) have no width here; phase noise is elsewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.mixer import MOST_ORDER, ProductLevels
from tepui.ground.checks import require_between

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
HARMONIC_ORDERS = 2  # of the signal, with harmonics of a multiplied oscillator: they are weak already
HARMONICS_OF_MULTIPLIER = 2  # times its factor: how far they are looked for


@dataclass(frozen=True, kw_only=True, eq=False)
class ProductRows:
    """Products to look for, the wanted one left out.

    multiples           (p, b) of the signed frequencies: the oscillators in signal order, the signal last, n >= 0
    order               (p,) how early a mixer makes it: the sum of the multiples without sign
    level_db, doubt_db  (p,) over the wanted product before any filter, and half of 95 %
    factor              the oscillator is multiplied by this: multiples of it are whole numbers over the factor
    """

    multiples: Floats
    order: Ints
    level_db: Floats
    doubt_db: Floats
    factor: int = 1

    @property
    def n(self) -> Ints:
        """Multiples of the signal. (p,)"""
        return self.multiples[:, -1].astype(np.int64)

    def __len__(self) -> int:
        return len(self.order)


def product_rows(
    levels: ProductLevels, *, order: int, max_m: int | None = None, max_n: int | None = None
) -> ProductRows:
    """Every product of one mixer with |m| + |n| up to ``order``, once, without the wanted (1, 1).

    raises  RangeError
    """
    require_between("order", order, 2, MOST_ORDER, unit="", source="this program's limit")
    most_m, most_n = (order if most is None else min(most, order) for most in (max_m, max_n))
    pairs = [
        (m, n)
        for n in range(most_n + 1)
        for m in range(-most_m, most_m + 1)
        if 0 < abs(m) + n <= order and not (n == 0 and m < 0) and (m, n) != (1, 1)
    ]
    pairs.sort(key=lambda pair: (abs(pair[0]) + pair[1], pair[1], -pair[0]))
    table = np.array(pairs, dtype=np.int64)
    m, n = np.abs(table[:, 0]), table[:, 1]
    return ProductRows(
        multiples=table.astype(np.float64),
        order=np.asarray(m + n),
        level_db=levels.level_db[m, n],
        doubt_db=levels.doubt_db[m, n],
    )


def multiplier_rows(
    rows: ProductRows, levels: ProductLevels, *, factor: int, harmonic_db: float, harmonic_doubt_db: float
) -> ProductRows:
    """The same rows and those of the multiplied oscillator's other harmonics.

    harmonic_db  level of each other harmonic over the wanted one, behind the multiplier
    """
    require_between("multiplier", factor, 1, 64, unit="", source="this program's limit")
    if factor == 1:
        return rows
    pairs = [
        (k, n)
        for n in range(HARMONIC_ORDERS + 1)
        for k in range(-HARMONICS_OF_MULTIPLIER * factor, HARMONICS_OF_MULTIPLIER * factor + 1)
        if k % factor and not (n == 0 and k < 0)
    ]
    n = np.array([pair[1] for pair in pairs])
    doubt = np.hypot(levels.doubt_db[1, n], harmonic_doubt_db)
    return ProductRows(
        multiples=np.concatenate([rows.multiples, np.array([(k / factor, n) for k, n in pairs])]),
        order=np.concatenate([rows.order, n + 2]),
        level_db=np.concatenate([rows.level_db, levels.level_db[1, n] + harmonic_db]),
        doubt_db=np.concatenate([rows.doubt_db, doubt]),
        factor=factor,
    )


def cascade_rows(levels: ProductLevels, *, order: int) -> ProductRows:
    """Products of two mixers one behind the other, to a total order, without the wanted (1, 1, 1).

    What the first mixer makes (k, n) is carried up by (m, 1) of the second; the second makes (m, j) of the wanted
    second IF, j k LO1 + m LO2 + j n IF. Sums of different products of the first in the second are left out. Both
    mixers are taken alike; what the filter between them takes away is the caller's.
    """
    require_between("order", order, 2, MOST_ORDER, unit="", source="this program's limit")
    found: dict[tuple[int, int, int], tuple[float, float]] = {}

    def add(key: tuple[int, int, int], level: float, doubt: float) -> None:
        key = key if key > (0, 0, 0) or key[2] > 0 else (-key[0], -key[1], -key[2])
        key = (-key[0], -key[1], -key[2]) if key[2] < 0 else key
        if key == (1, 1, 1) or not any(key) or sum(map(abs, key)) > order + 1:
            return
        if key not in found or level > found[key][0]:
            found[key] = (level, doubt)

    grid, doubts = levels.level_db, levels.doubt_db
    for k in range(-order, order + 1):
        for n in range(order + 1 - abs(k)):
            if n == 0 and k <= 0:
                continue
            for m in range(-order, order + 1):
                first, second = (grid[abs(k), n], doubts[abs(k), n]), (grid[abs(m), 1], doubts[abs(m), 1])
                add((k, m, n), float(first[0] + second[0]), float(np.hypot(first[1], second[1])))
    for j in range(order + 1):
        for m in range(-order, order + 1):
            if abs(m) + j <= order and (m or j):
                add((j, m, j), float(grid[abs(m), j]), float(doubts[abs(m), j]))
    keys = sorted(found, key=lambda key: (sum(map(abs, key)), key))
    return ProductRows(
        multiples=np.array(keys, dtype=np.float64),
        order=np.array([sum(map(abs, key)) - 1 for key in keys]),
        level_db=np.array([found[key][0] for key in keys]),
        doubt_db=np.array([found[key][1] for key in keys]),
    )


def signed_frequencies(if_hz: npt.ArrayLike, *, wanted_hz: float, high_side: npt.ArrayLike) -> Floats:
    """Oscillator and signal with the signs that put the wanted product at (1, 1). (c,) -> (c, 2) [Hz]"""
    signal = np.where(np.asarray(high_side, dtype=bool), -1.0, 1.0) * np.asarray(if_hz, dtype=np.float64)
    return np.stack([wanted_hz - signal, signal], axis=1)


def product_centres_hz(rows: ProductRows, signed_hz: Floats) -> Floats:
    """Centre of every product of every plan, from signed frequencies. (c, b) -> (c, p) [Hz]"""
    return np.abs(signed_hz @ rows.multiples.T)


@dataclass(frozen=True, kw_only=True)
class Line:
    """One product of one plan as an operator writes it, with all frequencies above zero.

    multiples  of the oscillators in signal order and of the signal, with the signs that leave the sum above zero
    """

    multiples: tuple[Fraction, ...]
    centre_hz: float
    low_hz: float
    high_hz: float

    @property
    def m(self) -> Fraction:
        """Multiple of the last oscillator."""
        return self.multiples[-2]

    @property
    def n(self) -> int:
        """Multiple of the signal; below zero where its spectrum comes out mirrored."""
        return int(self.multiples[-1])

    @property
    def width_hz(self) -> float:
        """|n| widths of the signal. [Hz]"""
        return self.high_hz - self.low_hz

    def text(self) -> str:
        """As on paper: "2 LO - IF", "3 IF", "LO".

        >>> Line(multiples=(Fraction(-1), Fraction(5)), centre_hz=1.0, low_hz=1.0, high_hz=1.0).text()
        '5 IF - LO'
        """
        names = ("LO", "IF") if len(self.multiples) == 2 else ("LO1", "LO2", "IF")
        words = ""
        for number, name in sorted(zip(self.multiples, names, strict=True), key=lambda part: part[0] < 0):
            if number:
                size = name if abs(number) == 1 else f"{abs(number)} {name}"
                words += (f" {'-' if number < 0 else '+'} " if words else "-" if number < 0 else "") + size
        return words


def line_of(multiples: Sequence[float], *, signed_hz: Sequence[float], width_hz: float, factor: int = 1) -> Line:
    """A product row at one plan's signed frequencies, as a line with unsigned ones.

    factor  of the oscillator's multiplier, to which its multiples are whole
    """
    exact = [Fraction(round(one * factor), factor) for one in multiples]
    exact = [one if frequency >= 0 else -one for one, frequency in zip(exact, signed_hz, strict=True)]
    centre = float(sum(float(one) * abs(f) for one, f in zip(exact, signed_hz, strict=True)))
    if centre < 0:
        exact, centre = [-one for one in exact], -centre
    half = abs(float(exact[-1])) * width_hz / 2
    return Line(multiples=tuple(exact), centre_hz=centre, low_hz=max(centre - half, 0.0), high_hz=centre + half)


@dataclass(frozen=True, kw_only=True)
class Moves:
    """How far a product goes when a knob is turned.

    lo_up_hz    the (last) oscillator 1 MHz up
    if_down_hz  the signal 1 MHz down
    both_hz     that oscillator up by 1 MHz and the signal so that the wanted stays
    """

    lo_up_hz: float
    if_down_hz: float
    both_hz: float


def moves(line: Line, *, wanted: Line, step_hz: float = 1e6) -> Moves:
    """What a product does when the oscillator, the signal, or both are moved. [Hz]"""
    m, n = float(line.m), float(line.n)
    signal_step = -step_hz * float(wanted.m) / wanted.n
    return Moves(lo_up_hz=m * step_hz, if_down_hz=-n * step_hz, both_hz=m * step_hz + n * signal_step)

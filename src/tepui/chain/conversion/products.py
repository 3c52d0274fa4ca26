"""Mixing products: which sums of oscillators and signal there are, where they stand, how wide, and what moves them.

Theory  A mixer makes m LO + n IF for all whole m and n; overall sign has no meaning, so f = |m LO + n IF|. The n-th
        power of a signal of width B spreads over n B. Wanted is LO + IF when frequencies may carry a sign: with
        LO = RF - IF (low side; below zero where the signal is mixed down) and IF taken negative on the high side,
        every plan has its wanted product at (1, 1). Two mixers: (1, 1, 1) with the oscillators in signal order. An
        oscillator multiplied by M leaves its other harmonics k: the same sums with m = k / M. A second mixer also
        mixes what the first one made beside the wanted, B, with the wanted A: m LO2 + j A + i B, as wide as j widths
        of A and i of B together.
Source  Arithmetic; widths from the n-fold convolution, see shape.py.
Holds   One signal. Lines of the oscillators (n = 0) have no width here; phase noise is elsewhere.
"""

import math
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
MUTUAL_ABOVE_DB = -50.0  # products of a first mixer weaker than this leave nothing to speak of in a second
MUTUAL = ((1, 1), (2, 1), (1, 2))  # how often the wanted and the other take part: up to third order


@dataclass(frozen=True, kw_only=True, eq=False)
class ProductRows:
    """Products to look for, the wanted one left out.

    multiples           (p, b) of the signed frequencies: the oscillators in signal order, the signal last, n >= 0
    order               (p,) how early a mixer makes it: the sum of the multiples without sign
    level_db, doubt_db  (p,) over the wanted product before any filter, and half of 95 %
    factor              the oscillator is multiplied by this: multiples of it are whole numbers over the factor
    widths              (p,) of the signal that each is wide; None where those are the multiples of the signal
    inner               (p, 3) behind two mixers: k and n of what has to pass the filter between them, and how often it
                        takes part (0 where only the wanted does); None with one mixer
    """

    multiples: Floats
    order: Ints
    level_db: Floats
    doubt_db: Floats
    factor: int = 1
    widths: Ints | None = None
    inner: Floats | None = None

    @property
    def n(self) -> Ints:
        """Multiples of the signal. (p,)"""
        return self.multiples[:, -1].astype(np.int64)

    @property
    def spread(self) -> Ints:
        """Widths of the signal that each product is wide. (p,)"""
        return np.abs(self.n) if self.widths is None else self.widths

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
    second IF, j k LO1 + m LO2 + j n IF, and mutual products of the wanted with what else the first one made. Both
    mixers are taken alike; what the filter between them takes away is the caller's.
    """
    require_between("order", order, 2, MOST_ORDER, unit="", source="this program's limit")
    found = _Found(order)
    grid, doubts = levels.level_db, levels.doubt_db
    for k, n in _first_mixer(order):
        for m in range(-order, order + 1):
            doubt = float(np.hypot(doubts[abs(k), n], doubts[abs(m), 1]))
            inner = (k, n, 0 if k == n == 1 else 1)
            found.add((k, m, n), n, inner, float(grid[abs(k), n] + grid[abs(m), 1]), doubt)
    for j in range(order + 1):
        for m in range(-order, order + 1):
            if abs(m) + j <= order and (m or j):
                found.add((j, m, j), j, (1, 1, 0), float(grid[abs(m), j]), float(doubts[abs(m), j]))
    _add_mutual(found, levels)
    return found.rows()


def _first_mixer(order: int) -> list[tuple[int, int]]:
    """(k, n) of every product of the first mixer, once."""
    return [(k, n) for k in range(-order, order + 1) for n in range(order + 1 - abs(k)) if n or k > 0]


def _add_mutual(found: "_Found", levels: ProductLevels) -> None:
    """Products in the second mixer of the wanted second IF with the stronger of all else that the first one made."""
    grid, doubts, order = levels.level_db, levels.doubt_db, found.order
    for k, n in _first_mixer(order):
        beside = float(grid[abs(k), n])
        if (k, n) == (1, 1) or beside < MUTUAL_ABOVE_DB:
            continue
        for a, b in MUTUAL:
            share = b * beside + 20 * math.log10(math.comb(a + b, b))
            for sign in (1, -1):
                for m in range(-order, order + 1):
                    doubt = float(np.hypot(b * doubts[abs(k), n], doubts[abs(m), a + b]))
                    key = (a + sign * b * k, m, a + sign * b * n)
                    found.add(key, a + b * n, (k, n, b), float(grid[abs(m), a + b]) + share, doubt)


class _Found:
    """Rows of two mixers as they are found: of one sum, width and inner product the strongest is kept."""

    def __init__(self, order: int) -> None:
        self.order = order
        self._kept: dict[tuple[tuple[int, int, int], int, tuple[int, int, int]], tuple[float, float]] = {}

    def add(
        self, key: tuple[int, int, int], widths: int, inner: tuple[int, int, int], level: float, doubt: float
    ) -> None:
        """Take a product in, with the sign that its signal's multiple is not below zero."""
        leading = key[2] or key[0] or key[1]
        if leading < 0:
            key = (-key[0], -key[1], -key[2])
        if key == (1, 1, 1) or not leading or sum(map(abs, key)) > self.order + 1:
            return
        place = (key, widths, inner)
        if place not in self._kept or level > self._kept[place][0]:
            self._kept[place] = (level, doubt)

    def rows(self) -> ProductRows:
        """All of them, the lowest order first."""
        places = sorted(self._kept, key=lambda one: (sum(map(abs, one[0])), one))
        keys = [key for key, _, _ in places]
        return ProductRows(
            multiples=np.array(keys, dtype=np.float64),
            order=np.array([sum(map(abs, key)) - 1 for key in keys]),
            level_db=np.array([self._kept[place][0] for place in places]),
            doubt_db=np.array([self._kept[place][1] for place in places]),
            widths=np.array([widths for _, widths, _ in places]),
            inner=np.array([inner for _, _, inner in places], dtype=np.float64),
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
    widths     of the signal that it is wide, where those are not the multiple of the signal
    """

    multiples: tuple[Fraction, ...]
    centre_hz: float
    low_hz: float
    high_hz: float
    widths: int | None = None

    @property
    def spread(self) -> int:
        """Widths of the signal that it is wide, which is also how often its spectrum is convolved."""
        return abs(self.n) if self.widths is None else self.widths

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
        """As many widths of the signal as ``spread`` says. [Hz]"""
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


def line_of(
    multiples: Sequence[float],
    *,
    signed_hz: Sequence[float],
    width_hz: float,
    factor: int = 1,
    widths: int | None = None,
) -> Line:
    """A product row at one plan's signed frequencies, as a line with unsigned ones.

    factor  of the oscillator's multiplier, to which its multiples are whole
    widths  of the signal that it is wide; None where those are the multiple of the signal
    """
    exact = [Fraction(round(one * factor), factor) for one in multiples]
    exact = [one if frequency >= 0 else -one for one, frequency in zip(exact, signed_hz, strict=True)]
    centre = float(sum(float(one) * abs(f) for one, f in zip(exact, signed_hz, strict=True)))
    if centre < 0:
        exact, centre = [-one for one in exact], -centre
    half = (abs(float(exact[-1])) if widths is None else widths) * width_hz / 2
    low = max(centre - half, 0.0)
    return Line(multiples=tuple(exact), centre_hz=centre, low_hz=low, high_hz=centre + half, widths=widths)


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
    return Moves(lo_up_hz=m * step_hz, if_down_hz=0.0 - n * step_hz, both_hz=m * step_hz + n * signal_step)

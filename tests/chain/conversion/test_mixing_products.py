"""Product frequencies by exhaustive arithmetic, their shapes by throwing dice, and what moves them."""

import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from tepui.chain.conversion.mixer import MixerDrive, product_levels
from tepui.chain.conversion.products import (
    cascade_rows,
    line_of,
    moves,
    multiplier_rows,
    product_centres_hz,
    product_rows,
    signed_frequencies,
)
from tepui.chain.conversion.shape import density, gaussian_excess_db, share_below
from tepui.ground.errors import RangeError

DRIVE = MixerDrive(
    signal_dbm=-15, lo_dbm=7, loss_db=8, loss_doubt_db=1, lo_isolation_db=28, lo_isolation_doubt_db=6,
    if_isolation_db=25, if_isolation_doubt_db=10, harmonic_db=-40,
)  # fmt: skip
LEVELS = product_levels(DRIVE)


# Exhaustive arithmetic: every m, n from -9 to 9 with |m| + |n| <= 9, frequencies made positive, wanted left out.
@given(signal=some.integers(45, 870), wanted=some.integers(900, 3000), high=some.booleans())
def test_law_the_rows_are_all_products_once(signal, wanted, high):
    lo = wanted + signal if high else wanted - signal
    sign = -1 if high else 1
    expected = sorted(
        {
            (abs(m * lo + n * signal), abs(n))
            for m, n in itertools.product(range(-9, 10), repeat=2)
            if 0 < abs(m) + abs(n) <= 9 and (m, n) not in ((1, sign), (-1, -sign))
        }
    )
    rows = product_rows(LEVELS, order=9)
    signed = signed_frequencies([signal], wanted_hz=wanted, high_side=[high])
    found = {(round(f), int(n)) for f, n in zip(product_centres_hz(rows, signed)[0], rows.n, strict=True)}
    assert sorted(found) == expected
    assert len(rows) == 89  # (19 * 19 within the diamond, halved, without the origin) less the wanted


@given(signal=some.integers(45, 870), wanted=some.integers(900, 3000), m=some.integers(-9, 9), n=some.integers(-9, 9))
def test_law_a_line_is_written_with_positive_frequencies(signal, wanted, m, n):
    signed = (wanted - signal, signal)
    line = line_of((m, n), signed_hz=signed, width_hz=8.0)
    assert line.centre_hz == abs(m * signed[0] + n * signed[1])
    assert float(line.m) * abs(signed[0]) + line.n * signal == line.centre_hz
    assert line.high_hz - max(line.centre_hz - 4 * abs(n), 0) == line.width_hz


# The 13 cm scenario: 786 MHz with 1560 MHz. 3 IF at 2358 spans 2346.6 to 2369.4.
@pytest.mark.parametrize(("multiples", "text", "centre", "low", "high"), [
    ((0, 3), "3 IF", 2358, 2346.6, 2369.4),
    ((2, -1), "2 LO - IF", 2334, 2330.2, 2337.8),
    ((-1, 5), "5 IF - LO", 2370, 2351.0, 2389.0),
    ((1, -1), "LO - IF", 774, 770.2, 777.8),
])  # fmt: skip
def test_published_scenario_products(multiples, text, centre, low, high):
    line = line_of(multiples, signed_hz=(1560e6, 786e6), width_hz=7.607143e6)
    assert line.text() == text
    assert line.centre_hz == centre * 1e6
    assert [line.low_hz / 1e6, line.high_hz / 1e6] == pytest.approx([low, high], abs=0.05)
    assert line.width_hz == pytest.approx(abs(line.n) * 7.607143e6)


def test_limit_what_moves_a_line():
    wanted = line_of((1, 1), signed_hz=(1560e6, 786e6), width_hz=1.0)
    line = line_of((2, -1), signed_hz=(1560e6, 786e6), width_hz=1.0)
    found = moves(line, wanted=wanted)
    for lo, signal, moved in ((1561e6, 786e6, found.lo_up_hz), (1560e6, 785e6, found.if_down_hz),
                              (1561e6, 785e6, found.both_hz)):  # fmt: skip
        there = line_of((2, -1), signed_hz=(lo, signal), width_hz=1.0)
        assert there.centre_hz - line.centre_hz == moved
    assert (found.lo_up_hz, found.if_down_hz, found.both_hz) == (2e6, 1e6, 3e6)


# An independent tool: sums of n uniform variables, numpy's generator.
@pytest.mark.parametrize("n", [1, 2, 3, 5, 7])
def test_tool_the_shape_of_a_product_is_that_of_a_sum(n):
    thrown = np.random.default_rng(n).uniform(-0.5, 0.5, (200_000, n)).sum(axis=1)
    for x in np.linspace(-n / 2, n / 2, 9):
        assert share_below([x], n=n)[0] == pytest.approx(np.mean(thrown <= x), abs=0.004)
    counts, edges = np.histogram(thrown, bins=20, range=(-n / 2, n / 2), density=True)
    assert density((edges[1:] + edges[:-1]) / 2, n=n) == pytest.approx(counts, abs=0.05 / n + 0.01)


# Cubic theory for a Gaussian signal (checked by simulation elsewhere): centre 3/4, edge 1/2 of the flat triple
# convolution's peak width, and two thirds of the power inside the channel.
def test_published_shape_of_third_order():
    assert density([0.0, 0.5, -0.5], n=3) == pytest.approx([0.75, 0.5, 0.5], abs=1e-12)
    inside = share_below([0.5], n=3)[0] - share_below([-0.5], n=3)[0]
    assert inside == pytest.approx(2 / 3, abs=1e-12)


@pytest.mark.parametrize("n", range(1, 16))
def test_law_shares_rise_from_nothing_to_all(n):
    x = np.linspace(-n / 2 - 1, n / 2 + 1, 301)
    share = share_below(x, n=n)
    assert share[0] == 0
    assert share[-1] == 1
    assert np.all(np.diff(share) >= -1e-12)
    assert np.trapezoid(density(x, n=n), x) == pytest.approx(1, abs=0.02)


def test_tool_a_gaussian_signal_makes_n_factorial_more():
    x = np.random.default_rng(3).standard_normal((2, 400_000)) / np.sqrt(2)
    power = x[0] ** 2 + x[1] ** 2
    for n in (2, 3):
        assert 10 * np.log10(np.mean(power**n)) == pytest.approx(gaussian_excess_db(n), abs=0.15)


def test_law_a_multiplied_oscillator_adds_its_other_harmonics():
    rows = multiplier_rows(product_rows(LEVELS, order=5), LEVELS, factor=4, harmonic_db=-30, harmonic_doubt_db=10)
    added = rows.multiples[len(product_rows(LEVELS, order=5)) :]
    assert np.all((added[:, 0] * 4) % 1 == 0)
    assert np.all(added[:, 0] % 1 != 0)
    assert line_of((Fraction(3, 4), 1), signed_hz=(4e9, 6e8), width_hz=1.0, factor=4).text() == "3/4 LO + IF"


# Exhaustive: whatever the first mixer makes of one signal (k, n), carried up by (m, 1); and (j, m, j) of the wanted.
def test_law_two_mixers_make_every_sum_of_their_products():
    rows = cascade_rows(LEVELS, order=4)
    found = {tuple(int(one) for one in row) for row in rows.multiples}
    expected = set()
    for k, m, n in itertools.product(range(-4, 5), range(-4, 5), range(5)):
        small = abs(k) + abs(m) + n <= 5 and 0 < abs(k) + n <= 4
        if small and (k, m, n) != (1, 1, 1) and (n > 0 or (k, m) > (0, 0)):
            expected.add((k, m, n) if n > 0 or k > 0 or (k == 0 and m > 0) else (-k, -m, n))
    assert expected - found == set()
    assert (1, 1, 1) not in found


def test_too_high_an_order_is_refused():
    with pytest.raises(RangeError, match=r"order must lie between 2 and 15"):
        product_rows(LEVELS, order=16)

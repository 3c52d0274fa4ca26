"""Settings of a fractional-N synthesiser: exact frequencies, and where the boundary lines stand."""

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from tepui.chain.conversion.synthesiser import SynthesiserLimits, boundary_lines, boundary_offset_hz, settings_for
from tepui.ground.errors import RangeError

LIMITS = SynthesiserLimits(
    reference_hz=Fraction(25_000_000), pfd_max_hz=32e6, mod_max=4095, int_min=23, dividers=(1, 2, 4),
    vco_hz=(2.2e9, 4.4e9), loop_hz=50e3,
)  # fmt: skip


# Table pll_integer_boundary: 100 MHz and a fraction of 0.0024 stand 240 kHz off; 2001 MHz at 100 MHz 1 MHz off.
@pytest.mark.parametrize(("n", "offset_hz"), [(Fraction(200024, 10000), 240_000), (Fraction(2001, 100), 1_000_000)])
def test_published_boundary_lines(n, offset_hz):
    assert boundary_offset_hz(n, Fraction(100_000_000)) == offset_hz


@settings(max_examples=25)
@given(khz=some.integers(700_000, 4_300_000))
def test_law_what_is_set_makes_what_is_said(khz):
    for one in settings_for(Fraction(khz * 1000), LIMITS)[:5]:
        made = Fraction(25_000_000, one.r) * (one.integer + Fraction(one.frac, one.mod)) / one.divider
        assert made == one.output_hz
        assert float(made - khz * 1000) == one.error_hz
        assert one.mod <= 4095
        assert one.frac < one.mod
        assert one.pfd_hz <= 32e6
        assert 2.2e9 <= one.vco_hz <= 4.4e9 + one.pfd_hz


def test_law_ranked_by_error_and_then_by_risk():
    found = settings_for(Fraction(1488_250_000), LIMITS)
    keys = [(round(abs(one.error_hz), 3), round(one.risk_dbc, 3)) for one in found]
    assert keys == sorted(keys)
    assert found[0].error_hz == 0


def test_law_a_whole_ratio_has_no_boundary_line():
    best = settings_for(Fraction(1488_000_000), LIMITS)[0]
    assert best.frac == 0
    assert best.boundary_hz is None


def test_what_cannot_be_reached_is_refused():
    with pytest.raises(RangeError, match=r"No setting of this synthesiser makes 500\.000000 MHz: widen"):
        settings_for(Fraction(500_000_000), LIMITS)


# By hand: N = 50.503 lies 0.003 from 50 1/2, so the second harmonic beats at 2 * 0.003 * 25 MHz = 150 kHz; from 50 it
# lies 0.497, 12.425 MHz off. Where N is 50 1/2 itself its line falls on the oscillator and only 0 and 1/3 and so on are
# left.
def test_limit_boundaries_at_simple_fractions():
    lines = {one.fraction: one for one in boundary_lines(Fraction(50503, 1000), Fraction(25_000_000), loop_hz=50e3)}
    assert lines["1/2"].offset_hz == 150e3
    assert lines["1/2"].level_dbc > max(one.level_dbc for name, one in lines.items() if name != "1/2")
    assert "1/2" not in {one.fraction for one in boundary_lines(Fraction(101, 2), Fraction(25_000_000), loop_hz=5e4)}
    near_whole = boundary_lines(Fraction(200024, 10000), Fraction(100_000_000), loop_hz=50e3)
    assert (near_whole[0].fraction, near_whole[0].offset_hz) == ("0", 240e3)
    # A multiple of the whole number's distance is no boundary of its own.
    assert not {"1/2", "1/4"} & {one.fraction for one in near_whole}


@settings(max_examples=25)
@given(khz=some.integers(700_000, 4_300_000))
def test_law_the_risk_is_that_of_the_worst_boundary(khz):
    for one in settings_for(Fraction(khz * 1000), LIMITS)[:5]:
        n = one.integer + Fraction(one.frac, one.mod)
        near = boundary_lines(n, Fraction(25_000_000, one.r), loop_hz=50e3)
        worst = max((line.level_dbc for line in near), default=-999)
        assert one.risk_dbc + 20 * math.log10(one.divider) >= worst - 1e-9

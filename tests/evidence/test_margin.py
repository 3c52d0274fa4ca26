"""Capacity of soft bits and the margin over the required C/N, against published limits, quadrature and the table."""

from fractions import Fraction

import numpy as np
import pytest
from scipy import integrate

from tepui.evidence.margin import (
    EDITION,
    LABELS,
    PILOTS_DB,
    capacity,
    margin_over_required,
    noise_margin_db,
    required_cn_db,
    unevenness,
)
from tepui.ground.doubt import Estimate
from tepui.signals.dvbt.mapping import constellation_points, levels
from tepui.tables.load import load_table

CODE_RATES = ("1/2", "2/3", "3/4", "5/6", "7/8")
MODES = [(constellation, rate) for constellation in ("QPSK", "16QAM", "64QAM") for rate in CODE_RATES]


# Limits of the channel with binary input and white noise, Eb/N0 in dB, as commonly tabulated (from memory).
@pytest.mark.parametrize(
    ("rate", "limit_db"), [("1/2", 0.187), ("2/3", 1.059), ("3/4", 1.626), ("5/6", 2.362), ("7/8", 2.845)]
)
def test_published_limits_of_binary_input(rate, limit_db):
    rate = float(Fraction(rate))
    snr = 10 ** (limit_db / 10) * 2 * rate  # two coded bits of QPSK
    assert capacity("QPSK", np.array([snr]))[0] == pytest.approx(2 * rate, abs=4e-4)


def by_quadrature(constellation, snr):
    """The same integral by adaptive quadrature, from labels read off the constellation's own points."""
    points = constellation_points(constellation)
    v = points.size.bit_length() - 1
    level = np.unique(points.real.round(6))
    deviation = np.sqrt(0.5 / snr)
    total = 0.0
    for even in range(0, v, 2):  # bits of the I axis
        label = np.array([(int(np.argmin(np.abs(points.real - x))) >> (v - 1 - even)) & 1 for x in level])
        for one, bit in zip(level, label, strict=True):

            def integrand(y, one=one, bit=bit, label=label):
                likely = np.exp(-((y - level) ** 2) / (2 * deviation**2))
                here = np.exp(-((y - one) ** 2) / (2 * deviation**2)) / (np.sqrt(2 * np.pi) * deviation)
                return here * np.log2(likely.sum() / likely[label == bit].sum())

            reach = 7 * deviation
            total += 1 - integrate.quad(integrand, one - reach, one + reach, limit=200)[0]
    return 2 * total / level.size


@pytest.mark.parametrize("constellation", ["QPSK", "16QAM", "64QAM"])
@pytest.mark.parametrize("snr_db", [0.0, 8.0, 15.0])
def test_tool_capacity_is_scipys_integral(constellation, snr_db):
    snr = 10 ** (snr_db / 10)
    assert capacity(constellation, np.array([snr]))[0] == pytest.approx(by_quadrature(constellation, snr), abs=1e-4)


# Least Eb/N0 of Gray-coded bits apart: QPSK loses nothing against -1.59 dB, 16-QAM needs -0.62 dB (A. Martinez et al.,
# IEEE Trans. Inf. Theory 54 (2008), from memory).
@pytest.mark.parametrize(("constellation", "least_db"), [("QPSK", -1.59), ("16QAM", -0.62)])
def test_published_least_energy_for_a_bit(constellation, least_db):
    snr = 1e-4
    found_db = 10 * np.log10(snr / capacity(constellation, np.array([snr]))[0])
    assert found_db == pytest.approx(least_db, abs=0.01)


def test_limit_capacity_ends_at_all_bits():
    for constellation, bits in (("QPSK", 2), ("16QAM", 4), ("64QAM", 6)):
        assert capacity(constellation, np.array([1e4]))[0] == pytest.approx(bits, abs=1e-9)
        assert len(LABELS[levels(constellation).size]) == 2 * levels(constellation).size


# [EN300744] V1.6.1 table A.1 (from memory): a Rayleigh channel needs what its column says, so there the margin is zero.
@pytest.mark.parametrize(("constellation", "code_rate"), MODES)
def test_published_rayleigh_column_leaves_no_margin(constellation, code_rate):
    where = {"constellation": constellation, "code_rate": code_rate, "edition": EDITION}
    needed_db = float(load_table("dvbt_required_cn").cell("required_cn_db", channel_model="Rayleigh P1", **where))
    power = -np.log(1 - (np.arange(2000) + 0.5) / 2000)  # quantiles of the exponential distribution, mean one
    count = np.full(2000, 400)
    told = margin_over_required(
        constellation=constellation,
        code_rate=Fraction(code_rate),
        mer=Estimate(value=0.0, std=0.0),
        error_carrier=count / (power * 10 ** ((needed_db - PILOTS_DB) / 10)),
        count_carrier=count,
        hit=False,
    )
    assert told.uneven
    assert told.margin.low <= 0.0 <= told.margin.high


@pytest.mark.parametrize(("constellation", "code_rate"), MODES)
def test_law_an_even_channel_has_the_ratio_less_the_required_one(constellation, code_rate):
    required = required_cn_db(constellation, Fraction(code_rate))
    count = np.full(1512, 500)
    rng = np.random.default_rng(3)
    error = count * 10 ** (-(required + 2.0) / 10) * rng.chisquare(1000, 1512) / 1000
    mer_db = -10 * np.log10(error.sum() / count.sum())
    told = margin_over_required(
        constellation=constellation,
        code_rate=Fraction(code_rate),
        mer=Estimate(value=mer_db, std=0.02),
        error_carrier=error,
        count_carrier=count,
        hit=False,
    )
    assert not told.uneven
    assert told.margin.value == pytest.approx(2.0 + 0.335, abs=0.02)
    assert told.margin.std == pytest.approx(np.hypot(0.02, 0.1 / np.sqrt(12)), rel=1e-6)
    by_capacity = noise_margin_db(
        constellation, (count - 1) / error, count.astype(float), required_db=required - PILOTS_DB
    )
    assert by_capacity == pytest.approx(2.335, abs=0.03)


def test_law_a_few_carriers_lost_cost_little_though_the_mean_error_is_large():
    count = np.full(1512, 500)
    error = count * 10**-2.0
    error[700:708] = count[0] * 10.0  # eight carriers under a line
    told = margin_over_required(
        constellation="16QAM",
        code_rate=Fraction(2, 3),
        mer=Estimate(value=-10 * np.log10(error.sum() / count.sum()), std=0.01),
        error_carrier=error,
        count_carrier=count,
        hit=True,
    )
    plain = 20.0 + PILOTS_DB - 11.4
    assert plain - 0.5 < told.margin.value < plain
    assert told.margin.high > told.margin.value + 0.29


def test_law_unevenness_is_zero_for_even_noise():
    rng = np.random.default_rng(5)
    count = np.full(1512, 60)
    assert unevenness(rng.chisquare(120, 1512) / 2, count) == pytest.approx(0.0, abs=0.005)
    assert unevenness(count * np.where(np.arange(1512) % 2, 0.5, 1.5), count) == pytest.approx(0.25, abs=0.02)

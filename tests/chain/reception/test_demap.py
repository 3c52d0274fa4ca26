"""Soft values against distances measured point by point, error rates against theory."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import binom, norm

from ideal_link import ideal_link, plain_mode
from tepui.chain.reception.demap import GAIN, SoftDemapper
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.interleavers import coded_bit_order
from tepui.signals.dvbt.mapping import constellation_points
from tepui.signals.dvbt.mode import Mode

SHARP = 1e6  # weight so high that every value but an exact tie is +-9


def axis_error_rates(constellation, noise):
    """Error probability of each bit of an axis, Gray-coded as [EN300744] figure 9a, by adding up Gaussian areas."""
    codes = {"QPSK": ["0", "1"], "16QAM": ["00", "01", "11", "10"],
             "64QAM": ["000", "001", "011", "010", "110", "111", "101", "100"]}[constellation]  # fmt: skip
    n = len(codes)
    places = (n - 1 - 2 * np.arange(n)) / np.sqrt(2 * (n * n - 1) / 3)  # from the most positive level down
    edges = np.concatenate([[np.inf], (places[1:] + places[:-1]) / 2, [-np.inf]])
    spread = np.sqrt(noise / 2)
    rates = np.zeros(len(codes[0]))
    for sent, place in zip(codes, places, strict=True):
        areas = -np.diff(norm.cdf((edges - place) / spread))
        for e in range(len(sent)):
            rates[e] += sum(area for got, area in zip(codes, areas, strict=True) if got[e] != sent[e]) / n
    return rates


# Textbook: hard decisions of a Gray-coded constellation in white noise; the count lies within its own 95 % interval
# (each of six bits by itself: 99.5 %).
@pytest.mark.parametrize(("constellation", "es_n0_db"), [("QPSK", 6.0), ("16QAM", 12.0), ("64QAM", 17.0)])
def test_law_uncoded_error_rate(constellation, es_n0_db):
    mode = plain_mode(constellation, "3/4")
    link = ideal_link(mode, es_n0_db=es_n0_db, n_bits=300_000, seed=41)
    ones, weight = np.ones((1, mode.n_carriers), np.complex64), np.full(mode.n_carriers, SHARP, np.float32)
    soft = SoftDemapper(mode)(link.on_carriers(), ones, weight, phase=0, parity=0)
    wrong = (soft < 0) != (link.coded == 1)
    rates = axis_error_rates(constellation, link.noise)
    low, high = binom.interval(0.95, wrong.size, rates.mean())
    assert low <= wrong.sum() <= high
    for e in range(mode.bits_per_cell):
        of_bit = np.concatenate([wrong[parity::2, coded_bit_order(2048, mode.bits_per_cell, parity)[:, e]].ravel()
                                 for parity in (0, 1)])  # fmt: skip
        low, high = binom.interval(0.995, of_bit.size, rates[e // 2])
        assert low <= of_bit.sum() <= high


def measured_ratios(cells, channel, weight, mode):
    """Max-log ratios of the first bits of each cell, from the distance to every point: (..., bits)."""
    points = constellation_points(mode.constellation, mode.alpha)
    distance = np.abs(cells[..., None] - channel[..., None] * points) ** 2
    label, v = np.arange(len(points)), mode.bits_per_cell
    ratios = []
    for e in range(mode.bits_per_cell_hp):
        is_one = (label >> (v - 1 - e)) & 1 == 1
        ratios.append(distance[..., is_one].min(axis=-1) - distance[..., ~is_one].min(axis=-1))
    return np.stack(ratios, axis=-1) * weight[..., None]


# The definition: squared distance to the nearest point with 1, less that to the nearest with 0, over the noise.
@pytest.mark.parametrize("moving", [False, True])
@pytest.mark.parametrize(("n_fft", "constellation", "alpha"), [
    (2048, "QPSK", 0), (8192, "16QAM", 0), (2048, "64QAM", 0), (4096, "64QAM", 0), (2048, "16QAM", 1),
    (2048, "16QAM", 2), (2048, "16QAM", 4), (2048, "64QAM", 1), (2048, "64QAM", 2), (2048, "64QAM", 4)])  # fmt: skip
def test_law_soft_values_are_differences_of_distances(n_fft, constellation, alpha, moving):
    rate = Fraction(2, 3)
    mode = Mode(width_hz=8e6, n_fft=n_fft, guard=Fraction(1, 4), constellation=constellation, code_rate=rate,
                alpha=alpha, code_rate_lp=Fraction(1, 2) if alpha else None)  # fmt: skip
    rng, shape, first = np.random.default_rng(42), (5, mode.n_carriers), 3

    def gaussian(rows):
        return (rng.standard_normal((rows, shape[1])) + 1j * rng.standard_normal((rows, shape[1]))).astype(np.complex64)

    cells, channel = gaussian(5), gaussian(5 if moving else 1)
    weight = rng.uniform(0.0, 6.0, shape[1]).astype(np.float32)
    soft = SoftDemapper(mode)(cells, channel, weight, phase=first % 4, parity=first % 2)
    ratios = measured_ratios(cells, np.broadcast_to(channel, shape), np.broadcast_to(weight, shape), mode) * GAIN[rate]
    assert soft.shape == (5, mode.n_data * mode.bits_per_cell_hp)
    for row in range(5):
        carriers = data_carriers(n_fft, (first + row) % 4)
        order = coded_bit_order(n_fft, mode.bits_per_cell_hp, (first + row) % 2)
        wanted = np.clip(ratios[row, carriers], -9, 9)
        assert np.abs(soft[row, order] - wanted).max() < 0.502
    assert 0.02 < np.mean(soft == 0) < 0.5


# [EN300744] 4.3.4, through the transmitter: without noise every sign is that of the coded bit sent.
@pytest.mark.parametrize(("constellation", "rate"), [("QPSK", "1/2"), ("16QAM", "5/6"), ("64QAM", "7/8")])
def test_law_signs_without_noise_are_the_coded_bits(constellation, rate):
    link = ideal_link(plain_mode(constellation, rate), es_n0_db=60.0, n_bits=40_000, seed=43)
    turn = np.exp(2j * np.pi * np.random.default_rng(44).random((1, link.mode.n_carriers))).astype(np.complex64)
    weight = np.full(link.mode.n_carriers, 300.0, np.float32)
    soft = SoftDemapper(link.mode)(link.on_carriers() * turn, turn, weight, phase=0, parity=0)
    assert np.array_equal(soft < 0, link.coded == 1)
    assert (soft != 0).all()


def test_limit_huge_and_zero_weights():
    link = ideal_link(plain_mode("64QAM", "3/4"), es_n0_db=90.0, n_bits=20_000, seed=45)
    demapper, ones = SoftDemapper(link.mode), np.ones((1, link.mode.n_carriers), np.complex64)
    for weight, size in ((1e37, 9), (1e20, 9), (0.0, 0)):
        weights = np.full(link.mode.n_carriers, weight, np.float32)
        soft = demapper(link.on_carriers(), ones, weights, phase=0, parity=0)
        assert (np.abs(soft) == size).all()


def test_law_rows_do_not_know_their_neighbours():
    link = ideal_link(plain_mode("16QAM", "1/2"), es_n0_db=9.0, n_bits=30_000, seed=46)
    demapper, cells = SoftDemapper(link.mode), link.on_carriers()
    ones, weight = np.ones((1, link.mode.n_carriers), np.complex64), np.full(link.mode.n_carriers, 8, np.float32)
    whole = demapper(cells, ones, weight, phase=0, parity=0)
    for row in range(len(cells)):
        alone = demapper(cells[row : row + 1], ones, weight, phase=row % 4, parity=row % 2)
        assert np.array_equal(alone[0], whole[row])


def test_message_of_phase_against_parity():
    mode = plain_mode("QPSK", "1/2")
    with pytest.raises(RangeError, match="pilot phase 1 and symbol parity 0 must be both even or both odd"):
        SoftDemapper(mode)(np.zeros((1, 1705), np.complex64), np.zeros((1, 1705), np.complex64),
                           np.zeros(1705, np.float32), phase=1, parity=0)  # fmt: skip


# Ratios beyond +-9 steps are held there whatever their size: the sign must not turn when sums overflow.
@pytest.mark.parametrize("constellation", ["QPSK", "16QAM", "64QAM"])
def test_limit_weights_without_end_keep_every_sign(constellation):
    link = ideal_link(plain_mode(constellation, "1/2"), es_n0_db=40.0, n_bits=20_000, seed=2)
    ones = np.ones((1, link.mode.n_carriers), np.complex64)
    found = []
    for weight in (1e9, 1e24, 1e37, 3e38, np.inf):
        weights = np.full(link.mode.n_carriers, weight, np.float32)
        found.append(SoftDemapper(link.mode)(link.on_carriers(), ones, weights, phase=0, parity=0))
    assert all(np.array_equal(np.sign(found[0]), np.sign(other)) for other in found[1:])
    assert np.array_equal(found[0] < 0, link.coded == 1)

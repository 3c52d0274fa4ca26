"""Curves beneath the scatter of a trace, pilots in the band, and the worse of two sides."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from evidence_signals import shaped_noise

from tepui.evidence.band_pilots import Band, with_pilots
from tepui.evidence.edge import edge_shoulders
from tepui.evidence.floor import Floor
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.shoulder_curves import BandFit, SlopeFit
from tepui.evidence.shoulders import shoulders, worse_of
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_shoulders import stitched_shoulders
from tepui.signals.dvbt.pilot_rise import pilot_rise_db, pilot_shape
from tepui.signals.spectrum import smoothed, spectrum_of_recording

WIDTH_HZ, SPACING_HZ, RATE_HZ, GUARD = 6.65625e6, 3906.25, 16e6, Fraction(1, 8)
RESOLUTION_HZ = 10 * SPACING_HZ
CHANNEL = {"occupied_width_hz": WIDTH_HZ, "carrier_spacing_hz": SPACING_HZ}


def scatter(rows, points, step_hz, averages, seed=1):
    """Relative scatter of many traces through the Gaussian filter, by a sum of squares of filtered noise."""
    rng = np.random.default_rng(seed)
    reach = int(2 * RESOLUTION_HZ / step_hz)
    response = np.exp(-np.pi * (np.arange(-reach, reach + 1) * step_hz / RESOLUTION_HZ) ** 2)
    response /= np.sqrt(np.sum(response**2))
    noise = rng.standard_normal((rows, points + 2 * reach))
    return np.stack([np.convolve(row, response, "valid") for row in noise]) / np.sqrt(averages)


OFFSETS_HZ = np.arange(250e3, 750.1e3, 5e3)


# By hand: what is put in, bent as a fourth power or straight, comes out, and its doubt is that of a mean of cells.
@pytest.mark.parametrize("bend_db", [0.0, 1.5])
def test_limit_the_slope_put_in_comes_out(bend_db):
    x = (OFFSETS_HZ - 500e3) / 250e3
    level = 10 ** ((-2 * x + 0.4 * x**2 + bend_db * x**4) / 10)
    seen = level * (1 + scatter(300, len(x), 5e3, 1000))
    found = SlopeFit(offset_hz=OFFSETS_HZ, resolution_hz=RESOLUTION_HZ, n_averages=1000).smooth(seen)
    error_db = 10 * np.log10(found / level)
    between = (OFFSETS_HZ >= 300e3) & (OFFSETS_HZ <= 700e3)
    assert np.abs(error_db[:, between].mean(axis=0)).max() < 0.06
    assert error_db[:, between].std(axis=0).max() < 4.34 / np.sqrt(1000) * 0.75


BAND_HZ = np.arange(-WIDTH_HZ / 2, WIDTH_HZ / 2, 5e3)


def band(averages, pilots=1.0):
    return BandFit(
        offset_hz=BAND_HZ,
        half_hz=WIDTH_HZ / 2,
        resolution_hz=RESOLUTION_HZ,
        pilots=pilots * np.ones(len(BAND_HZ)),
        n_averages=averages,
    )


def test_limit_scatter_picks_no_highest_value_and_ripple_is_kept():
    flat = 1 + scatter(200, len(BAND_HZ), 5e3, 800)
    top_db = 10 * np.log10(band(800).smooth(flat).max(axis=1))
    assert abs(top_db.mean()) < 0.02
    assert 10 * np.log10(flat.max(axis=1)).mean() > 0.3  # what a trace itself would show
    ripple = 1 + 0.2 * np.cos(2 * np.pi * BAND_HZ / 1.1e6)
    top_db = 10 * np.log10(band(800).smooth(ripple * flat).max(axis=1))
    assert top_db.mean() == pytest.approx(10 * np.log10(1.2), abs=0.05)


def lines_of_pilots(frequency_hz, *, is_mirrored=False):
    """In band what pilots make of it, 38 dB below that beside it, the upper side 0.6 dB lower. Per hertz."""
    at = -frequency_hz if is_mirrored else frequency_hz
    shape = pilot_shape(at, **CHANNEL, resolution_bandwidth_hz=2 * SPACING_HZ, guard=GUARD)
    away_hz = np.abs(frequency_hz) - WIDTH_HZ / 2
    outside_db = -38 - away_hz / 1e6 - 0.6 * (frequency_hz > 0)
    return 1e-9 * np.where(away_hz <= 0, shape, 10 ** (outside_db / 10))


def even_band(frequency_hz):
    return 1e-9 * np.where(np.abs(frequency_hz) <= WIDTH_HZ / 2, 1.0, 1e-4)


@pytest.mark.parametrize("guard", [GUARD, None])
def test_limit_the_band_tells_whether_pilots_are_in_it(guard):
    known = Band(centre_offset_hz=0.0, **CHANNEL, more=1.0, guard=guard)

    def told(density):
        recording = shaped_noise(density, n=300_000, rate_hz=RATE_HZ, seed=3)
        fine = spectrum_of_recording(recording, resolution_bandwidth_hz=SPACING_HZ)
        return with_pilots(smoothed(fine, resolution_bandwidth_hz=RESOLUTION_HZ), known)

    upright, mirrored = told(lines_of_pilots), told(lambda f: lines_of_pilots(f, is_mirrored=True))
    assert min(upright.share_of_pilots, mirrored.share_of_pilots) > 0.99
    assert mirrored.is_mirrored
    assert not upright.is_mirrored
    assert told(even_band).share_of_pilots < 0.01


# By hand: without scatter all three ways to a spectrum read the level put in, over the highest value that pilots make.
def test_law_wide_stitched_and_edge_read_the_same():
    bin_hz = SPACING_HZ / 4
    frequency_hz = np.arange(-5e6, 5e6, bin_hz)
    wide = spectrum_of_recording(shaped_noise(even_band, n=400_000, rate_hz=RATE_HZ, seed=1),
                                 resolution_bandwidth_hz=2.2 * SPACING_HZ)  # fmt: skip
    density = lines_of_pilots(frequency_hz)
    wide = replace(
        wide, frequency_hz=frequency_hz, density=density, std=density / 30, n_averages=900.0, n_samples=900 * 8000
    )
    nothing = Floor(density=0.0, std=0.0, at_most=False, method="none")
    read = [shoulders(wide, centre_offset_hz=0.0, **CHANNEL, floor=nothing, guard=GUARD)]
    read.append(edge_shoulders(
        [(side, part_of(wide, sign * (WIDTH_HZ / 2 + 0.2e6))) for side, sign in (("lower", -1), ("upper", 1))],
        centre_hz=0.0, **CHANNEL, floor=nothing, tuning_std_hz=1e3, guard=GUARD,
    ))  # fmt: skip
    read.append(stitched_shoulders(stitched_of(wide), carrier_spacing_hz=SPACING_HZ, guard=GUARD))
    rise_db = pilot_rise_db(2048, GUARD)
    for one in read:
        lower, upper = (getattr(side, "corrected", side) for side in (one.lower, one.upper))
        assert lower.value == pytest.approx(-38.5 - rise_db, abs=0.04)
        assert upper.value == pytest.approx(-39.1 - rise_db, abs=0.04)
        assert lower.contributions["pilots"] == pytest.approx(0.08, abs=0.01)


def part_of(wide, tuned_hz):
    first = int(np.searchsorted(wide.frequency_hz, tuned_hz - 1.2e6))
    there = slice(first, first + int(2.4e6 / wide.bin_hz))
    return NarrowSpectrum(
        name="part", tuned_hz=tuned_hz, rate_hz=2.4e6, settings={},
        first_bin=round(wide.frequency_hz[first] / wide.bin_hz), bin_hz=wide.bin_hz,
        density=wide.density[there], usable=np.abs(wide.frequency_hz[there] - tuned_hz) < 0.96e6,
        n_averages=wide.n_averages, resolution_bandwidth_hz=wide.resolution_bandwidth_hz, n_samples=wide.n_samples,
        converter=None, image=0j, image_std=0.0, dc_half_width_hz=0.0, floor=None,
    )  # fmt: skip


def stitched_of(wide):
    n = len(wide.density)
    return Stitched(
        centre_hz=0.0, occupied_width_hz=WIDTH_HZ, names=("one",), frequency_hz=wide.frequency_hz,
        level=wide.density / 1e-9, std=wide.std / 1e-9, common_std=np.zeros(n), floor=np.zeros(n),
        source=np.zeros(n, np.intp), n_averages=np.full(n, wide.n_averages), total=WIDTH_HZ, input_noise=None,
        inband_density=np.ones(1), inband_steps2=1.0, resolution_bandwidth_hz=wide.resolution_bandwidth_hz, gain_db={},
        floor_lsb2=None, droop=None, tuning_error=None, changes=(), misfit=1.0,
    )  # fmt: skip


def test_limit_the_worse_of_two_sides():
    assert worse_of(np.array(-30.0), np.array(-30.0), 0.1) == -30.0
    assert worse_of(np.array(-30.0), np.array(-35.0), 0.1) == pytest.approx(-30.0, abs=0.01)
    rng = np.random.default_rng(2)
    for apart in (0.0, 0.1, 0.2, 0.4, 1.0):  # one side scatters by 0.1 dB
        lower, upper = -30 + 0.1 * rng.standard_normal((2, 50000)) - np.array([[0.0], [apart]])
        assert worse_of(lower, upper, 0.1414).mean() == pytest.approx(-30, abs=0.03)
    lower, upper = -30 + 0.1 * rng.standard_normal((2, 50000))
    assert np.maximum(lower, upper).mean() == pytest.approx(-30 + 0.1 / np.sqrt(np.pi), abs=0.003)  # what is avoided

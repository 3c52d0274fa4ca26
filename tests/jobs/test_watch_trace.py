"""Traces of a watch while it listens, and how a watch drifts: averages of what was heard, and of nothing else."""

from types import SimpleNamespace

import numpy as np
import pytest
import scipy.signal

from tepui.evidence.edge_tunings import edge_tunings
from tepui.ground.doubt import estimate
from tepui.jobs.watch_drift import MOST_SLOTS, SLOT_S, Drift
from tepui.jobs.watch_state import Moment, Side
from tepui.jobs.watch_trace import BLOCK_S, KEPT_BLOCKS, RunningTraces

RATE_HZ, CENTRE_HZ, OCCUPIED_HZ, REACH_HZ, DC_HZ = 2.4e6, 1286e6, 6.65625e6, 0.9e6, 50e3
LOWER, UPPER = edge_tunings(
    centre_hz=CENTRE_HZ, occupied_width_hz=OCCUPIED_HZ, reach_hz=REACH_HZ, dc_half_width_hz=DC_HZ
)


def running(watch):
    told = []
    traces = RunningTraces(
        watch,
        rate_hz=RATE_HZ,
        reach_hz=REACH_HZ,
        dc_half_width_hz=DC_HZ,
        centre_hz=CENTRE_HZ,
        occupied_hz=OCCUPIED_HZ,
        practice=False,
        tell=told.append,
        clock=lambda: 0.0,
    )
    return traces, told


def watch(density=None, setting=()):
    found = None if density is None else SimpleNamespace(shape=SimpleNamespace(reference_density=density))
    return SimpleNamespace(found=found, setting=setting)


def noise(seed, power=1e-2):
    rng = np.random.default_rng(seed)
    n = round(BLOCK_S * RATE_HZ)
    made = rng.standard_normal(n) + 1j * rng.standard_normal(n)
    return (made * np.sqrt(power / 2)).astype(np.complex64)


# scipy.signal.welch over the same block: same window, half overlap, density.
def test_tool_a_block_is_welchs_spectrum_over_the_zero():
    traces, told = running(watch(density=2.5e-9))
    block = noise(1)
    traces.hear(LOWER, LOWER.frequency_hz, block)
    (part,) = told[0].parts
    frequency, density = scipy.signal.welch(
        block, RATE_HZ, window="hann", nperseg=traces.n_fft, detrend=False, return_onesided=False
    )
    order = np.argsort(frequency)
    offset = frequency[order] + LOWER.frequency_hz - CENTRE_HZ
    shown = np.abs(frequency[order]) <= REACH_HZ
    expected = 10 * np.log10(density[order][shown] / 2.5e-9)
    seen = np.isfinite(part.level_db)
    assert part.level_db[seen] == pytest.approx(expected[seen], abs=0.01)
    assert part.offset_hz == pytest.approx(offset[shown][0])
    assert (told[0].fresh, told[0].number, told[0].zeroed) == ("lower", 1, True)


def test_law_the_line_at_zero_and_the_ends_are_not_told():
    traces, told = running(watch(density=1e-9))
    traces.hear(UPPER, UPPER.frequency_hz, noise(2))
    (part,) = told[0].parts
    away = part.offset_hz + part.bin_hz * np.arange(len(part.level_db)) - (UPPER.frequency_hz - CENTRE_HZ)
    assert np.abs(away).max() <= REACH_HZ
    assert np.array_equal(np.isnan(part.level_db), np.abs(away) <= DC_HZ)


def test_law_the_average_slides_and_forgets_another_gain():
    one = watch(density=1e-9)
    traces, told = running(one)
    for seed in range(KEPT_BLOCKS + 3):
        traces.hear(LOWER, LOWER.frequency_hz, noise(seed, power=1.0 if seed < 3 else 1e-2))
    flat = 10 * np.log10(1e-2 / RATE_HZ / 1e-9)  # the three loud blocks have slid out
    last = told[-1].parts[0]
    assert np.nanmean(last.level_db) == pytest.approx(flat, abs=0.1)
    assert last.averages == pytest.approx(KEPT_BLOCKS * told[0].parts[0].averages)
    traces.hear(UPPER, UPPER.frequency_hz, noise(50))
    assert [part.side for part in told[-1].parts] == ["lower", "upper"]
    one.setting = (("IF", 3.0),)
    traces.hear(UPPER, UPPER.frequency_hz, noise(51))
    assert [part.side for part in told[-1].parts] == ["upper"]


def test_limit_before_a_reading_the_signal_beside_the_edge_is_zero():
    traces, told = running(watch())
    t = np.arange(round(BLOCK_S * RATE_HZ)) / RATE_HZ
    into = -OCCUPIED_HZ / 2 + 200e3 - (LOWER.frequency_hz - CENTRE_HZ)
    spread = scipy.signal.firwin(301, 150e3, fs=RATE_HZ) * np.exp(2j * np.pi * into * np.arange(301) / RATE_HZ)
    block = np.convolve(noise(3), spread, mode="same") + 1e-6 * np.exp(2j * np.pi * 1e3 * t)
    traces.hear(LOWER, LOWER.frequency_hz, block.astype(np.complex64))
    assert not told[0].zeroed
    assert 0 < np.nanmax(told[0].parts[0].level_db) < 6  # over the mean of the 580 kHz beside the edge
    assert np.nanmin(told[0].parts[0].level_db) < -30


def moment(time_s, value, *, bound=False, level_db=-12.0):
    side = Side(shown=estimate(value, scatter=0.2), received=None if bound else estimate(value, scatter=0.2))
    return Moment(time_s=time_s, lower=side, upper=side, level_db=level_db)


def test_law_every_reading_lies_within_its_slot_however_many():
    drift, rng = Drift(), np.random.default_rng(4)
    given = [(n * SLOT_S / 3, -30 + rng.normal()) for n in range(8 * MOST_SLOTS)]
    for time_s, value in given:
        drift.add(moment(time_s, value), centre_hz=CENTRE_HZ + value)
    slots = drift.slots
    assert len(slots) <= MOST_SLOTS
    length = slots[1].time_s - slots[0].time_s
    for time_s, value in given:
        slot = slots[int(time_s // length)]
        assert slot.lower[0] <= value - 0.39
        assert slot.lower[1] >= value + 0.39
        assert slot.centre_hz[0] <= CENTRE_HZ + value <= slot.centre_hz[1]


def test_law_a_slot_in_which_the_floor_hid_a_shoulder_is_open_below():
    drift = Drift()
    drift.add(moment(1.0, -40.0), centre_hz=0.0)
    assert drift.slots[0].lower[0] == pytest.approx(-40.4, abs=0.01)
    drift.add(moment(2.0, -38.0, bound=True), centre_hz=0.0)
    assert drift.slots[0].lower[0] is None
    assert drift.slots[0].lower[1] == pytest.approx(-37.6, abs=0.01)

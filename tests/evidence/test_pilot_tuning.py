"""The receiver's frequency from continual pilots in narrow slices."""

from dataclasses import replace
from fractions import Fraction

import pytest
from sweep_signals import cut_sweep, truth

from tepui.evidence.pilot_tuning import tuning_error
from tepui.practice.air import loop_waveform, send_loop
from tepui.practice.listening import Listener, ReceiverSetting
from tepui.practice.tuner import NARROW_8_BIT
from tepui.signals.dvbt.mode import Mode

CENTRE_HZ = 1286e6


# data/sweeps: the truth file's crystal error of 20 ppm at 1275 MHz; what recordings 17 ms long tell of it.
@pytest.mark.parametrize("off_hz", [0.0, 41e3])
def test_tool_crystal_of_the_cut_sweeps(off_hz):
    known = truth()
    centre_hz = known["channel_centre_hz"]
    found = tuning_error(
        cut_sweep("hot_att6"),
        centre_hz=centre_hz + off_hz,  # told wrongly: the error found moves with it
        n_fft=2048,
        useful_s=known["useful_s"],
        guard_s=known["guard_s"],
    )
    expected_hz = known["sweeps"]["hot_att6"]["crystal_ppm"] * 1e-6 * centre_hz + off_hz
    assert abs(found.value - expected_hz) < 2.5 * found.std
    assert found.std < 0.1e-6 * centre_hz


@pytest.mark.parametrize("crystal_ppm", [-17.0, 0.4])
def test_law_practice_receiver_in_8k(crystal_ppm):
    mode = Mode(width_hz=7e6, n_fft=8192, guard=Fraction(1, 16), constellation="QPSK", code_rate=Fraction(3, 4))
    wave = loop_waveform(mode, n_symbols=24, seed=3, factor=2)
    air = send_loop(wave, amplifier=lambda x: x, drive_w=1.0, centre_hz=CENTRE_HZ)
    listener = Listener(replace(NARROW_8_BIT, crystal_ppm=crystal_ppm), air, level_dbm=-45.0, seed=5)
    recordings = [
        listener.record(
            ReceiverSetting(tuned_hz=CENTRE_HZ + at, frontend_gain_db=24.0, if_gain_db=14.0),
            duration_s=0.024,
            name=f"at {at}",
        )
        for at in (-1.1e6, 0.9e6)
    ]
    found = tuning_error(recordings, centre_hz=CENTRE_HZ, n_fft=8192, useful_s=mode.useful_s, guard_s=mode.guard_s)
    assert found.value == pytest.approx(crystal_ppm * 1e-6 * CENTRE_HZ, abs=max(2.5 * found.std, 20))
    assert found.std < 0.1e-6 * CENTRE_HZ


def test_limit_slices_beside_the_channel_tell_nothing():
    known = truth()
    beside = [one for one in cut_sweep("hot") if abs(one.centre_hz - known["channel_centre_hz"]) > 4e6]
    assert (
        tuning_error(beside, centre_hz=1275e6, n_fft=2048, useful_s=known["useful_s"], guard_s=known["guard_s"]) is None
    )

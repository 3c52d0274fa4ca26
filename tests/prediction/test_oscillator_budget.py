"""The 3 cm scenario's budget and the far receiver, figure by figure."""

from fractions import Fraction
from pathlib import Path

import pytest

from tepui.chain.conversion.phase_noise import PhaseNoiseProfile
from tepui.ground.errors import RangeError
from tepui.prediction.far_receiver import FarReceiver, far_tuning
from tepui.prediction.oscillator import (
    distortion_ceiling_db,
    joined_mer_db,
    phase_noise_by_size,
    rest_mer_db,
    wrong_reference_hz,
)
from tepui.signals.dvbt.mode import Mode
from tepui.station.assemble import assemble
from tepui.station.read import read_station

MODE = Mode(width_hz=6e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(3, 4))
CONSUMER = {"tunes": ((174e6, 230e6), (470e6, 862e6)), "raster_hz": 8e6}


# Scenario: phase noise 22.1 (8K and 2K), distortion 31.0, transmitter 21.5, measuring converter 24.2. To 0.1 dB.
def test_published_scenario_budget():
    profile = PhaseNoiseProfile(offset_hz=(1e3, 200e3), level_dbc_hz=(-93, -93))
    by_size = {one.n_fft: one for one in phase_noise_by_size(profile, mode=MODE, multiplied=4)}
    assert by_size[8192].effect.mer_ceiling_db == pytest.approx(22.1, abs=0.05)
    assert by_size[2048].effect.mer_ceiling_db - by_size[8192].effect.mer_ceiling_db < 0.1
    distortion = distortion_ceiling_db(-33, signal_width_hz=MODE.occupied_width_hz)
    assert distortion == pytest.approx(31.0, abs=0.1)
    total = joined_mer_db(by_size[8192].effect.mer_ceiling_db, distortion, 38)
    assert total == pytest.approx(21.5, abs=0.1)
    assert rest_mer_db(19.6, total) == pytest.approx(24.2, abs=0.1)


# The same figure where the budget of levels takes it from the points in the station file.
def test_published_phase_noise_reaches_the_chain():
    text = (Path(__file__).parent.parent / "data" / "stations" / "s4.toml").read_text(encoding="utf-8")
    links = assemble(read_station(text, file="s4.toml")).links
    assert links[1].mer_terms["phase noise"].value == pytest.approx(22.1, abs=0.05)


# The 23 cm scenario: a shoulder of -32 dB at 7 MHz leaves about 30.1 dB.
def test_published_ceiling_of_the_23_cm_scenario():
    assert distortion_ceiling_db(-32, signal_width_hz=6.65625e6) == pytest.approx(30.1, abs=0.1)


def test_limit_nothing_is_left_of_a_whole_that_its_part_exceeds():
    assert rest_mer_db(22.0, 21.0) is None


# Scenario: 443 MHz is in the gap; +-146 kHz is beyond +-125 kHz; 474 MHz is the next channel, 10224 MHz on the air.
def test_published_scenario_far_receiver():
    far = FarReceiver(**CONSUMER, converter_hz=9750e6, converter_ppm=15, pull_in_hz=125e3)
    found = far_tuning(far, wanted_hz=10193e6, width_hz=6e6, transmit_error_hz=4788)
    assert found.if_hz == 443e6
    assert not found.inside
    assert not found.pulled_in
    assert found.error_hz - 4788 == pytest.approx(146.25e3)
    assert 10193e6 + found.move_hz == 10224e6


@pytest.mark.parametrize(("wanted", "inside", "off"), [(474e6, True, 0.0), (475e6, True, -1e6), (466e6, False, None)])
def test_limit_raster_and_edges(wanted, inside, off):
    found = far_tuning(FarReceiver(**CONSUMER), wanted_hz=wanted, width_hz=8e6, transmit_error_hz=0)
    assert (found.inside, found.off_hz) == (inside, off)


def test_limit_an_oscillator_above_mirrors():
    far = FarReceiver(tunes=((470e6, 862e6),), converter_hz=10.9e9)
    found = far_tuning(far, wanted_hz=10.4e9, width_hz=8e6, transmit_error_hz=0)
    assert (found.if_hz, found.inverted, found.inside) == (500e6, True, True)


# By hand: settings for 10 MHz on a 25 MHz reference make 2.5 times the frequency.
def test_limit_a_wrong_reference_scales():
    made = wrong_reference_hz(Fraction(1_488_000_000), true_hz=Fraction(25_000_000), entered_hz=Fraction(10_000_000))
    assert made == 3_720_000_000


def test_ranges_narrower_than_the_channel_are_refused():
    with pytest.raises(RangeError, match=r"None of the far receiver's ranges is as wide as the channel"):
        far_tuning(FarReceiver(tunes=((470e6, 474e6),)), wanted_hz=472e6, width_hz=8e6, transmit_error_hz=0)

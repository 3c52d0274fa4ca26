"""The further findings of a reception: what each says, when it says nothing, and against the truth of recordings."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from axes_signals import impaired_recording
from captures import ECHO, NAMES, recording_path
from signals_made import made_recording
from tepui.files.recordings import open_recording
from tepui.ground.findings import finding_named
from tepui.jobs.receive import receive_recording
from tepui.signals.dvbt.mode import Mode

KEYS = (
    "snr_prefix_db", "phase_error_rms_deg", "iq_gain_imbalance_db", "iq_quadrature_error_deg",
    "carrier_suppression_db", "pilot_boost_db", "margin_db", "error_free_seconds", "error_free_share",
)  # fmt: skip
MODE = Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 8), constellation="16QAM", code_rate=Fraction(2, 3))


def findings(recording):
    return receive_recording(recording).findings


# [EN300744] 4.5.5: pilots 4/3 of the data cells' amplitude, 2.499 dB; an independent modulator made the recordings.
@pytest.mark.parametrize("name", NAMES)
def test_published_recordings_have_ideal_axes_pilots_and_phase(name, nomenclature):
    found = findings(open_recording(recording_path(name)))
    for key in KEYS:
        assert finding_named(found, key).unit == nomenclature[key]
    boost = finding_named(found, "pilot_boost_db")
    assert boost.value == pytest.approx(20 * np.log10(4 / 3), abs=1.5 * (boost.high - boost.value))
    for key in ("iq_gain_imbalance_db", "iq_quadrature_error_deg"):
        axis = finding_named(found, key)
        assert abs(axis.value) <= 1.5 * (axis.high - axis.value)
    assert finding_named(found, "carrier_suppression_db").standing == "at_least"
    assert finding_named(found, "phase_error_rms_deg").standing == "at_most"
    assert finding_named(found, "error_free_share").value == 1.0
    assert finding_named(found, "error_free_seconds").standing == "unknown"
    assert finding_named(found, "margin_db").low > 0


# C/N of the truth files less the table's V1.6.1 requirement.
@pytest.mark.parametrize(
    ("name", "cn_less_required_db"),
    [
        ("a3_7MHz_2K_64QAM78_GI32_cn30", 30.0 - 20.2),
        ("a6_8MHz_2K_16QAM34_GI16_low_cn", 12.9 - 12.6),
        ("a7_8MHz_2K_16QAM12_GI4_10MSps", 26.0 - 9.3),
    ],
)
def test_published_recordings_have_their_margin(name, cn_less_required_db):
    margin = finding_named(findings(open_recording(recording_path(name))), "margin_db")
    assert margin.low <= cn_less_required_db <= margin.high
    assert "V1.6.1" in margin.source
    assert "less" in margin.remark


def test_law_an_echo_costs_margin_by_capacity_and_the_remark_says_so():
    margin = finding_named(findings(open_recording(recording_path(ECHO))), "margin_db")
    assert "uneven" in margin.remark
    assert 22.0 - 11.4 - 3.0 < margin.value < 22.0 - 11.4  # two paths, the second 8 dB down, at C/N 22 dB
    assert {part.name for part in margin.contributions} >= {"mer", "table", "capacity"}


def test_law_remarks_tell_whether_the_receiver_is_told_apart():
    near, _ = impaired_recording(MODE, symbols=100, cn_db=25.0, seed=1)
    far, _ = impaired_recording(MODE, symbols=100, cn_db=25.0, offset_hz=1.3 * MODE.carrier_spacing_hz, seed=1)
    for key in ("iq_gain_imbalance_db", "iq_quadrature_error_deg", "carrier_suppression_db"):
        assert "Transmitter and receiver together" in finding_named(findings(near), key).remark
        assert "Of the transmitter" in finding_named(findings(far), key).remark


def test_law_the_range_of_the_phase_is_told():
    recording, _ = impaired_recording(MODE, symbols=120, cn_db=28.0, phase_rms_deg=1.5, seed=2)
    phase = finding_named(findings(recording), "phase_error_rms_deg")
    assert phase.standing == "measured"
    assert "1.98e+03 Hz (half the symbol rate)" in phase.remark
    assert "33 Hz" in phase.remark  # one over 119 symbols of 252 us


def test_law_a_signal_that_does_not_decode_tells_no_axes_and_at_most_a_margin():
    recording, _ = made_recording(MODE, symbols=160, rate_hz=MODE.sample_rate_hz, cn_db=7.0)
    found = findings(recording)
    for key in ("iq_gain_imbalance_db", "carrier_suppression_db", "pilot_boost_db"):
        assert finding_named(found, key).standing == "unknown"
        assert "must be known" in finding_named(found, key).remark
    margin = finding_named(found, "margin_db")
    assert margin.standing == "at_most"
    assert margin.value < 0
    assert finding_named(found, "error_free_share").value < 0.1
    prefix = finding_named(found, "snr_prefix_db")
    assert prefix.low <= 7.0 <= prefix.high  # needs no decoding


def test_law_hierarchy_has_no_published_requirement():
    mode = replace(MODE, alpha=2, code_rate_lp=Fraction(1, 2))
    recording, _ = made_recording(mode, symbols=100, rate_hz=mode.sample_rate_hz, cn_db=25.0)
    margin = finding_named(findings(recording), "margin_db")
    assert margin.standing == "unknown"
    assert "hierarchical" in margin.remark


def test_law_echoes_over_the_whole_guard_leave_no_prefix():
    recording, _ = impaired_recording(MODE, symbols=100, cn_db=30.0, echoes=[(0.95 * MODE.guard_s, -2.0, 1.0)], seed=6)
    prefix = finding_named(findings(recording), "snr_prefix_db")
    assert prefix.standing == "unknown"
    assert "Echoes" in prefix.remark


def test_law_a_signal_without_noise_is_told_by_a_bound():
    recording, _ = impaired_recording(MODE, symbols=80, cn_db=None, seed=5)
    prefix = finding_named(findings(recording), "snr_prefix_db")
    assert (prefix.standing, prefix.value) == ("at_least", 100.0)

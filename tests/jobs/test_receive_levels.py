"""MER and error rates against theory, over the range of signal to noise a builder meets."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.special import erfc

from signals_made import made_recording
from tepui.ground.findings import finding_named
from tepui.jobs.receive import receive_recording
from tepui.signals.dvbt.mode import Mode

PILOT_TERM_DB = 0.335  # notes on [EN300744] 4.5: all carriers together stand so far above the data cells (2K: 1.0803)


def mode_for(cn_db: float) -> Mode:
    constellation, rate = (
        ("QPSK", Fraction(1, 2))
        if cn_db < 12
        else ("16QAM", Fraction(1, 2))
        if cn_db < 20
        else ("64QAM", Fraction(2, 3))
    )
    return Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 16), constellation=constellation, code_rate=rate)


@pytest.mark.parametrize("cn_db", [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0])
def test_law_mer_is_the_set_ratio_less_the_pilot_term(cn_db):
    recording, _ = made_recording(
        mode_for(cn_db), symbols=300, rate_hz=10e6, cn_db=cn_db, clock_ppm=3.0, offset_hz=777.0
    )
    mer = finding_named(receive_recording(recording).findings, "mer_db")
    assert mer.standing == "measured"
    assert mer.value == pytest.approx(cn_db - PILOT_TERM_DB, abs=0.1)


def test_law_a_clean_signal_reads_above_60_db():
    for rate_hz, clock_ppm in ((64e6 / 7, 0.0), (10e6, 7.0)):
        recording, _ = made_recording(mode_for(30.0), symbols=150, rate_hz=rate_hz, cn_db=100.0, clock_ppm=clock_ppm)
        assert finding_named(receive_recording(recording).findings, "mer_db").value > 60


# J. G. Proakis, Digital Communications, 4th ed., 5.2-79: Gray QAM on each axis, nearest neighbours on both sides.
def _theory(constellation: str, snr: float) -> float:
    def tail(x):
        return 0.5 * erfc(x / np.sqrt(2))

    if constellation == "QPSK":
        return tail(np.sqrt(snr))
    d = np.sqrt(snr / 5)  # 16QAM: levels at 1 and 3 times d, in units of the noise of one axis
    sign = 0.5 * (tail(d) + tail(3 * d))
    inner = 0.5 * (2 * tail(d) + tail(3 * d) - tail(5 * d))
    return 0.5 * (sign + inner)


@pytest.mark.parametrize(("constellation", "cn_db"), [("QPSK", 5.0), ("QPSK", 7.0), ("16QAM", 11.5), ("16QAM", 13.0)])
def test_law_error_rate_before_viterbi_is_theory(constellation, cn_db):
    mode = Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 16), constellation=constellation, code_rate=Fraction(1, 2))
    recording, _ = made_recording(mode, symbols=300, rate_hz=mode.sample_rate_hz, cn_db=cn_db, seed=3)
    outcome = receive_recording(recording)
    rate = finding_named(outcome.findings, "ber_before_viterbi")
    snr = 10 ** (finding_named(outcome.findings, "mer_db").value / 10)
    assert rate.low <= _theory(constellation, snr) <= rate.high
    assert snr == pytest.approx(10 ** ((cn_db - PILOT_TERM_DB) / 10), rel=0.02)

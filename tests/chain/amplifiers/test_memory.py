"""An amplifier with memory: its closed form against the modulated waveform sample by sample, and its limits."""

from fractions import Fraction

import numpy as np
import pytest

from tepui.chain.amplifiers.drive_curve import mer_of, shoulder_of
from tepui.chain.amplifiers.memory import memory_curve, memory_polynomial
from tepui.ground.errors import RangeError
from tepui.prediction.drive_simulation import FACTOR, _sides_db, modulated
from tepui.prediction.waveform_density import terms_of_mode, view_of_mode
from tepui.signals.dvbt.mode import Mode

MODE = Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3))
SAMPLE_S = 1 / (FACTOR * MODE.sample_rate_hz)

# L. Ding et al., IEEE Trans. Communications 52 (2004), a class AB amplifier; the sign of the real part of c30 differs
# between transcriptions, so that both are tried.
DING = {
    1: (1.0513 + 0.0904j, -0.0680 - 0.0023j, 0.0289 - 0.0054j),
    3: (-0.0542 - 0.2900j, 0.2234 + 0.2317j, -0.0621 - 0.0932j),
    5: (-0.9657 - 0.7028j, -0.2451 - 0.3735j, 0.1229 + 0.1508j),
}


def ding(*, sign=1.0, delay_s=2 * SAMPLE_S):
    rows = [(q * delay_s, order, value) for order, row in DING.items() for q, value in enumerate(row)]
    rows[3] = (rows[3][0], 3, sign * rows[3][2].real + 1j * rows[3][2].imag)
    return memory_polynomial(rows, reference_dbm=0.0, reach_dbm=-4.4)


def curve_of(amplifier, drive_db):
    return memory_curve(
        amplifier,
        [10 ** (drive_db / 10)],
        terms=terms_of_mode(MODE),
        view=view_of_mode(MODE),
        occupied_width_hz=MODE.occupied_width_hz,
    )


@pytest.fixture(scope="module")
def waveform():
    return modulated(MODE, seed=1)


def equalised_mer_db(sent, came):
    """As a receiver reads it: every carrier by its own gain, mean of all symbols."""
    first, n, half = FACTOR * MODE.n_guard, FACTOR * MODE.n_fft, (MODE.n_carriers - 1) // 2
    carriers = np.arange(-half, half + 1)
    one, other = (np.fft.fft(x.reshape(-1, first + n)[:, first:], axis=1)[:, carriers] for x in (sent, came))
    gain = (np.conj(one) * other).sum(axis=0) / (np.abs(one) ** 2).sum(axis=0)
    error = other / gain - one
    lost = len(one) / (len(one) - 1)  # a gain is fitted to each carrier
    cell = view_of_mode(MODE).data_ratio * (np.abs(one) ** 2).mean()
    return 10 * np.log10(cell / (lost * (np.abs(error) ** 2).mean()))


# The waveform itself, sample by sample: 0.3 dB is three times the scatter of its shoulders.
@pytest.mark.parametrize(("sign", "drive_db"), [(1, -13), (-1, -15)])
def test_law_closed_form_against_the_waveform_itself(waveform, sign, drive_db):
    amplifier = ding(sign=sign)
    sent = waveform * np.sqrt(10 ** (drive_db / 10))
    came = amplifier.envelope(sent, sample_rate_hz=1 / SAMPLE_S)
    curve = curve_of(amplifier, drive_db)
    lower, upper, _ = _sides_db(came, MODE, view_of_mode(MODE))
    assert curve.lower_db[0] == pytest.approx(lower, abs=0.3)
    assert curve.upper_db[0] == pytest.approx(upper, abs=0.3)
    assert abs(lower - upper) > 1
    assert curve.mer_db[0] == pytest.approx(equalised_mer_db(sent, came), abs=0.3)
    gain_db = 10 * np.log10(np.mean(np.abs(came) ** 2) / np.mean(np.abs(sent) ** 2))
    assert 10 * np.log10(curve.gain_ratio[0]) == pytest.approx(gain_db, abs=0.05)


def test_limit_without_delay_it_is_the_memoryless_amplifier():
    amplifier = memory_polynomial([(0.0, 1, 1.0), (0.0, 3, -0.2 + 0.1j)], reference_dbm=0, reach_dbm=0)
    curve = curve_of(amplifier, -14)
    coefficients = amplifier.terms([10**-1.4])[:, :, 0]
    assert curve.lower_db == pytest.approx(curve.upper_db, abs=1e-9)
    assert curve.lower_db == pytest.approx(shoulder_of(coefficients, view_of_mode(MODE)), abs=0.01)
    assert curve.mer_db == pytest.approx(mer_of(coefficients, view_of_mode(MODE)), abs=0.02)


# Conjugating every coefficient mirrors the spectrum: y(x*)* has them.
def test_law_conjugate_coefficients_swap_the_shoulders():
    mirrored = memory_polynomial(
        [(q * 2 * SAMPLE_S, order, np.conj(value)) for order, row in DING.items() for q, value in enumerate(row)],
        reference_dbm=0, reach_dbm=-4.4,
    )  # fmt: skip
    one, other = curve_of(ding(), -14), curve_of(mirrored, -14)
    assert other.lower_db == pytest.approx(one.upper_db, abs=1e-6)
    assert other.upper_db == pytest.approx(one.lower_db, abs=1e-6)


@pytest.mark.parametrize(("rows", "sentence"), [
    ([(0.0, 2, 1.0)], "the order of a coefficient is odd, from 1 to 11, not 2"),
    ([(0.0, 1, 1.0), (0.0, 1, 2.0)], "delay 0 ns and order 1 stand twice"),
    ([(0.0, 3, 1.0)], "needs coefficients of order 1"),
    ([], "needs coefficients of order 1"),
    ([(1.0, 1, 1.0)], "delay of a memory polynomial must lie between 0 and 10000 ns"),
])  # fmt: skip
def test_refusals(rows, sentence):
    with pytest.raises(RangeError, match=sentence):
        memory_polynomial(rows, reference_dbm=0, reach_dbm=0)

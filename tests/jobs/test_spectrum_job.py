"""What ``spectrum`` states of one recording: truth from the makers of recordings, and limits solved by hand."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from captures import recording_path, truth
from signals_made import made_recording
from tepui.files.recordings import open_recording
from tepui.ground.errors import ChoiceError, FormatError, RangeError
from tepui.jobs.spectrum import measure_spectrum
from tepui.signals.dvbt.carriers import pilot_carriers, pilot_values
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Stretch, recording_from_samples

DRIVE = "a4_drive_7MHz_2K_64QAM23_GI8_{}"
NARROW = "a1_7MHz_8K_QPSK34_GI16_clean_cut"
MODE = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="QPSK", code_rate=Fraction(1, 2))
RATE_HZ = 16e6
CN_DB = 25.0
OFFSET_HZ = 12345.6
LINE_HZ, LINE_DB = 4.9e6, -45.0
FILLING = int(12 * MODE.symbol_s * RATE_HZ)  # until the outer interleaver has sent its zeros
KEYS = {
    *(f"shoulder_{side}{kind}_db" for side in ("lower", "upper", "worst") for kind in ("", "_shown")),
    *("occupied_width_99_hz", "crest_0_01pct_db", "band_ripple_db", "band_tilt_db", "floor_db", "mask_margin_db"),
}


def stated(recording, **options):
    outcome = measure_spectrum(recording, **options)
    return {finding.key: finding for finding in outcome.findings}, {table.name: table for table in outcome.tables}


@pytest.fixture(scope="module")
def made():
    whole, _ = made_recording(
        MODE, symbols=132, rate_hz=RATE_HZ, cn_db=CN_DB, offset_hz=OFFSET_HZ, lines=[(LINE_HZ, LINE_DB)], seed=3
    )
    return whole.part(FILLING, whole.n_samples - FILLING)


@pytest.fixture(scope="module")
def of_made(made):
    return stated(made)


# Truth: the recordings' maker read its amplifier's output without noise, and the file, by its own procedure
# ([TR101290] 9.7; data/captures/a4_drive.md). The tolerances are those asked of this program.
@pytest.mark.parametrize("step", [1, 6])
def test_tool_shoulders_of_the_drive_series(step):
    name = DRIVE.format(step)
    found, _ = stated(open_recording(recording_path(name)))
    told = truth(name)
    true, in_file = (told[part]["outermost_carrier"] for part in ("shoulders_true", "shoulders_in_this_file"))
    for side in ("lower", "upper"):
        corrected, shown = found[f"shoulder_{side}_db"], found[f"shoulder_{side}_shown_db"]
        assert shown.value == pytest.approx(-in_file[side]["tr101290_db"], abs=0.3)
        assert corrected.value == pytest.approx(-true[side]["tr101290_db"], abs=0.4)
        assert corrected.low <= -true[side]["tr101290_db"] <= corrected.high
    worst = found["shoulder_worst_db"]
    assert worst.value == pytest.approx(-true["tr101290_worst_db"], abs=0.4)
    assert worst.low <= -true["tr101290_worst_db"] <= worst.high
    assert found["frequency_offset_hz"].value == pytest.approx(told["impairments"]["carrier_offset_hz"], abs=0.1)
    assert "39.1 kHz" in found["shoulder_worst_shown_db"].remark
    assert "hann" in found["shoulder_worst_shown_db"].remark


def test_law_a_recording_too_narrow_for_shoulders_says_so_and_tells_the_rest():
    found, _ = stated(open_recording(recording_path(NARROW)))
    assert set(found) >= KEYS
    for key in (key for key in KEYS if key.startswith("shoulder")):
        assert found[key].standing == "unknown"
        assert "700 kHz" in found[key].remark
        assert "record at least" in found[key].remark
    assert found["occupied_width_99_hz"].standing == "measured"
    assert found["crest_0_01pct_db"].value == pytest.approx(9.64, abs=0.1)  # Gaussian: -ln 1e-4 = 9.64 dB
    # The file is without noise, and its rounding repeats with the guard interval: only a bound can be given.
    assert found["floor_db"].standing == "at_most"
    assert found["floor_db"].value < -70


def test_law_the_place_is_where_the_signal_was_put(of_made):
    found, _ = of_made
    assert found["channel_width_hz"].value == 7e6
    assert found["fft_size"].value == 2048
    assert found["guard_fraction"].value == "1/8"
    centre = found["centre_frequency_hz"]
    assert centre.low <= 1e9 + OFFSET_HZ <= centre.high
    assert centre.high - centre.low < 2


def test_limit_the_floor_is_the_noise_put_in(of_made):
    # noise over signal and noise, both per hertz in the occupied width
    expected = -10 * np.log10(10 ** (CN_DB / 10) + 1)
    found = of_made[0]["floor_db"]
    assert found.low <= expected <= found.high
    assert found.high - found.low < 0.6


def test_limit_a_flat_band_is_occupied_for_99_hundredths(of_made):
    width = of_made[0]["occupied_width_99_hz"]
    # K carriers of 1/T_U each, half a per cent cut off on each side; the side lobes of 2K widen it a little
    flat = 0.99 * 1705 / MODE.useful_s
    assert flat < width.value < 1.01 * flat
    assert of_made[0]["band_ripple_db"].low >= 0
    assert of_made[0]["band_tilt_db"].low <= 0 <= of_made[0]["band_tilt_db"].high


def test_law_a_line_is_found_where_and_as_strong_as_it_is(of_made):
    rows = of_made[1]["lines"].rows
    assert len(rows) == 1
    offset_hz, level_dbc, doubt_db = rows[0]
    assert offset_hz == pytest.approx(LINE_HZ, abs=100)
    # put in relative to the signal's power; the power in its channel holds the noise there as well
    expected = LINE_DB - 10 * np.log10(1 + 10 ** (-CN_DB / 10))
    assert level_dbc == pytest.approx(expected, abs=doubt_db + 0.02)


def test_law_both_conventions_of_the_table_lie_apart_by_the_bandwidth(of_made):
    table = of_made[1]["spectrum"]
    assert len(table.rows) <= 2000
    _, relative, total = (np.array(column, float) for column in zip(*table.rows, strict=True))
    apart = relative - total
    # 4 kHz of the occupied width, [EN300744] 4.8.2: 32.2 dB in 7 MHz
    assert apart == pytest.approx(10 * np.log10(MODE.occupied_width_hz / 4e3), abs=0.02)
    assert apart[0] == pytest.approx(32.2, abs=0.05)


def test_law_nothing_depends_on_the_number_of_threads(made, of_made):
    assert stated(made, workers=3)[0] == of_made[0]


def test_law_lost_samples_do_not_raise_the_floor(made, of_made):
    samples = made.read(0, made.n_samples)
    torn = np.concatenate([samples[:200_000], samples[201_111:]])
    found, _ = stated(recording_from_samples("torn", torn, sample_rate_hz=RATE_HZ, frequency_hz=1e9))
    assert found["floor_db"].value == pytest.approx(of_made[0]["floor_db"].value, abs=0.5)


def test_law_silence_before_the_signal_is_not_measured(made, of_made):
    rng = np.random.default_rng(4)
    quiet = 1e-4 * (rng.normal(size=(800_000, 2)) @ [1, 1j])
    late = np.concatenate([quiet, made.read(0, made.n_samples)])
    found, _ = stated(recording_from_samples("late", late, sample_rate_hz=RATE_HZ, frequency_hz=1e9))
    assert found["crest_0_01pct_db"].value == pytest.approx(of_made[0]["crest_0_01pct_db"].value, abs=0.1)


def test_law_the_longest_stretch_of_one_tuning_is_measured(made, of_made):
    cut = 100_000
    stretches = (
        Stretch(start=0, count=cut, frequency_hz=1.2e9),
        Stretch(start=cut, count=made.n_samples - cut, frequency_hz=1e9),
    )
    found, _ = stated(replace(made, stretches=stretches))
    assert "longest of 2 stretches" in found["channel_width_hz"].remark
    assert found["centre_frequency_hz"].value == pytest.approx(1e9 + OFFSET_HZ, abs=1)
    assert found["floor_db"].value == pytest.approx(of_made[0]["floor_db"].value, abs=0.5)


def test_law_without_a_signal_everything_is_unknown_with_the_cure():
    noise = np.random.default_rng(5).normal(size=(500_000, 2)) @ [0.1, 0.1j]
    found, tables = stated(recording_from_samples("noise", noise, sample_rate_hz=8e6, frequency_hz=1e9))
    assert set(found) == KEYS
    assert not tables
    assert all(finding.standing == "unknown" and "--centre" in finding.remark for finding in found.values())


def test_law_a_slice_of_a_wider_channel_is_told_apart(made):
    shape = np.abs(np.fft.fftfreq(made.n_samples, 1 / RATE_HZ)) < 0.45 * RATE_HZ / 5
    filtered = np.fft.ifft(np.fft.fft(made.read(0, made.n_samples)) * shape)[::5]
    narrow = recording_from_samples("slice", filtered, sample_rate_hz=RATE_HZ / 5, frequency_hz=1e9)
    found, _ = stated(narrow)
    assert found["shoulder_worst_db"].standing == "unknown"
    assert "wider signal" in found["shoulder_worst_db"].remark


def test_limit_a_told_channel_of_noise_has_the_shoulders_it_was_given():
    rng = np.random.default_rng(6)
    n = 800_000
    frequency = np.fft.fftfreq(n, 1 / RATE_HZ)
    shape = np.where(np.abs(frequency - 5e5) <= 2.45e6, 1.0, 10 ** (-30 / 20))  # a step of 30 dB
    samples = np.fft.ifft(np.fft.fft(rng.normal(size=(n, 2)) @ [1, 1j]) * shape) * 0.05
    recording = recording_from_samples("band", samples, sample_rate_hz=RATE_HZ, frequency_hz=1e9)
    found, _ = stated(recording, width_hz=5e6, centre_hz=1e9 + 5e5)
    assert found["channel_width_hz"].standing == "given"
    assert found["centre_frequency_hz"].value == 1e9 + 5e5
    shown = found["shoulder_worst_shown_db"]
    assert shown.low <= -30 <= shown.high
    # all of what lies beside the band may be the recording's own noise: only a bound
    assert found["floor_db"].standing == "at_most"
    assert found["floor_db"].value == pytest.approx(-30, abs=0.3)


def test_law_a_named_mask_is_a_limit_and_the_usual_one_is_not(made):
    usual = stated(made)[0]["mask_margin_db"]
    assert usual.limit is None
    assert "GE06_noncritical" in usual.remark
    assert "never a law" in usual.remark
    named = stated(made, mask="EN300744_critical")[0]["mask_margin_db"]
    assert named.limit == 0
    assert named.limit_sense == "at_least"
    assert "4.8.2" in named.limit_source
    with pytest.raises(ChoiceError, match="There is no mask nonsense"):
        measure_spectrum(made, mask="nonsense")


def test_law_samples_at_full_scale_are_a_caution(made):
    loud = np.clip(np.stack([4 * made.read(0, made.n_samples).real, 4 * made.read(0, made.n_samples).imag]), -1, 1)
    recording = recording_from_samples("loud", loud[0] + 1j * loud[1], sample_rate_hz=RATE_HZ, frequency_hz=1e9)
    found, _ = stated(replace(recording, sample_type="ci16_le"))
    caution = found["full_scale_share"]
    assert caution.kind == "caution"
    assert caution.value == pytest.approx(np.mean(np.abs(loud).max(axis=0) >= 1), rel=0.5)
    assert "less gain" in caution.remark
    assert "full_scale_share" not in stated(replace(made, sample_type="ci16_le"))[0]


def test_message_what_was_told_must_lie_in_the_recording(made):
    with pytest.raises(RangeError, match="--width beside it"):
        measure_spectrum(made, centre_hz=1e9)
    with pytest.raises(RangeError, match="does not lie wholly within"):
        measure_spectrum(made, centre_hz=1.006e9, width_hz=7e6)
    untold = recording_from_samples("made", made.read(0, 100_000), sample_rate_hz=RATE_HZ)
    with pytest.raises(RangeError, match="--frequency"):
        measure_spectrum(untold, centre_hz=1e9, width_hz=7e6)


def test_message_samples_that_are_no_numbers(made):
    samples = made.read(0, made.n_samples).copy()
    samples[300_000] = np.nan
    with pytest.raises(FormatError, match="sample 300000"):
        measure_spectrum(recording_from_samples("bad", samples, sample_rate_hz=RATE_HZ, frequency_hz=1e9))


# [EN300744] 4.4: rectangular symbols, made here at four times the elementary rate from pilots and random points.
def test_law_side_lobes_of_an_unfiltered_waveform_are_named():
    rng = np.random.default_rng(4)
    n_symbols, n_fft = 140, 2048
    carriers = rng.choice([-1.0, 1.0], (n_symbols, 1705, 2)) @ [1, 1j] / np.sqrt(2)
    for symbol in range(n_symbols):
        pilots = pilot_carriers(n_fft, symbol % 4)
        carriers[symbol, pilots] = pilot_values(n_fft)[pilots]
    lines = np.zeros((n_symbols, 4 * n_fft), complex)
    lines[:, np.arange(-852, 853)] = carriers
    symbols = np.fft.ifft(lines, axis=1)
    samples = np.concatenate([symbols[:, -n_fft // 2 :], symbols], axis=1).ravel()  # guard 1/8
    made = recording_from_samples(
        "bare", samples / np.abs(samples).max(), sample_rate_hz=4 * 64e6 / 7, frequency_hz=1e9
    )
    found = {one.key: one for one in measure_spectrum(made).findings}
    caution = found["sidelobe_unfiltered_db"]
    assert caution.kind == "caution"
    assert found["shoulder_worst_db"].value == pytest.approx(caution.value, abs=1.5)
    assert "2K signal" in caution.remark

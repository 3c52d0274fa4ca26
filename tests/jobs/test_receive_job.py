"""The whole receiver on recordings whose content is known, and on signals made here whose impairments are."""

from fractions import Fraction

import numpy as np
import pytest

from captures import ECHO, NAMES, missing_and_wrong, recording_path, true_packets, truth
from signals_made import made_recording
from tepui.files.recordings import open_recording
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Outcome, finding_named
from tepui.jobs.receive import receive_recording
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import recording_from_samples


def received(recording, **options):
    packets = []
    outcome = receive_recording(recording, packet_sink=packets.append, **options)
    return outcome, np.concatenate([np.zeros((0, 188), np.uint8), *packets])


def value(outcome: Outcome, key: str):
    return finding_named(outcome.findings, key).value


# Truth files of the recordings, made by an independent modulator.
@pytest.mark.parametrize("name", NAMES)
def test_published_recordings_decode_whole(name):
    known = truth(name)
    outcome, packets = received(open_recording(recording_path(name)))
    sent = true_packets(name)
    before, after, wrong = missing_and_wrong(packets, sent)
    assert before <= 16
    assert wrong == 0
    if not name.endswith("_cut"):
        assert after <= 8
        assert value(outcome, "packets_uncorrectable") == 0
    mode = known["mode"]
    assert value(outcome, "fft_size") == mode["fft_length"]
    assert value(outcome, "guard_fraction") == mode["guard_interval"]
    assert value(outcome, "constellation") == mode["constellation"]
    assert value(outcome, "code_rate") == mode["code_rate"]
    assert value(outcome, "hierarchy") == "none"
    assert value(outcome, "cell_id") == mode["cell_id"]
    assert value(outcome, "inverted") is False
    assert value(outcome, "channel_width_hz") == mode["channel_bandwidth_mhz"] * 1e6
    assert value(outcome, "service_name") == known["service"]["service_name"]
    assert value(outcome, "net_bit_rate_bps") == pytest.approx(mode["net_bitrate_bps"], rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_published_recordings_measure_true(name):
    known = truth(name)
    outcome, _ = received(open_recording(recording_path(name)))
    offset = finding_named(outcome.findings, "frequency_offset_hz")
    true_hz = known["impairments"]["carrier_offset_hz"]
    assert offset.value == pytest.approx(true_hz, abs=0.02 * known["mode"]["carrier_spacing_hz"])
    assert offset.low <= true_hz <= offset.high
    clock = finding_named(outcome.findings, "sample_clock_ppm")
    true_ppm = known["impairments"]["sample_clock_ppm"]
    assert clock.value == pytest.approx(true_ppm, abs=0.5)
    assert clock.low - 1e-3 <= true_ppm <= clock.high + 1e-3
    mer = finding_named(outcome.findings, "mer_db")
    true_db = known["checked"]["data_aided"]["mer_db"]
    assert mer.value == pytest.approx(true_db, abs=0.3 if true_db > 15 else 0.5)
    if not name.endswith("_cut"):  # the truth of the cut one was measured on the whole
        assert mer.low <= true_db <= mer.high


def test_published_error_rate_and_echo():
    # a6: its truth counts 54959 errors in 2522016 coded bits
    outcome, _ = received(open_recording(recording_path("a6_8MHz_2K_16QAM34_GI16_low_cn")))
    rate = finding_named(outcome.findings, "ber_before_viterbi")
    assert rate.low <= 54959 / 2522016 <= rate.high
    # a2: one echo, 4.1 us, -8 dB
    outcome, _ = received(open_recording(recording_path(ECHO)))
    rows = next(table for table in outcome.tables if table.name == "echoes").rows
    assert len(rows) == 2
    assert rows[0][0] == 0.0
    assert rows[1][0] == pytest.approx(4.1e-6, abs=2e-8)
    assert rows[1][2] == pytest.approx(-8.0, abs=0.1)
    assert rows[1][3] is False


def test_law_the_number_of_threads_changes_nothing():
    recording = open_recording(recording_path(ECHO))
    one, packets_one = received(recording, workers=1)
    two, packets_two = received(recording, workers=3)
    assert np.array_equal(packets_one, packets_two)
    assert one.findings == two.findings
    assert one.tables == two.tables


QPSK = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 16), constellation="QPSK", code_rate=Fraction(3, 4))
QAM16 = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="16QAM", code_rate=Fraction(2, 3))


@pytest.mark.parametrize(
    ("case", "mode", "options"),
    [
        ("inverted", QAM16, {"inverted": True, "offset_hz": -31_234.0, "clock_ppm": -15.0}),
        ("pre-echo", QAM16, {"echoes": [(-15e-6, -4.0, 1.0), (10e-6, -9.0, 2.0)], "clock_ppm": 5.0}),
        ("echo near the end of a quarter guard", None, {"echoes": [(60e-6, -3.0, 1.0)], "clock_ppm": 2.0}),
        ("pre-echo near the end of a quarter guard", None, {"echoes": [(-60e-6, -3.0, 1.0)]}),
        ("far clock", QPSK, {"clock_ppm": 100.0, "offset_hz": 250_000.0}),
        ("strong line", QAM16, {"lines": [(1.234567e6, 0.0)]}),
    ],
)
def test_law_impairments_within_the_guard_lose_nothing(case, mode, options):
    if mode is None:
        mode = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 4), constellation="16QAM", code_rate=Fraction(1, 2))
    recording, sent = made_recording(mode, symbols=260, rate_hz=8e6, cn_db=27.0, **options)
    outcome, packets = received(recording)
    before, after, wrong = missing_and_wrong(packets, sent)
    assert (before <= 16, after <= 40, wrong) == (True, True, 0), case
    sign = -1 if options.get("inverted") else 1
    assert value(outcome, "inverted") is options.get("inverted", False)
    assert value(outcome, "frequency_offset_hz") == pytest.approx(sign * options.get("offset_hz", 0.0), abs=5.0)
    assert value(outcome, "sample_clock_ppm") == pytest.approx(options.get("clock_ppm", 0.0), abs=0.1)


@pytest.mark.parametrize(("width_hz", "rate_hz"), [(2e6, 2.3e6), (1e6, 2e6), (0.333e6, 0.5e6), (5e6, 8e6)])
def test_law_narrow_channels_are_found_by_their_width(width_hz, rate_hz):
    mode = Mode(width_hz=width_hz, n_fft=2048, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(1, 2))
    recording, sent = made_recording(mode, symbols=160, rate_hz=rate_hz, cn_db=12.0)
    outcome, packets = received(recording)
    assert value(outcome, "channel_width_hz") == width_hz
    assert missing_and_wrong(packets, sent)[2] == 0
    remark = finding_named(outcome.findings, "channel_width_hz").remark
    assert ("Outside the standard" in remark) is (width_hz < 5e6)


def test_law_a_gap_is_two_locks_with_their_times():
    recording, _ = made_recording(QAM16, symbols=420, rate_hz=8e6, cn_db=25.0)
    samples = np.array(recording.read(0, recording.n_samples))
    noise = np.random.default_rng(4).normal(size=(160_000, 2)).astype(np.float32).view(np.complex64)[:, 0]
    samples[400_000:560_000] = noise * 0.01
    outcome, _ = received(recording_from_samples("gap", samples, sample_rate_hz=8e6))
    rows = next(table for table in outcome.tables if table.name == "locks").rows
    assert len(rows) == 2
    assert rows[0][1] == pytest.approx(0.05, abs=0.001)
    assert rows[1][0] == pytest.approx(0.07, abs=0.002)


def test_law_lost_samples_end_a_run_and_begin_another():
    recording, _ = made_recording(QPSK, symbols=300, rate_hz=8e6, cn_db=25.0)
    samples = np.array(recording.read(0, recording.n_samples))
    whole = QPSK.n_symbol * 2  # lost samples that leave the symbol timing as it was
    for lost in (1000, whole):
        cut = np.concatenate([samples[:300_000], samples[300_000 + lost :]])
        outcome, _ = received(recording_from_samples("lost", cut, sample_rate_hz=8e6))
        rows = next(table for table in outcome.tables if table.name == "locks").rows
        assert len(rows) == 2, lost
        assert rows[0][1] == pytest.approx(300_000 / 8e6, abs=0.002)


def test_law_hierarchical_high_priority_is_decoded():
    mode = Mode(
        width_hz=8e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3), alpha=2,
        code_rate_lp=Fraction(1, 2),
    )  # fmt: skip
    recording, sent = made_recording(mode, symbols=160, rate_hz=mode.sample_rate_hz, cn_db=20.0)
    outcome, packets = received(recording)
    assert value(outcome, "hierarchy") == "2"
    assert missing_and_wrong(packets, sent)[2] == 0
    assert "high-priority" in finding_named(outcome.findings, "hierarchy").remark


@pytest.mark.parametrize(
    ("what", "words"),
    [("noise", "Noise without structure"), ("line", "A single line +1000.0 kHz"), ("other", "")],
)
def test_law_no_signal_is_a_result_and_never_a_mode(what, words):
    rng = np.random.default_rng(6)
    noise = rng.normal(size=(600_000, 2)).astype(np.float32).view(np.complex64)[:, 0] * np.float32(0.05)
    if what == "line":
        noise = noise * 0.02 + 0.3 * np.exp(2j * np.pi * np.arange(noise.size) / 8)
    if what == "other":  # OFDM of another kind: 2048 carriers spaced as DVB-T, a guard, but no pilots
        cells = np.zeros((250, 2048), complex)
        cells[:, 172:1877] = np.exp(0.5j * np.pi * rng.integers(0, 4, (250, 1705)))
        useful = np.fft.ifft(np.fft.ifftshift(cells, axes=1), axis=1) * 10
        noise = np.concatenate([useful[:, -256:], useful], axis=1).reshape(-1)
    outcome, packets = received(recording_from_samples(what, noise.astype(np.complex64), sample_rate_hz=8e6))
    assert [finding.key for finding in outcome.findings] == ["dvbt_found"]
    assert outcome.findings[0].value is False
    assert words in outcome.findings[0].remark
    assert len(packets) == 0


def test_message_a_rate_too_low():
    samples = np.exp(2j * np.pi * np.random.default_rng(1).random(50_000)).astype(np.complex64)
    with pytest.raises(RangeError, match=r"low has 0\.25 MS/s, too low for the narrowest channel"):
        receive_recording(recording_from_samples("low", samples, sample_rate_hz=250e3))
    with pytest.raises(RangeError, match=r"too low for the channel, 7\.61 MHz of carriers; record at 8\.37 MS/s"):
        receive_recording(recording_from_samples("low", samples, sample_rate_hz=4e6), width_hz=8e6)


def test_message_a_slice_of_a_wider_channel():
    recording, _ = made_recording(QPSK, symbols=400, rate_hz=8e6, cn_db=30.0)
    spectrum = np.fft.fft(recording.read(0, 800_000))
    kept = np.concatenate([spectrum[:100_000], spectrum[-100_000:]])  # 2 MHz about the centre
    narrow = np.fft.ifft(kept).astype(np.complex64)
    with pytest.raises(FormatError, match=r"of a wider signal; its symbols repeat after 256 us as in a 7 MHz channel"):
        receive_recording(recording_from_samples("slice", narrow, sample_rate_hz=2e6))


def test_message_a_sample_that_is_no_number():
    recording, _ = made_recording(QPSK, symbols=120, rate_hz=8e6, cn_db=30.0)
    samples = np.array(recording.read(0, recording.n_samples))
    samples[200_000] = np.nan
    with pytest.raises(FormatError, match=r"sample 200000 \(0\.025000 s\) is not a finite number"):
        receive_recording(recording_from_samples("bad", samples, sample_rate_hz=8e6))

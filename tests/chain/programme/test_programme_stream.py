"""The made stream: its rate to the packet, its timing, and what an independent demultiplexer and decoder make of it."""

import io
from fractions import Fraction

import numpy as np
import pytest

from tepui.chain.programme.budget import share_rate
from tepui.chain.programme.card import TestCard
from tepui.chain.programme.clock import PACKET_BITS, SYSTEM_CLOCK_HZ, arrival_margins_s, pcr_packets, read_pcr
from tepui.chain.programme.ident import PERIOD_S, keying, tone
from tepui.chain.programme.packets import StreamReader, pids, survey
from tepui.chain.programme.stream import make_stream
from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.dvbt.mode import Mode


def _rate(width_hz, constellation, code_rate, guard):
    mode = Mode(
        width_hz=width_hz,
        n_fft=2048,
        guard=Fraction(guard),
        constellation=constellation,
        code_rate=Fraction(code_rate),
    )
    return mode.net_bit_rate_bps


TYPICAL = _rate(7e6, "QPSK", "3/4", "1/16")
CASES = {
    "7 MHz QPSK 3/4": (TYPICAL, "H.264", 1.0),
    "8 MHz 64QAM 7/8": (_rate(8e6, "64QAM", "7/8", "1/32"), "H.264", 0.5),
    "7 MHz QPSK 3/4 MPEG-2": (TYPICAL, "MPEG-2", 0.5),
    "2 MHz QPSK 1/2": (_rate(2e6, "QPSK", "1/2", "1/4"), "H.264", 1.0),
    "0.333 MHz QPSK 1/2": (_rate(333e3, "QPSK", "1/2", "1/4"), "H.264", 3.0),
}


@pytest.fixture(scope="module", params=CASES.values(), ids=CASES.keys())
def made(request):
    rate_bps, video, duration_s = request.param
    packets = make_stream(
        service_name="Märl Bay TV", provider="Q1ABC", net_bit_rate_bps=rate_bps, duration_s=duration_s, video=video
    )
    return packets, rate_bps, video, duration_s


def test_law_as_many_packets_as_the_rate_brings(made):
    packets, rate_bps, _, duration_s = made
    assert packets.shape == (int(Fraction(duration_s) * rate_bps / 1504), 188)
    assert (packets[:, 0] == 0x47).all()


# [ISO13818-1] 2.4.2.2: the PCR is the time of the byte that ends its base, here at a constant exact rate.
def test_published_every_clock_is_its_byte_position(made):
    packets, rate_bps, *_ = made
    rows = pcr_packets(packets)
    values = read_pcr(packets[rows])
    assert len(rows) > 10
    for row, value in zip(rows.tolist(), values.tolist(), strict=True):
        exact = Fraction((row - int(rows[0])) * PACKET_BITS * SYSTEM_CLOCK_HZ) / rate_bps
        assert 0 <= exact - (value - int(values[0])) < 1


# [TR101290] 5.2.1, 5.2.2: PAT and PMT within 0.5 s, PCR within 100 ms; SDT within 2 s (5.2.3).
def test_published_intervals_are_kept(made):
    packets, rate_bps, *_ = made
    seen = survey(packets)
    packet_s = float(PACKET_BITS / rate_bps)
    assert seen.clock_interval_max_s < 0.1
    for pid, longest_s in ((0x0000, 0.5), (0x1000, 0.5), (0x0011, 2.0)):
        places = np.flatnonzero(pids(packets) == pid)
        gaps = np.diff(np.concatenate([[0], places, [len(packets)]]))
        assert gaps.max() * packet_s < longest_s


def test_law_names_counters_and_rate(made):
    packets, rate_bps, video, _ = made
    seen = survey(packets)
    assert (seen.service.name, seen.service.provider) == ("Märl Bay TV", "Q1ABC")
    assert seen.continuity_errors == {}
    assert seen.crc_errors == 0
    assert seen.clock_rate_bps == pytest.approx(float(rate_bps), rel=1e-6)
    assert [one.codec for one in seen.programmes[1].streams] == [
        f"{video} video".replace("H.264 video", "H.264"),
        "MPEG-1 audio",
    ]


def test_law_frames_arrive_before_their_time_and_not_a_second_before(made):
    packets, rate_bps, *_ = made
    for pid in (0x100, 0x101):
        margins_s = arrival_margins_s(packets, pid=pid, net_bit_rate_bps=rate_bps)
        assert (margins_s > 0).all()
        assert (margins_s < 1.0).all()  # [TR101290] 3.10


# libavformat and libavcodec through PyAV: an independent demultiplexer and independent decoders.
def test_tool_an_independent_decoder_plays_it_without_an_error(made):
    import av

    packets, _, video, duration_s = made
    with av.open(io.BytesIO(packets.tobytes()), format="mpegts") as container:
        codecs = {stream.type: stream.codec_context.name for stream in container.streams}
        frames = {"video": [], "audio": []}
        for frame in container.decode():
            frames["video" if isinstance(frame, av.VideoFrame) else "audio"].append(frame)
    assert codecs["video"] == {"H.264": "h264", "MPEG-2": "mpeg2video"}[video]
    assert codecs["audio"].startswith("mp")
    assert not any(frame.is_corrupt for frame in frames["video"])
    assert 25 * (duration_s - 0.4) <= len(frames["video"]) <= 25 * duration_s + 1  # 0.4 s: the coder's buffer
    times = [frame.time for frame in frames["video"]]
    assert np.diff(times) == pytest.approx(0.04, abs=1e-4)
    sound_s = sum(frame.samples for frame in frames["audio"]) / 48_000
    assert duration_s - 0.6 < sound_s < duration_s + 0.5  # sound travels several frames to a packet


def test_tool_the_decoded_picture_is_the_card():
    import av

    card = TestCard(call="Q1ABC", title="Marl Bay", size=(352, 288))
    packets = make_stream(service_name="Marl Bay", provider="Q1ABC", net_bit_rate_bps=TYPICAL, duration_s=0.5)
    with av.open(io.BytesIO(packets.tobytes()), format="mpegts") as container:
        frames = [frame.to_ndarray(format="rgb24").astype(float) for frame in container.decode(video=0)]
    for number, frame in enumerate(frames):
        error = np.sqrt(np.mean((frame - card.picture(number)) ** 2))
        assert error < 12.0  # 26 dB below full scale and better: the same picture, coded with loss


def test_tool_the_decoded_tone_is_the_ident():
    import av

    packets = make_stream(service_name="Marl Bay", provider="Q1ABC", net_bit_rate_bps=TYPICAL, duration_s=1.0)
    with av.open(io.BytesIO(packets.tobytes()), format="mpegts") as container:
        heard = np.concatenate([frame.to_ndarray()[0] for frame in container.decode(audio=0)]).astype(float)
    heard /= 32768 if np.abs(heard).max() > 1 else 1
    sent = tone(call="Q1ABC", start=0, count=len(heard), rate_hz=48_000).astype(float)
    size = 1 << 17
    match = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(sent, size)))
    assert match.max() / (np.linalg.norm(heard) * np.linalg.norm(sent)) > 0.95


def test_law_the_same_input_gives_the_same_bytes():
    arguments = {"service_name": "Marl Bay", "provider": "Q1ABC", "net_bit_rate_bps": TYPICAL, "duration_s": 0.3}
    assert np.array_equal(make_stream(**arguments), make_stream(**arguments))


def test_limit_a_rate_without_room_for_a_picture_is_refused():
    with pytest.raises(RangeError, match=r"at least \d+ kbit/s for a picture with sound .*, not 90 kbit/s; choose"):
        make_stream(service_name="S", provider="Q1ABC", net_bit_rate_bps=Fraction(90_000), duration_s=1.0)


def test_limit_a_programme_that_does_not_fit_is_refused():
    with pytest.raises(RangeError, match=r"does not fit 110 kbit/s: a frame would arrive \d\.\d\d s after its time"):
        make_stream(
            service_name="S",
            provider="Q1ABC",
            net_bit_rate_bps=Fraction(110_000),
            duration_s=3.0,
            video="MPEG-2",
            size=(720, 576),
        )


@pytest.mark.parametrize(
    ("change", "error", "sentence"),
    [
        ({"video": "VC-9"}, ChoiceError, r"video must be H\.264 or MPEG-2"),
        ({"size": (351, 288)}, RangeError, "even size and at least 160 x 128 .*, not 351 x 288"),
        ({"duration_s": 0.0}, RangeError, "duration_s must be a number above zero in s"),
        ({"call": "Q1ÄBC"}, ChoiceError, r"a sign of the callsign must be .* not Ä"),
    ],
)
def test_limit_impossible_wishes_are_refused(change, error, sentence):
    arguments = {"service_name": "S", "provider": "Q1ABC", "net_bit_rate_bps": TYPICAL, "duration_s": 0.2, **change}
    with pytest.raises(error, match=sentence):
        make_stream(**arguments)


def test_law_the_budget_never_gives_away_more_than_there_is():
    for rate_bps in np.geomspace(1.2e5, 3.2e7, 40):
        budget = share_rate(net_bit_rate_bps=Fraction(int(rate_bps)), pixels_per_s=352 * 288 * 25)
        assert budget.null_bps >= 0.0499 * budget.net_bps
        assert budget.table_interval_s < 0.5
        assert budget.name_interval_s < 2.0


# ITU-R M.1677-1 part I 1.1 and 1.2: Q is dash dash dot dash, 1 is dot and four dashes; 1, 3 and 7 dots apart.
def test_published_morse_of_the_callsign():
    mark = {"-": 3, ".": 1}
    letters = ["--.-", ".----", ".-", "-...", "-.-."]
    expected = []
    for letter in letters:
        for sign in letter:
            expected += [(True, mark[sign]), (False, 1)]
        expected[-1] = (False, 3)
    expected[-1] = (False, 7)
    assert keying("q1abc") == expected


def test_law_the_sound_is_endless_and_does_not_depend_on_its_pieces():
    whole = tone(call="Q1ABC", start=0, count=20_000, rate_hz=8000)
    pieces = [tone(call="Q1ABC", start=at, count=1152, rate_hz=8000) for at in range(0, 20_000, 1152)]
    assert np.array_equal(np.concatenate(pieces)[:20_000], whole)
    later = tone(call="Q1ABC", start=int(PERIOD_S * 8000), count=20_000, rate_hz=8000)
    assert later == pytest.approx(whole, abs=1e-6)
    steady = tone(call="Q1ABC", start=8000 * 8, count=8000, rate_hz=8000)
    assert 20 * np.log10(np.abs(steady).max()) == pytest.approx(-18.0, abs=0.01)


def test_law_the_card_moves_and_counts():
    card = TestCard(call="Q1ABC", title="Marl Bay")
    first, second, again = card.picture(10), card.picture(11), card.picture(10)
    assert np.array_equal(first, again)
    changed = (first != second).any(axis=2)
    assert changed[:40].any()  # the clock
    assert changed[60:100].any()  # the sun
    assert not changed[120:].any()
    assert first.shape == (288, 352, 3)


def test_law_memory_of_the_reader_is_bounded():
    packets = make_stream(service_name="Marl Bay", provider="Q1ABC", net_bit_rate_bps=TYPICAL, duration_s=0.3)
    reader = StreamReader()
    sizes = []
    for _ in range(6):
        reader.take(packets)
        sizes.append((len(reader._last), len(reader._clocks), len(reader._assemblers)))
    assert len(set(sizes)) == 1

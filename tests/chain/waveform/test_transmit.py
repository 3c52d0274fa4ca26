"""The transmitter as a whole: no seams, whole super-frames, power, hierarchy, refusals."""

from fractions import Fraction

import numpy as np
import pytest

from tepui.chain.waveform.transmit import Transmitter, null_packets
from tepui.ground.errors import ChoiceError, FormatError, RangeError
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.mode import Mode

HALF, THREE_QUARTERS, SEVEN_EIGHTHS = Fraction(1, 2), Fraction(3, 4), Fraction(7, 8)


def a_mode(**changes):
    usual = {
        "width_hz": 8e6,
        "n_fft": 2048,
        "guard": Fraction(1, 32),
        "constellation": "16QAM",
        "code_rate": THREE_QUARTERS,
    }
    return Mode(**(usual | changes))


def some_packets(count, seed=8):
    packets = np.random.default_rng(seed).integers(0, 256, (count, 188), np.uint8)
    packets[:, 0] = 0x47
    return packets


def data_cells(mode, carriers, first_symbol=0):
    return np.stack([row[data_carriers(mode.n_fft, (first_symbol + i) % 4)] for i, row in enumerate(carriers)])


@pytest.mark.parametrize(
    "mode",
    [
        a_mode(),
        a_mode(constellation="QPSK", code_rate=THREE_QUARTERS),
        a_mode(constellation="64QAM", code_rate=SEVEN_EIGHTHS, n_fft=8192),
        a_mode(constellation="QPSK", code_rate=HALF, n_fft=4096, guard=Fraction(1, 4)),
    ],
    ids=Mode.text,
)
def test_law_no_seam_however_the_packets_are_handed_over(mode):
    packets = some_packets(150)
    whole = Transmitter(mode).push(packets)
    transmitter, parts = Transmitter(mode), []
    for part in np.split(packets, [0, 1, 2, 7, 64, 65, 140]):
        parts.append(transmitter.push(part))
    assert np.array_equal(np.concatenate(parts), whole)
    assert whole.dtype == np.complex64
    assert len(whole) == transmitter.next_symbol * mode.n_symbol


# [EN300744] 4.7: a super-frame of 272 symbols holds a whole number of packets, here with nothing left over.
@pytest.mark.parametrize("rate", [Fraction(k, k + 1) for k in (1, 2, 3, 5, 7)], ids=str)
def test_published_a_super_frame_takes_its_packets_exactly(rate):
    mode = a_mode(constellation="QPSK", code_rate=rate)
    transmitter = Transmitter(mode)
    count = int(mode.packets_per_superframe)
    assert transmitter.packets_needed(272) == count
    assert len(transmitter.carriers(some_packets(count))) == 272
    assert transmitter.packets_needed(272) == count


def test_law_packets_needed_is_the_least_that_suffices():
    transmitter = Transmitter(a_mode())
    for n_symbols in (1, 2, 5, 1, 30):
        count = transmitter.packets_needed(n_symbols)
        before = transmitter.next_symbol
        transmitter.carriers(some_packets(count - 1))
        assert transmitter.next_symbol < before + n_symbols
        transmitter.carriers(some_packets(1))
        assert transmitter.next_symbol >= before + n_symbols


@pytest.mark.parametrize("start", [1, 2, 37, 300])
def test_law_starting_late_is_having_sent_null_packets(start):
    mode = a_mode(constellation="QPSK")  # 2.08 packets a symbol: starts fall inside packets and bytes
    late = Transmitter(mode, start)
    packets = some_packets(60)
    early = Transmitter(mode)
    whole = early.push(np.concatenate([null_packets(late.first_packet), packets]))
    assert np.array_equal(late.push(packets), whole[start * mode.n_symbol :])


def test_law_carriers_are_what_push_modulates():
    mode = a_mode()
    packets = some_packets(120)
    samples = Transmitter(mode).push(packets).reshape(-1, mode.n_symbol)
    carriers = Transmitter(mode).carriers(packets)
    heard = np.fft.fft(samples[:, mode.n_guard :].astype(complex), axis=1)[:, np.arange(-852, 853)]
    gain = heard[0, 0] / carriers[0, 0]
    assert gain.imag == pytest.approx(0, abs=1e-6 * gain.real)
    assert heard / gain.real == pytest.approx(carriers, abs=2e-5)


# Random data fill the constellation evenly: 250 symbols of 1512 cells spread the mean by about 0.1 %. Null packets
# whiten to the same bytes every eight packets, so their mean keeps a bias of one or two percent; the recordings of
# an independent modulator show it too (0.05 dB with 65 % null packets). The first symbols are left out: the
# interleaver still sends the zeros it held before packet 0.
@pytest.mark.parametrize("constellation", ["QPSK", "16QAM", "64QAM"])
@pytest.mark.parametrize(("make", "tolerance"), [(some_packets, 0.004), (null_packets, 0.03)])
def test_law_mean_power_is_one(constellation, make, tolerance):
    mode = a_mode(constellation=constellation)
    transmitter = Transmitter(mode)
    samples = transmitter.push(make(transmitter.packets_needed(272)))[22 * mode.n_symbol :]
    assert np.mean(np.abs(samples) ** 2, dtype=float) == pytest.approx(1, abs=tolerance)


def test_law_flush_sends_all_that_was_pushed_and_no_symbol_more():
    mode = a_mode(constellation="QPSK")
    packets = some_packets(25)
    transmitter = Transmitter(mode)
    sent = np.concatenate([transmitter.push(packets), transmitter.flush()])
    # The last byte of packet 24 leaves the interleaver in packet 35: 36 packets of 1632 bits, 2268 bits a symbol.
    n_symbols = -(-36 * 1632 // 2268)
    assert len(sent) == n_symbols * mode.n_symbol
    assert np.array_equal(sent, Transmitter(mode).push(np.concatenate([packets, null_packets(20)]))[: len(sent)])
    assert len(transmitter.flush()) == 0
    assert len(Transmitter(mode).flush()) == 0


# [EN300744] 4.3.5: the high-priority bits choose the quadrant, so seen as QPSK the signal is that of a QPSK mode.
@pytest.mark.parametrize("constellation", ["16QAM", "64QAM"])
@pytest.mark.parametrize("alpha", [1, 2, 4])
def test_law_the_high_priority_stream_is_a_qpsk_signal(constellation, alpha):
    mode = a_mode(constellation=constellation, code_rate=HALF, alpha=alpha, code_rate_lp=THREE_QUARTERS)
    transmitter = Transmitter(mode)
    high = some_packets(transmitter.packets_needed(60))
    low = some_packets(transmitter.packets_needed_lp(60), seed=9)
    cells = data_cells(mode, transmitter.carriers(high, low))
    plain = a_mode(constellation="QPSK", code_rate=HALF)
    quadrants = data_cells(plain, Transmitter(plain).carriers(high))
    assert cells.shape == quadrants.shape == (60, 1512)
    assert np.array_equal(np.sign(cells.real), np.sign(quadrants.real))
    assert np.array_equal(np.sign(cells.imag), np.sign(quadrants.imag))
    assert np.mean(np.abs(cells[20:]) ** 2) == pytest.approx(1, abs=0.01)  # past the interleaver's first zeros


# In a 16-QAM cell of two streams the low-priority stream has bits 2 and 3, which no other stream moves.
def test_law_the_low_priority_stream_does_not_touch_the_quadrants_nor_the_reverse():
    mode = a_mode(constellation="16QAM", code_rate=HALF, alpha=2, code_rate_lp=HALF)
    count = Transmitter(mode).packets_needed(20)
    low = some_packets(count, seed=10)
    one, other = (
        data_cells(mode, Transmitter(mode).carriers(some_packets(count, seed=seed), low)) for seed in (11, 12)
    )
    assert not np.array_equal(one, other)
    assert np.array_equal(np.abs(one.real) > 0.6, np.abs(other.real) > 0.6)  # levels 2 and 4 over sqrt(20)
    assert np.array_equal(np.abs(one.imag) > 0.6, np.abs(other.imag) > 0.6)


def test_law_two_streams_have_no_seam_and_flush_together():
    mode = a_mode(constellation="64QAM", code_rate=HALF, alpha=1, code_rate_lp=SEVEN_EIGHTHS)
    high, low = some_packets(40), some_packets(150, seed=13)
    whole = Transmitter(mode).push(high, low)
    transmitter = Transmitter(mode)
    nothing = high[:0]
    parts = [transmitter.push(high, nothing), transmitter.push(nothing, low[:70]), transmitter.push(nothing, low[70:])]
    assert np.array_equal(np.concatenate(parts), whole)
    assert len(transmitter.flush()) % mode.n_symbol == 0
    assert len(transmitter.flush()) == 0


def test_limit_a_narrow_channel_sends_the_same_samples_at_a_slower_clock():
    packets = some_packets(60)
    wide, narrow = a_mode(width_hz=8e6), a_mode(width_hz=2e6)
    assert np.array_equal(Transmitter(wide).push(packets), Transmitter(narrow).push(packets))
    assert narrow.sample_rate_hz * 4 == wide.sample_rate_hz


# ISO/IEC 13818-1 2.4.3.2: sync 0x47, PID 0x1FFF, payload only.
def test_published_null_packets():
    packets = null_packets(2)
    assert packets.shape == (2, 188)
    assert packets[1, :4].tolist() == [0x47, 0x1F, 0xFF, 0x10]


def test_what_cannot_be_sent_is_refused():
    with pytest.raises(ChoiceError, match=r"In-depth interleaving .* is not built"):
        Transmitter(a_mode(in_depth=True))
    with pytest.raises(RangeError, match="start_symbol must be 0 or more"):
        Transmitter(a_mode(), -1)
    with pytest.raises(FormatError, match=r"must be an array \(n, 188\)"):
        Transmitter(a_mode()).push(np.zeros((3, 187), np.uint8))
    with pytest.raises(ChoiceError, match=r"takes 1 packet stream\(s\), not 2"):
        Transmitter(a_mode()).push(some_packets(1), some_packets(1))
    with pytest.raises(ChoiceError, match=r"takes 2 packet stream\(s\), not 1"):
        Transmitter(a_mode(alpha=1, code_rate_lp=HALF)).push(some_packets(1))
    with pytest.raises(ChoiceError, match="has no low-priority stream"):
        Transmitter(a_mode()).packets_needed_lp(1)


def test_law_a_refused_push_changes_nothing():
    mode = a_mode()
    packets = some_packets(60)
    transmitter = Transmitter(mode)
    bad = some_packets(30)
    bad[29, 0] = 0
    with pytest.raises(FormatError, match="Packet 29 begins with 0x00"):
        transmitter.push(bad)
    assert np.array_equal(transmitter.push(packets), Transmitter(mode).push(packets))

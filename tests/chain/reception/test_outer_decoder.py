"""The outer decoder: Reed-Solomon against an independent library, cuts, the vote on the sync bytes."""

from pathlib import Path

import numpy as np
import pytest

from tepui.chain.reception.outer_decoder import OuterDecoder, correct_interleaved, interleaved_places
from tepui.chain.reception.outer_dispersal import Codewords, vote
from tepui.chain.waveform.outer import with_parity
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.dispersal import dispersal_mask

ANSWERS = Path(__file__).parents[2] / "data" / "dvbt" / "rs_answers.npz"


def interleaved(codewords):
    """[EN300744] 4.3.2: byte i of packet p leaves branch i mod 12 after 17 rounds of twelve bytes for each branch."""
    stream = np.zeros((len(codewords) + 11) * 204, np.uint8)
    for p, word in enumerate(codewords):
        for i, byte in enumerate(word):
            stream[204 * p + i + 17 * 12 * (i % 12)] = byte
    return stream


def sent_packets(n_packets, *, phase, seed=31):
    """Packets, and their codewords after energy dispersal with the groups of eight beginning at ``phase``."""
    packets = np.random.default_rng(seed).integers(0, 256, (n_packets, 188), np.uint8)
    packets[:, 0] = 0x47
    packets[:, 1] &= 0x7F
    return packets, with_parity(packets ^ dispersal_mask()[(np.arange(n_packets) - phase) % 8])


def spoilt(codewords, n_wrong, seed=32):
    rng, bad = np.random.default_rng(seed), codewords.copy()
    for word, count in zip(bad, n_wrong, strict=True):
        word[rng.choice(204, count, replace=False)] ^= rng.integers(1, 256, count, np.uint8)
    return bad


def decoded(stream, *, pushes=None, first_byte=0):
    decoder = OuterDecoder(first_byte)
    blocks = [decoder.push(part) for part in (pushes or [stream])]
    blocks.append(decoder.finish())
    parts = {name: np.concatenate([getattr(block, name) for block in blocks])
             for name in ("packets", "corrected", "bit_errors", "stream")}  # fmt: skip
    return decoder, blocks, parts


# galois 0.4.11, ReedSolomon (255, 239) with first root 2^0, shortened to (204, 188): words with 0 to 12 wrong bytes.
def test_tool_reed_solomon_decoder():
    with np.load(ANSWERS) as answers:
        received, wanted, corrected = answers["received"], answers["decoded"], answers["corrected"]
    ours = correct_interleaved(interleaved(received), len(received))
    assert np.array_equal(ours.corrected, corrected)
    good = corrected >= 0
    assert good.sum() == 72
    assert np.array_equal(ours.rows[good, :188], wanted[good])
    assert np.array_equal(ours.rows[~good], received[~good])
    changed = np.bitwise_count(ours.rows ^ received).sum(axis=1)
    assert np.array_equal(ours.bit_errors[good], changed[good])


# Whatever number of packets is asked for at once, the four side by side are counted out properly.
@pytest.mark.parametrize("n_packets", [0, 1, 2, 3, 4, 5, 7])
def test_limit_few_packets(n_packets):
    _, codewords = sent_packets(n_packets, phase=0)
    n_wrong = np.arange(n_packets) % 9
    stream = interleaved(spoilt(codewords, n_wrong))
    found = correct_interleaved(stream, n_packets)
    assert np.array_equal(found.rows, codewords)
    assert found.corrected.tolist() == n_wrong.tolist()
    assert np.array_equal(stream, interleaved(codewords))


def test_law_packets_come_back_and_lost_ones_stay_in_place():
    packets, codewords = sent_packets(300, phase=5)
    n_wrong = np.random.default_rng(33).integers(0, 13, 300)
    decoder, _, parts = decoded(interleaved(spoilt(codewords, n_wrong)))
    good = n_wrong <= 8
    assert decoder.dispersal_phase == 5
    assert np.array_equal(parts["packets"][good], packets[good])
    assert np.array_equal(parts["corrected"], np.where(good, n_wrong, -1))
    assert (parts["packets"][:, 0] == 0x47).all()
    assert np.array_equal(parts["packets"][:, 1] >> 7 == 1, ~good)  # transport_error_indicator
    assert (parts["bit_errors"][~good] == 0).all()
    differing = parts["stream"] != interleaved(codewords)
    assert differing.sum() == n_wrong[~good].sum()


@pytest.mark.parametrize("first_byte", [0, 204 * 3, 204 * 70 + 5])
def test_law_pushes_of_any_size_give_the_same(first_byte):
    packets, codewords = sent_packets(400, phase=2)
    stream = interleaved(spoilt(codewords, np.random.default_rng(34).integers(0, 10, 400)))[first_byte:]
    cuts = np.sort(np.random.default_rng(35).integers(0, len(stream), 60))
    _, whole_blocks, whole = decoded(stream, first_byte=first_byte)
    _, blocks, parts = decoded(stream, pushes=np.split(stream, cuts), first_byte=first_byte)
    for name, value in whole.items():
        assert np.array_equal(parts[name], value)
    first_packet = -(-first_byte // 204)
    assert whole_blocks[0].first_packet == first_packet
    assert len(whole["packets"]) == 400 - first_packet
    good = whole["corrected"] >= 0
    assert np.array_equal(whole["packets"][good], packets[first_packet:][good])
    next_packet, next_byte = first_packet, first_byte
    for block in blocks:
        assert (block.first_packet, block.first_byte) == (next_packet, next_byte)
        next_packet += len(block.packets)
        next_byte += len(block.stream)
    assert next_byte == first_byte + len(stream)


# A transmitter that starts its groups anew is followed from one window of 64 packets to the next.
def test_law_a_new_start_of_the_groups_is_followed():
    first, second = sent_packets(128, phase=1), sent_packets(128, phase=6, seed=36)
    _, _, parts = decoded(interleaved(np.concatenate([first[1], second[1]])))
    assert (parts["corrected"] == 0).all()
    assert np.array_equal(parts["packets"], np.concatenate([first[0], second[0]]))


# Silence decodes to zeros, and zeros are a codeword: no packet, all the same.
def test_limit_zeros_are_no_packets():
    decoder, _, parts = decoded(np.zeros(204 * 2000, np.uint8))
    assert decoder.dispersal_phase is None
    assert len(parts["packets"]) == 2000 - 11
    assert (parts["corrected"] == -1).all()
    assert (parts["packets"][:, 1] & 0x80 == 0x80).all()


def test_law_the_vote_needs_no_majority_of_good_packets():
    _, codewords = sent_packets(64, phase=3)
    rows = np.random.default_rng(37).integers(0, 256, (64, 204), np.uint8)
    corrected = np.full(64, -1, np.int16)
    for p in (1, 11, 30):  # packet 11 is one with the inverted sync byte
        rows[p], corrected[p] = codewords[p], 0
    words = Codewords(rows=rows, corrected=corrected, bit_errors=np.zeros(64, np.int32))
    assert vote(words, first_packet=0, before=None) == 3
    assert vote(words, first_packet=64, before=6) == 3
    corrected[11] = -1  # two plain sync bytes leave six places open: what held until now stays
    assert vote(words, first_packet=0, before=None) is None
    assert vote(words, first_packet=0, before=6) == 6


def test_law_places_follow_the_branches():
    assert np.array_equal(
        interleaved_places()[:13], [0, 205, 410, 615, 820, 1025, 1230, 1435, 1640, 1845, 2050, 2255, 12]
    )


def test_message_of_a_stream_too_short():
    with pytest.raises(RangeError, match=r"3 packets need 2856 bytes of interleaved stream .* not 2855\."):
        correct_interleaved(np.zeros(2855, np.uint8), 3)


def test_message_of_a_negative_first_byte():
    with pytest.raises(RangeError, match=r"first_byte must be 0 or more, not -1\."):
        OuterDecoder(-1)

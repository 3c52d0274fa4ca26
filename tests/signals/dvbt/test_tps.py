"""TPS words against those an independent modulator sent, and the code that protects them."""

import json
from fractions import Fraction
from pathlib import Path

import komm
import numpy as np
import pytest

from tepui.ground.errors import ChoiceError, FormatError
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.tps import correct_bch, read_tps, tps_word
from tepui.tables.load import load_table

DATA = Path(__file__).resolve().parents[2] / "data" / "dvbt" / "tps_words.json"
SENT = json.loads(DATA.read_text(encoding="utf-8"))["modes"]


def mode_of(sent):
    return Mode(
        width_hz=sent["width_hz"],
        n_fft=sent["n_fft"],
        guard=Fraction(sent["guard"]),
        constellation=sent["constellation"],
        code_rate=Fraction(sent["code_rate"]),
        cell_id=sent["cell_id"],
    )


def bits_of(text):
    return np.array([int(bit) for bit in text], np.uint8)


# GNU Radio 3.10.5 gr-dtv sent these words (tests/data/dvbt/README.md).
@pytest.mark.parametrize("sent", SENT, ids=lambda sent: mode_of(sent).text())
def test_tool_words_as_sent_by_an_independent_modulator(sent):
    mode = mode_of(sent)
    for frame, text in enumerate(sent["words_s1_to_s67"]):
        word = tps_word(mode, frame)
        assert word[0] == 0
        assert np.array_equal(word[1:], bits_of(text))


@pytest.mark.parametrize("sent", SENT, ids=lambda sent: mode_of(sent).text())
def test_tool_words_read_back(sent):
    mode = mode_of(sent)
    for frame, text in enumerate(sent["words_s1_to_s67"]):
        bits, n_corrected = correct_bch(bits_of(text))
        fields = read_tps(bits)
        assert n_corrected == 0
        assert (fields.frame, fields.length, fields.reserved) == (frame, sent["length"], 0)
        assert fields.cell_id_half == (sent["cell_id"] & 0xFF if frame % 2 else sent["cell_id"] >> 8)
        assert fields.mode(width_hz=mode.width_hz, cell_id=mode.cell_id) == mode


# [EN300744] 4.6.2.2: 0011010111101110 in frames 1 and 3 (0x35EE), its complement (0xCA11) in 2 and 4; 4.6.2.3:
# length 23 without a cell id.
def test_published_sync_words_and_length():
    mode = mode_of(SENT[0] | {"cell_id": None})
    words = ["".join(map(str, tps_word(mode, frame))) for frame in range(4)]
    assert [int(word[1:17], 2) for word in words] == [0x35EE, 0xCA11, 0x35EE, 0xCA11]
    assert [word[17:23] for word in words] == ["010111"] * 4
    assert [word[40:54] for word in words] == ["0" * 14] * 4
    assert read_tps(tps_word(mode, 1)[1:]).cell_id_half is None


# [EN300744] 4.6.2 (table dvbt_tps_fields): hierarchy 001, 010, 011 for alpha 1, 2, 4 and 1xx in depth; rates in
# the order 1/2 .. 7/8; modes 00 2K, 01 8K, 10 4K; guards 00 .. 11 = 1/32 .. 1/4.
@pytest.mark.parametrize(("alpha", "in_depth", "code"), [(1, False, 1), (2, False, 2), (4, False, 3), (2, True, 6)])
def test_published_fields_of_a_hierarchical_mode(alpha, in_depth, code):
    mode = Mode(
        width_hz=8e6,
        n_fft=4096,
        guard=Fraction(1, 4),
        constellation="64QAM",
        code_rate=Fraction(7, 8),
        alpha=alpha,
        code_rate_lp=Fraction(5, 6),
        in_depth=in_depth,
    )
    word = tps_word(mode, 2)

    def field(name):
        table = load_table("dvbt_tps_fields")
        first, last = (int(table.cell(end, field=name)[1:]) for end in ("first_bit", "last_bit"))
        return int("".join(map(str, word[first : last + 1])), 2)

    assert field("frame number") == 2
    assert field("constellation") == 2
    assert field("hierarchy") == code
    assert (field("code rate HP"), field("code rate LP")) == (4, 3)
    assert (field("guard interval"), field("transmission mode")) == (3, 2)
    assert read_tps(word[1:]).mode(width_hz=8e6, cell_id=None) == mode


# komm 0.37: BCH code of length 127 and designed distance 5, of which (67, 53) is the shortened form.
def test_tool_bch_words():
    code = komm.BCHCode(7, 5)
    for sent in SENT:
        for text in sent["words_s1_to_s67"]:
            lengthened = np.concatenate([np.zeros(60, int), bits_of(text)])[::-1]  # komm: lowest power first
            assert not np.any(code.check(lengthened))
    own = np.concatenate([np.zeros(60, int), tps_word(mode_of(SENT[1] | {"n_fft": 8192}), 3)[1:]])[::-1]
    assert not np.any(code.check(own))


def test_law_every_one_or_two_wrong_bits_are_corrected():
    word = tps_word(mode_of(SENT[0]), 2)[1:]
    for i in range(67):
        for j in range(i, 67):
            heard = word.copy()
            heard[[i, j]] ^= 1
            fixed, n_corrected = correct_bch(heard)
            assert np.array_equal(fixed, word)
            assert n_corrected == (1 if i == j else 2)


def test_law_many_wrong_bits_are_mostly_refused_and_never_left_inconsistent():
    rng = np.random.default_rng(3)
    refused = 0
    for _ in range(200):
        try:
            fixed, _ = correct_bch(rng.integers(0, 2, 67).astype(np.uint8))
        except FormatError:
            refused += 1
        else:
            assert correct_bch(fixed)[1] == 0
    assert refused > 150  # the code's 1 + 67 + 67 x 66 / 2 patterns fill 14 % of the 2^14 remainders


def test_words_that_say_nothing_valid_are_refused():
    word = tps_word(mode_of(SENT[0]), 0)[1:]
    three_wrong = word.copy()
    three_wrong[[3, 20, 40]] ^= 1
    with pytest.raises(FormatError, match="more than the two wrong bits its BCH code corrects"):
        correct_bch(three_wrong)
    wrong_sync = word.copy()
    wrong_sync[:16] ^= 1
    with pytest.raises(FormatError, match="frame 1 starts with 0xCA11, not its sync word"):
        read_tps(wrong_sync)
    for first in (24, 37):  # constellation 11, mode 11
        reserved = word.copy()
        reserved[first : first + 2] = 1
        with pytest.raises(FormatError, match="reserved value"):
            read_tps(reserved)
    with pytest.raises(ChoiceError, match=r"has 67 bits, s1 to s67, not shape \(68,\)"):
        read_tps(tps_word(mode_of(SENT[0]), 0))
    with pytest.raises(ChoiceError, match="frame must be 0, 1, 2 or 3"):
        tps_word(mode_of(SENT[0]), 4)

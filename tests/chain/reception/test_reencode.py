"""Bits encoded once more, against an independent coder."""

from fractions import Fraction

import numpy as np
import pytest

from ideal_link import coded_by_komm
from tepui.chain.reception.reencode import count_differences, last_state, reencode
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.mode import CODE_RATES


# komm 0.37 ConvolutionalCode, punctured as [EN300744] V1.6.2 Table 2.
@pytest.mark.parametrize("rate", CODE_RATES)
def test_tool_independent_coder_again(rate):
    packed = np.random.default_rng(21).integers(0, 256, 105 * 4, np.uint8)
    assert np.array_equal(reencode(packed, rate), coded_by_komm(np.unpackbits(packed), rate))


@pytest.mark.parametrize("rate", CODE_RATES)
def test_law_pieces_join_to_the_whole(rate):
    rng = np.random.default_rng(22)
    packed = rng.integers(0, 256, 900, np.uint8)
    pieces, at, state = [], 0, 0
    while at < len(packed):
        piece = packed[at : at + int(rng.integers(1, 40))]
        pieces.append(reencode(piece, rate, start_phase=8 * at % rate.numerator, state=state))
        at, state = at + len(piece), last_state(piece)
    assert np.array_equal(np.concatenate(pieces), reencode(packed, rate))


def test_limit_differences_counted_one_by_one():
    rng = np.random.default_rng(23)
    coded = rng.integers(0, 2, 100_003, np.uint8)
    soft = rng.integers(-9, 10, len(coded)).astype(np.int8)
    known = soft != 0
    expected = int(np.count_nonzero((soft < 0)[known] != (coded == 1)[known])), int(np.count_nonzero(known))
    assert count_differences(coded, soft) == expected
    assert count_differences(coded[:0], soft[:0]) == (0, 0)


def test_message_of_a_phase_outside_the_period():
    with pytest.raises(RangeError, match=r"start_phase must lie in 0..1 at code rate 2/3, not 2\."):
        reencode(np.zeros(3, np.uint8), Fraction(2, 3), start_phase=2)


def test_message_of_unequal_lengths():
    with pytest.raises(RangeError, match=r"one length, not 3 and 4\."):
        count_differences(np.zeros(3, np.uint8), np.zeros(4, np.int8))

"""The inner coder against an independent convolutional encoder."""

from fractions import Fraction

import komm
import numpy as np
import pytest

from tepui.chain.waveform.inner import encode_inner
from tepui.tables.load import load_table

RATES = [Fraction(k, k + 1) for k in (1, 2, 3, 5, 7)]


def bits(count, seed=4):
    return np.random.default_rng(seed).integers(0, 2, count).astype(np.uint8)


# komm 0.37 ConvolutionalCode, generators 171 and 133 octal with the bits in komm's order; the marks of
# [EN300744] 4.3.3 Table 2 (x_pattern, y_pattern) choose what is sent, in the order X then Y of each step.
@pytest.mark.parametrize("rate", RATES, ids=str)
def test_tool_encoder_with_the_published_marks(rate):
    information = bits(2100)
    code = komm.ConvolutionalCode([[int("1111001"[::-1], 2), int("1011011"[::-1], 2)]])
    mother = code.encode(information.astype(int)).reshape(-1, 2)
    table = load_table("dvbt_puncturing")
    marks = [[int(m) for m in table.cell(column, code_rate=str(rate))] for column in ("x_pattern", "y_pattern")]
    sent = np.resize(np.array(marks).T, mother.shape) == 1
    coded, _ = encode_inner(information, np.zeros(6, np.uint8), code_rate=rate)
    assert np.array_equal(coded, mother[sent])


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_law_encoding_in_parts_is_encoding_at_once(rate):
    information, memory, parts = bits(210 * rate.numerator), np.zeros(6, np.uint8), []
    whole, last = encode_inner(information, memory, code_rate=rate)
    for part in np.split(information, [rate.numerator, 3 * rate.numerator, 100 * rate.numerator]):
        coded, memory = encode_inner(part, memory, code_rate=rate)
        parts.append(coded)
    assert np.array_equal(np.concatenate(parts), whole)
    assert np.array_equal(memory, last)
    assert len(whole) == 210 * rate.denominator

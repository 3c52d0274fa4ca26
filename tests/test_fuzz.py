"""Damaged files to every reader: read or refused with a sentence, nothing else. ./run fuzz feeds far more."""

import fuzz
import pytest


@pytest.mark.parametrize("reader", fuzz.readers(), ids=lambda reader: reader.name)
def test_law_damaged_input_is_read_or_refused(reader, tmp_path):
    tally = fuzz.fuzz(reader, inputs=2000, seed=5, folder=tmp_path)
    assert [words for _, words in tally.faults] == []
    assert tally.read > 0  # the damage leaves some of them sound
    assert tally.refused > 100


def test_law_a_reader_that_dies_is_found(tmp_path):
    def feed(data, folder, rng):
        data.decode("ascii")

    tally = fuzz.fuzz(fuzz.Reader(name="frail", seeds=[b"abc"], feed=feed), inputs=200, seed=1, folder=tmp_path)
    assert tally.faults

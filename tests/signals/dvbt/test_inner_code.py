"""Puncturing against both columns of the standard's table, and the generators' known distance."""

from fractions import Fraction

import komm
import pytest

from tepui.ground.errors import ChoiceError
from tepui.signals.dvbt.inner_code import G1, G2, puncturing
from tepui.tables.load import load_table


# [EN300744] 4.3.3 Table 2: the patterns of X and Y, the other column of the table than the one loaded.
def test_published_patterns_agree_with_the_order_sent():
    rows = list(load_table("dvbt_puncturing"))
    assert len(rows) == 5
    for row in rows:
        rate = Fraction(row["code_rate"])
        sent = puncturing(rate).tolist()
        assert len(sent) == rate.denominator
        marked = [
            [step, which]
            for which, pattern in enumerate((row["x_pattern"], row["y_pattern"]))
            for step, mark in enumerate(pattern)
            if mark == "1"
        ]
        assert sorted(sent) == sorted(marked)
        assert [step for step, _ in sent] == sorted(step for step, _ in sent)


# komm 0.37: octal 171, 133 (newest bit first; komm writes the newest bit last) reach the free distance 10 that
# handbooks give for the best code of 64 states.
def test_tool_free_distance():
    newest_last = [int(f"{g:07b}"[::-1], 2) for g in (G1, G2)]
    assert komm.ConvolutionalCode([newest_last]).free_distance() == 10


def test_an_unknown_rate_is_refused():
    with pytest.raises(ChoiceError, match="code_rate must be 1/2, 2/3, 3/4, 5/6 or 7/8"):
        puncturing(Fraction(4, 5))

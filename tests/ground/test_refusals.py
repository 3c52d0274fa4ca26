"""Every refusal of ground/checks.py is read here, as the operator would read it."""

import math
from fractions import Fraction

import pytest

from tepui.ground.checks import require_between, require_one_of, require_positive
from tepui.ground.errors import ChoiceError, InputError, RangeError, TepuiError, UnfinishedError


def test_limit_a_choice_names_the_allowed_and_the_nearest():
    with pytest.raises(ChoiceError) as refusal:
        require_one_of("guard", Fraction(1, 5), [Fraction(1, n) for n in (4, 8, 16, 32)], source="[EN300744] 4.4")
    assert str(refusal.value) == "guard must be 1/4, 1/8, 1/16 or 1/32 ([EN300744] 4.4), not 1/5. Nearest: 1/4."
    with pytest.raises(ChoiceError, match=r"not 16QM\. Nearest: 16QAM\.$"):
        require_one_of("constellation", "16QM", ["QPSK", "16QAM", "64QAM"], source="x")
    with pytest.raises(ChoiceError, match=r"must be QPSK \(x\), not 7\.$"):
        require_one_of("constellation", 7, ["QPSK"], source="x")
    require_one_of("constellation", "QPSK", ["QPSK"], source="x")


@pytest.mark.parametrize("value", [4.9, 8.1, math.nan, math.inf])
def test_limit_a_range_names_its_ends_and_whose_they_are(value):
    with pytest.raises(RangeError) as refusal:
        require_between("width", value, 5.0, 8.0, unit="MHz", source="[EN300744]")
    assert str(refusal.value) == f"width must lie between 5 and 8 MHz ([EN300744]), not {value:g}."


def test_limit_the_ends_of_a_range_are_inside():
    require_between("width", 5.0, 5.0, 8.0, unit="MHz", source="x")
    require_between("width", 8.0, 5.0, 8.0, unit="MHz", source="x")


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_limit_a_positive_number(value):
    with pytest.raises(RangeError, match="rate must be a number above zero in Hz, not "):
        require_positive("rate", value, unit="Hz")
    require_positive("rate", 1e-9, unit="Hz")


def test_law_exit_codes_of_the_family():
    assert (InputError.exit_code, ChoiceError.exit_code, UnfinishedError.exit_code, TepuiError.exit_code) == (
        2,
        2,
        3,
        3,
    )
    assert issubclass(RangeError, ValueError)

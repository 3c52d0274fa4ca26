"""One formatter: what it shows must follow from the doubt, and stay true."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.ground.finding_text import cell_text, label_text, limit_text, scale_for, value_parts, value_text
from tepui.ground.findings import Finding


def finding(value, *, low=None, high=None, unit="dB", standing="measured", **more):
    return Finding(
        about="station",
        key="level_db",
        value=value,
        low=low,
        high=high,
        unit=unit,
        standing=standing,
        source="x",
        **more,
    )


# [GUM] 7.2.6: 10.057 62 ohm with 27 milliohm is stated as 10.058. 7.2.4: m = (100.021 47 ± 0.000 79) g.
# From memory of the text.
@pytest.mark.parametrize(
    ("value", "doubt", "unit", "printed"),
    [
        (10.05762, 0.027, "Ω", "10.058 ± 0.027 Ω"),
        (100.02147, 0.00079, "g", "100.02147 ± 0.00079 g"),
    ],
)
def test_published_examples_of_rounding(value, doubt, unit, printed):
    assert value_text(finding(value, low=value - doubt, high=value + doubt, unit=unit)) == printed


@pytest.mark.parametrize(
    ("value", "low", "high", "unit", "shown"),
    [
        (21.4, 21.28, 21.52, "dB", "21.40 ± 0.12 dB"),
        (1.2345e9, 1.2345e9 - 120, 1.2345e9 + 120, "Hz", "1.23450000 ± 0.00000012 GHz"),
        (-1234.5, -1234.5 - 26, -1234.5 + 26, "Hz", "-1.234 ± 0.026 kHz"),
        (0.0, -0.5, 0.5, "Hz", "0 ± 500 mHz"),
        (2.3e-4, 2.1e-4, 2.5e-4, "1", "(2.30 ± 0.20)e-04"),
        (5e-6, 4e-6, 9e-6, "s", "5.0 µs (4.0 to 9.0)"),
        (1234.0, 984.0, 1484.0, "K", "1230 ± 250 K"),
        (9.0, 9.0 - 0.0996, 9.0 + 0.0996, "dB", "9.00 ± 0.10 dB"),
        (13063725.490196079, 13063725.490196079, 13063725.490196079, "bit/s", "13.0637255 Mbit/s"),
        (8192, 8192, 8192, "1", "8192"),
        (1234567, 1234567, 1234567, "1", "1234567"),
        (-0.004, -0.304, 0.296, "dB", "0.00 ± 0.30 dB"),
    ],
)
def test_limit_cases_worked_by_hand(value, low, high, unit, shown):
    assert value_text(finding(value, low=low, high=high, unit=unit)) == shown


def test_limit_bounds_are_rounded_away_from_what_they_exclude():
    assert value_text(finding(1.2301e-7, high=1.2301e-7, unit="1", standing="at_most")) == "at most 1.24e-07"
    assert value_text(finding(45.678, low=45.678, standing="at_least")) == "at least 45.6 dB"
    assert value_text(finding(-38.04, high=-38.04, standing="at_most")) == "at most -38.0 dB"
    assert value_text(finding(0.0, high=0.0, unit="1", standing="at_most")) == "at most 0"


@pytest.mark.parametrize(
    ("made", "parts"),
    [
        (finding(21.4, low=21.28, high=21.52), ("21.40", "± 0.12", "dB")),
        (finding(2.3e-4, low=2.1e-4, high=2.5e-4, unit="1"), ("2.30e-04", "± 0.20e-04", "")),
        (finding(5e-6, low=4e-6, high=9e-6, unit="s"), ("5.0", "(4.0 to 9.0)", "µs")),
        (finding(5e-6, low=4e-6, high=9e-6, unit="1"), ("5.0e-06", "(4.0e-06 to 9.0e-06)", "")),
        (finding(0.0, low=-0.5, high=0.5, unit="Hz"), ("0", "± 500", "mHz")),
        (finding(1.2301e-7, high=1.2301e-7, unit="1", standing="at_most"), ("at most 1.24e-07", "", "")),
        (finding(45.678, low=45.678, standing="at_least"), ("at least 45.6", "", "dB")),
        (finding("16QAM", unit=""), ("16QAM", "", "")),
    ],
)
def test_limit_parts_for_a_page(made, parts):
    assert value_parts(made) == parts
    text = value_text(made)
    assert all(part.strip("±() ").removesuffix("e-04") in text for part in parts)


def test_limit_words_for_texts_and_the_unknown():
    assert value_text(finding(True, unit="")) == "yes"
    assert value_text(finding(False, unit="")) == "no"
    assert value_text(finding("16QAM", unit="")) == "16QAM"
    assert value_text(finding(None, standing="unknown", remark="a reading settles it")) == "unknown"


def test_limit_says_met_missed_and_unsure():
    clear = finding(-36.0, low=-37.0, high=-35.0, limit=-32.0, limit_sense="at_most", limit_source="target", margin=4.0)
    assert limit_text(clear) == "limit at most -32 dB (target): met by 4.00 dB"
    missed = finding(-31.0, low=-31.5, high=-30.5, limit=-32.0, limit_sense="at_most", margin=-1.0)
    assert limit_text(missed) == "limit at most -32 dB: missed by 1.00 dB"
    unsure = finding(-32.5, low=-33.5, high=-31.5, limit=-32.0, limit_sense="at_most", margin=0.5)
    assert limit_text(unsure) == "limit at most -32 dB: met by 0.500 dB, which is less than the doubt"
    bound = finding(-26.0, standing="at_most", high=-26.0, limit=-32.0, limit_sense="at_most", margin=-6.0)
    assert limit_text(bound) == "limit at most -32 dB: not shown to be met, 6.00 dB are lacking"
    assert limit_text(finding(1.0, low=1.0, high=1.0)) == ""


def test_limit_labels():
    assert label_text("mer_without_lines_db") == "MER without lines"
    assert label_text("ber_before_viterbi") == "BER before Viterbi"
    assert label_text("channel_width_hz") == "Channel width"
    assert label_text("symbol") == "Symbol"


def test_limit_cells():
    assert cell_text(None) == "-"
    assert cell_text(0.25) == "0.25"
    assert cell_text(8_000_000.0, scale_for(8e6, "Hz")) == "8 MHz"


SHOWN = re.compile(r"^\(?(-?[\d.]+) ± ([\d.]+)\)?(?: ?(.*))$")
FACTORS = {"GHz": 1e9, "MHz": 1e6, "kHz": 1e3, "Hz": 1.0, "mHz": 1e-3, "µHz": 1e-6}


# The law: what is shown encloses the value within the rounding, and its last digit has the weight of the doubt's.
@given(
    value=st.floats(min_value=-3e9, max_value=3e9, allow_nan=False),
    doubt=st.floats(min_value=1e-3, max_value=1e6),
)
def test_law_what_is_shown_agrees_with_what_is_known(value, doubt):
    text = value_text(finding(value, low=value - doubt, high=value + doubt, unit="Hz"))
    match = SHOWN.match(text)
    assert match, text
    factor = FACTORS[match[3]]
    assert abs(float(match[1]) * factor - value) <= 0.06 * doubt + 1e-6
    assert abs(float(match[2]) * factor - doubt) <= 0.06 * doubt + 1e-6
    digits = match[2].replace(".", "").strip("0")
    assert len(digits) <= 2
    if "." in match[2]:
        assert len(match[1].split(".")[1]) == len(match[2].split(".")[1])


@given(value=st.floats(min_value=1e-12, max_value=1e12))
def test_law_a_bound_shown_is_never_tighter_than_the_bound(value):
    shown = value_text(finding(value, high=value, unit="1", standing="at_most")).removeprefix("at most ")
    assert float(shown) >= value * (1 - 1e-11)
    assert float(shown) <= value * 1.0101

"""Option values with units and minus signs, and the sentences for what cannot be read."""

import pytest

from tepui.cli.parsing import (
    SentenceParser,
    UsageError,
    join_negative_values,
    place,
    quantity,
    sample_rate_hz,
    whole_number,
    width_hz,
)
from tepui.ground.errors import InputError


@pytest.fixture
def parser():
    made = SentenceParser(prog="tepui probe")
    made.add_argument("recording")
    made.add_argument("--baseline")
    made.add_argument("--out", type=place)
    made.add_argument("--count", type=whole_number)
    made.add_argument("--json", action="store_true")
    return made


@pytest.mark.parametrize("value", ["-38 dB", "-38dB", "-.5 dB", "- 38 dB", "38 dB", "-1e-3"])
@pytest.mark.parametrize("joined", [True, False])
def test_law_a_value_may_begin_with_a_minus_sign(parser, value, joined):
    words = [f"--baseline={value}"] if joined else ["--baseline", value]
    arguments = parser.parse([*words, "a.wav", "--json"])
    assert (arguments.baseline, arguments.recording, arguments.json) == (value, "a.wav", True)


def test_limit_only_a_number_is_joined():
    assert join_negative_values(["--json", "--baseline", "-x"]) == ["--json", "--baseline", "-x"]
    assert join_negative_values(["--baseline=1", "-2"]) == ["--baseline=1", "-2"]
    assert join_negative_values(["--", "-2"]) == ["--", "-2"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "the following arguments are required: recording; see 'tepui probe --help'."),
        (["a", "--baselin", "1"], "--baselin is not known here, did you mean --baseline?"),
        (["a", "b"], "b is not known here; see 'tepui probe --help'."),
        (["a", "--baseline"], "--baseline: expected one argument; see 'tepui probe --help'."),
        (["a", "--count", "0"], "--count: must be a whole number above zero, not 0; see 'tepui probe --help'."),
        (["a", "--count", "two"], "--count: must be a whole number above zero, not two; see 'tepui probe --help'."),
        (["a", "--json=3"], "--json: takes no value, and '3' was found; see 'tepui probe --help'."),
        (["a", "--out", ""],
         "--out: the name of a file or folder is needed, not an empty text; see 'tepui probe --help'."),
        (["a", "--base", "1"], "--base is not known here, did you mean --baseline?"),
    ],
)  # fmt: skip
def test_limit_every_complaint_is_one_sentence(parser, words, sentence):
    with pytest.raises(UsageError) as refusal:
        parser.parse(words)
    assert str(refusal.value) == sentence


@pytest.mark.parametrize(
    ("text", "rate_hz"), [("8 MHz", 8e6), ("8 MS/s", 8e6), ("2048 kS/s", 2.048e6), ("8e6", 8e6), ("2400000", 2.4e6)]
)
def test_limit_sample_rates(text, rate_hz):
    assert sample_rate_hz(text, option="--rate") == rate_hz


@pytest.mark.parametrize("text", ["0", "-8e6", "nan", "inf", "8", "8 dB", "fast", "8 MHz..9 MHz", ""])
def test_limit_rates_and_widths_that_cannot_be_are_refused_by_name(text):
    with pytest.raises(InputError, match=r"^--width"):
        width_hz(text, option="--width")
    if text != "8":  # eight samples per second is slow, but a rate
        with pytest.raises(InputError, match=r"^--rate"):
            sample_rate_hz(text, option="--rate")


def test_limit_a_quantity_of_the_wrong_kind_says_what_is_wanted():
    with pytest.raises(InputError, match=r"^--frequency: .*MHz"):
        quantity("437 dB", kind="frequency", option="--frequency")

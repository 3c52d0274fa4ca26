"""The grammar of quantities: what it takes, what it refuses and in which words."""

import math
import subprocess
import sys
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, special

from tepui.ground.errors import QuantityError
from tepui.ground.quantity import parse_fraction, parse_quantities, parse_quantity, quantity_value
from tepui.ground.units import DIPOLE_GAIN_DBI, KINDS


# [SI] 9th edition: table 7 (prefixes) and table 8 (minute, hour); bit/s, dBm and dBW [IEC60027-3]. Exact.
@pytest.mark.parametrize(
    ("text", "kind", "value", "unit"),
    [
        ("1286 MHz", "frequency", 1286e6, "Hz"),
        ("2.4 GHz", "frequency", 2.4e9, "Hz"),
        ("-300 kHz", "frequency", -3e5, "Hz"),
        ("9.142857 MHz", "frequency", 9142857.0, "Hz"),
        ("2.4 MS/s", "sample_rate", 2.4e6, "Hz"),
        ("2400 kHz", "sample_rate", 2.4e6, "Hz"),
        ("-5 dBm", "level", -5.0, "dBm"),
        ("1 dBW", "level", 31.0, "dBm"),
        ("18 dB", "ratio", 18.0, "dB"),
        ("-32 dBc", "ratio", -32.0, "dB"),
        ("3.1 dB", "noise", 3.1, "dB"),
        ("13 dBi", "gain", 13.0, "dBi"),
        ("10 dBd", "gain", 12.15, "dBi"),
        ("-90 dBc/Hz", "phase_noise", -90.0, "dBc/Hz"),
        ("30 m", "length", 30.0, "m"),
        ("25 mm", "length", 0.025, "m"),
        ("1.5 cm", "length", 0.015, "m"),
        ("42.5 km", "length", 42500.0, "m"),
        ("7 us", "time", 7e-6, "s"),
        ("7 µs", "time", 7e-6, "s"),
        ("7 μs", "time", 7e-6, "s"),
        ("250 ns", "time", 250e-9, "s"),
        ("60 ms", "time", 0.06, "s"),
        ("2 min", "time", 120.0, "s"),
        ("1.5 h", "time", 5400.0, "s"),
        ("13.8 V", "voltage", 13.8, "V"),
        ("5.2 A", "current", 5.2, "A"),
        ("350 mA", "current", 0.35, "A"),
        ("10 W", "power", 10.0, "W"),
        ("1.5 kW", "power", 1500.0, "W"),
        ("20 uW", "power", 20e-6, "W"),
        ("50 Ohm", "resistance", 50.0, "Ohm"),
        ("4.7 kΩ", "resistance", 4700.0, "Ohm"),
        ("80 degC", "temperature", 353.15, "K"),
        ("-10 °C", "temperature", 263.15, "K"),
        ("290 K", "temperature", 290.0, "K"),
        ("0.8 K/W", "thermal_resistance", 0.8, "K/W"),
        ("5.278 Mbit/s", "rate", 5.278e6, "bit/s"),
        ("45 deg", "angle", 45.0, "deg"),
        ("90 %", "percent", 0.9, "1"),
        ("1/16", "fraction", 0.0625, "1"),
        ("12", "count", 12.0, "1"),
    ],
)
def test_published_units(text, kind, value, unit):
    quantity = parse_quantity(text, kind=kind)
    assert quantity.value == value
    assert quantity.unit == unit
    assert quantity.low is None
    assert quantity.high is None
    assert quantity.text == text
    assert quantity_value(text, kind=kind) == value


def test_law_a_half_wave_dipole_has_the_gain_we_add():
    # Directivity of a half-wave dipole in free space, 4 / Cin(2 pi); Cin and Ci from scipy.special.
    cosine_integral = special.sici(2 * math.pi)[1]
    cin = math.log(2 * math.pi) + float(-special.digamma(1)) - cosine_integral
    assert round(10 * math.log10(4 / cin), 2) == float(DIPOLE_GAIN_DBI)


def test_published_zero_of_the_celsius_scale():
    # scipy.constants.zero_Celsius, 273.15 K.
    assert quantity_value("0 degC", kind="temperature") == constants.zero_Celsius


# The grammar of the station file; ends worked by hand.
@pytest.mark.parametrize(
    ("text", "kind", "low", "high"),
    [
        ("0 dBm ± 1 dB", "level", -1.0, 1.0),
        ("0 dBm +- 1 dB", "level", -1.0, 1.0),
        ("18 dB ± 1.5", "ratio", 16.5, 19.5),
        ("18 dB±1.5dB", "ratio", 16.5, 19.5),
        ("1286 MHz ± 5 kHz", "frequency", 1285.995e6, 1286.005e6),
        ("1286 MHz ± 5", "frequency", 1281e6, 1291e6),
        ("-200 Hz ± 10 %", "frequency", -220.0, -180.0),
        ("80 degC ± 2 K", "temperature", 351.15, 355.15),
        ("5 W ± 10 %", "power", 4.5, 5.5),
        ("90 % ± 5 %", "percent", 0.85, 0.95),
        ("10 dBd ± 0.5 dB", "gain", 11.65, 12.65),
        ("12 ± 2", "count", 10.0, 14.0),
        ("12 ± 25 %", "count", 9.0, 15.0),
    ],
)
def test_limit_doubts(text, kind, low, high):
    quantity = parse_quantity(text, kind=kind)
    assert (quantity.low, quantity.high) == (low, high)
    assert not quantity.is_range


def test_limit_ranges():
    tunes = parse_quantity("170..860 MHz", kind="frequency")
    assert (tunes.value, tunes.low, tunes.high, tunes.is_range) == (515e6, 170e6, 860e6, True)
    level = parse_quantity("−10 .. −5 dBm", kind="level")
    assert (level.value, level.low, level.high) == (-7.5, -10.0, -5.0)


def test_limit_lists():
    bands = parse_quantities("174..230 MHz, 470..862 MHz", kind="frequency")
    assert [(band.low, band.high) for band in bands] == [(174e6, 230e6), (470e6, 862e6)]


def test_limit_fractions_are_exact():
    assert parse_fraction("1/3") == Fraction(1, 3)


FREQUENCY = "a frequency is written with Hz, kHz, MHz or GHz"


@pytest.mark.parametrize(
    ("text", "kind", "sentence"),
    [
        ("1286 mHz", "frequency", f'"1286 mHz": {FREQUENCY} (case counts), not mHz. Nearest: MHz.'),
        ("5 M", "frequency", f'"5 M": {FREQUENCY} (case counts), not M. Nearest: MHz.'),
        ("5 M", "length", '"5 M": a length is written with m, mm, cm or km (case counts), not M. Nearest: m.'),
        ("5 xyz", "length", '"5 xyz": a length is written with m, mm, cm or km (case counts), not xyz.'),
        ("5 dB", "level", '"5 dB": a level is written with dBm or dBW (case counts), not dB. Nearest: dBm.'),
        ("1286", "frequency", f'"1286" has no unit: {FREQUENCY}, such as "1286 MHz".'),
        (1286, "frequency", f'"1286" has no unit: {FREQUENCY}, such as "1286 MHz".'),
        (True, "frequency", 'True is not a frequency: write it as text, such as "12 MHz".'),
        (None, "fraction", 'None is not a fraction: write it as text, such as "1/16".'),
        ("5 ± 1 MHz", "frequency", f'"5 ± 1 MHz" has no unit: {FREQUENCY}, such as "5 MHz".'),
        (
            "13,8 V",
            "voltage",
            '"13,8 V" has a comma: the decimal mark is a point and thousands have no mark, so write "13.8 V".',
        ),
        (
            "1,286 MHz",
            "frequency",
            '"1,286 MHz" has a comma: the decimal mark is a point and thousands have no mark, '
            'so write "1.286 MHz" or "1286 MHz".',
        ),
        (
            "1,286,000 kHz",
            "frequency",
            '"1,286,000 kHz" has a comma: the decimal mark is a point and thousands have no mark, '
            'so write "1286000 kHz".',
        ),
        (
            "1 286 MHz",
            "frequency",
            '"1 286 MHz" parts its digits: write a frequency without a thousands mark, "1286 MHz".',
        ),
        ("1_000 m", "length", '"1_000 m" parts its digits: write a length without a thousands mark, "1000 m".'),
        (
            "0 dBm ± 1 dBm",
            "level",
            '"0 dBm ± 1 dBm": the doubt of a level is written with dB (case counts), not dBm. Nearest: dB.',
        ),
        (
            "30 dB ± 5 %",
            "ratio",
            '"30 dB ± 5 %": a doubt in per cent of a ratio has no meaning; write it in dB.',
        ),
        ("-274 degC", "temperature", '"-274 degC" is below 0 K, the least temperature there is.'),
        ("-1 W", "power", '"-1 W" is below 0 W, the least power there is.'),
        ("860..170 MHz", "frequency", '"860..170 MHz" runs backwards: write the lower end first.'),
        (
            "170 MHz..860 MHz",
            "frequency",
            '"170 MHz..860 MHz" is not a range: write its ends and the unit once, such as "10..20 MHz".',
        ),
        ("much", "length", '"much" is not a length: write a number and a unit, such as "12 m".'),
        ("", "level", '"" is not a level: write a number and a unit, such as "12 dBm".'),
        ("1/0", "fraction", '"1/0" is not a fraction: write two whole numbers with a stroke, such as "1/16".'),
        ("0.0625", "fraction", '"0.0625" is not a fraction: write two whole numbers with a stroke, such as "1/16".'),
        ("8K", "count", '"8K" is not a count: write a whole number without a unit, such as "12".'),
        ("1.5", "count", '"1.5" is not a count: write a whole number without a unit, such as "12".'),
        ("12 ± 1 dB", "count", '"12 ± 1 dB": the doubt of a count is a number without a unit, or per cent.'),
    ],
)
def test_limit_refusals_say_what_is_wrong(text, kind, sentence):
    with pytest.raises(QuantityError) as refusal:
        parse_quantity(text, kind=kind)
    assert str(refusal.value) == sentence


@pytest.mark.parametrize(
    "text",
    [
        "inf Hz",
        "nan Hz",
        "1e999 Hz",
        "9" * 400 + " Hz",
        ".5 Hz",
        "5. Hz",
        "0x10 Hz",
        "٣ Hz",
        "5 Hz Hz",
        "--5 Hz",
        "± 5 Hz",
    ],
)
def test_limit_odd_numbers_are_refused(text):
    with pytest.raises(QuantityError, match="not a frequency"):
        parse_quantity(text, kind="frequency")


def test_limit_a_range_has_no_single_value():
    with pytest.raises(QuantityError, match=r'"1\.\.2 MHz" is a range; here one value is wanted\.'):
        quantity_value("1..2 MHz", kind="frequency")


def test_limit_a_count_may_be_a_plain_integer():
    assert quantity_value(12, kind="count") == 12.0


# The grammar reads exponents of two digits.
@given(
    value=st.floats(-1e9, 1e9).filter(lambda value: value == 0 or abs(value) > 1e-99),
    unit=st.sampled_from(sorted(KINDS["frequency"].units)),
)
def test_law_any_float_survives_being_written(value, unit):
    # Python's Fraction is the outside judge: the decimal text times the prefix, rounded once.
    text = f"{value:.17g}"
    factor = {"Hz": 1, "kHz": 1000, "MHz": 10**6, "GHz": 10**9}[unit]
    assert parse_quantity(f"{text} {unit}", kind="frequency").value == float(Fraction(text) * factor)


@given(
    value=st.decimals(min_value=-999, max_value=999, places=3),
    doubt=st.decimals(min_value=0, max_value=99, places=3),
    spaces=st.lists(st.sampled_from(["", " ", "\u00a0", "  "]), min_size=4, max_size=4),
)
def test_law_the_doubt_is_even_about_the_value(value, doubt, spaces):
    text = f"{value}{spaces[0]}dB{spaces[1]}±{spaces[2]}{doubt}{spaces[3]}dB"
    quantity = parse_quantity(text, kind="ratio")
    assert quantity.low == float(Fraction(value) - Fraction(doubt))
    assert quantity.high == float(Fraction(value) + Fraction(doubt))


@given(text=st.text(max_size=30), kind=st.sampled_from(sorted(KINDS)))
def test_law_any_text_is_a_finite_quantity_or_one_sentence(text, kind):
    try:
        quantity = parse_quantity(text, kind=kind)
    except QuantityError as refusal:
        assert str(refusal).endswith(".")  # noqa: PT017
    else:
        assert math.isfinite(quantity.value)


@given(text=st.text(alphabet="0123456789.+-±e%/, MHzkdBmµ", max_size=20), kind=st.sampled_from(sorted(KINDS)))
def test_law_nearly_right_text_is_a_finite_quantity_or_one_sentence(text, kind):
    try:
        quantity = parse_quantity(text, kind=kind)
    except QuantityError as refusal:
        assert str(refusal).endswith(".")  # noqa: PT017
    else:
        assert math.isfinite(quantity.value)
        assert quantity.low is None or quantity.low <= quantity.value <= quantity.high


def test_limit_parsing_needs_no_heavy_library():
    code = "import sys, tepui.ground.quantity; print(int(bool({'numpy', 'scipy', 'numba'} & set(sys.modules))))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "0"

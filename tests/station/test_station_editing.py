"""Changes to the text of a station file: tomllib says that one value changed, the lines say that nothing else did."""

import tomllib

import pytest

from tepui.ground.errors import InputError
from tepui.station.editing import with_entry, with_neighbours_exchanged, with_value, without_entry
from tepui.station.example import example_text
from tepui.station.fields import Field, fields_of, part_of, parts_of, problem_of, rules_for, value_typed
from tepui.station.nouns import SINGLE
from tepui.station.read import read_station

TEXT = example_text()
PARTS = [part.name for part in parts_of(TEXT)]


def changed_lines(before, after):
    """Lines that only one of two texts has."""
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


@pytest.mark.parametrize("name", PARTS)
def test_law_every_value_written_as_it_stands_changes_nothing(name):
    part = part_of(TEXT, name)
    for field in fields_of(TEXT, part):
        assert field.wrong == ""
        if field.stated:
            value = value_typed(field, field.typed, origin=field.origin, reading=field.reading)
            assert with_value(TEXT, part.where, field.key, value, order=list(rules_for(part))) == TEXT, field.key


@pytest.mark.parametrize("name", PARTS)
def test_law_every_key_taken_out_and_put_back_leaves_the_same_values(name):
    part = part_of(TEXT, name)
    order = list(rules_for(part))
    for field in [one for one in fields_of(TEXT, part) if one.stated]:
        value = value_typed(field, field.typed, origin=field.origin, reading=field.reading)
        without = with_value(TEXT, part.where, field.key, None, order=order)
        assert without.count("#") in (TEXT.count("#"), TEXT.count("#") - TEXT.splitlines()[field.line - 1].count("#"))
        assert tomllib.loads(with_value(without, part.where, field.key, value, order=order)) == tomllib.loads(TEXT)


def test_law_a_changed_value_keeps_its_comment_and_every_other_line():
    after = with_value(TEXT, ("stage", 2), "poles", 5, order=[])
    gone, come = changed_lines(TEXT, after)
    assert len(gone) == len(come) == 1
    assert come[0].startswith("poles = 5 ")
    assert come[0].split("#")[1] == gone[0].split("#")[1]


def test_law_a_new_key_stands_behind_the_one_before_it_in_the_rules():
    part = part_of(TEXT, "stage-5")
    after = with_value(TEXT, part.where, "oip3", "50 dBm", order=list(rules_for(part)))
    lines = after.splitlines()
    at = lines.index('oip3 = "50 dBm"')
    assert lines[at - 1].startswith("p1db = ")
    assert lines[:at] + lines[at + 1 :] == TEXT.splitlines()


def test_law_a_new_key_does_not_land_inside_a_list_of_lines():
    text = with_value(TEXT, ("stage", 4), "gain", None, order=[])
    text = text.replace('max_input = "20 dBm"', 'drive_curve = [\n  "0 dBm: 26 dBm", # one\n  "9 dBm: 34 dBm",\n]')
    after = with_value(text, ("stage", 4), "harmonic_3", "-40 dB", order=list(rules_for(part_of(text, "stage-5"))))
    assert tomllib.loads(after)["stage"][4]["harmonic_3"] == "-40 dB"
    assert "# one" in after


@pytest.mark.parametrize("table", [table for table in SINGLE if f"[{table}]" not in TEXT.splitlines()])
def test_law_a_table_that_is_not_there_is_begun_at_the_end(table):
    after = with_value(TEXT, (table, None), "raster", "1 MHz", order=["raster"])
    assert after.startswith(TEXT)
    assert tomllib.loads(after)[table] == {"raster": "1 MHz"}


def test_law_entries_are_added_taken_out_and_exchanged_as_whole_blocks():
    names = [stage["name"] for stage in tomllib.loads(TEXT)["stage"]]

    def order(text):
        read_station(text, file="station.toml")
        return [stage["name"] for stage in tomllib.loads(text)["stage"]]

    padded = with_entry(TEXT, "stage", {"name": "pad 1", "kind": "pad"}, after=1)
    assert order(padded) == [*names[:2], "pad 1", *names[2:]]
    assert without_entry(padded, "stage", 2) == TEXT
    swapped = with_neighbours_exchanged(TEXT, "stage", 2)
    assert order(swapped) == [*names[:2], names[3], names[2], *names[4:]]
    assert with_neighbours_exchanged(swapped, "stage", 2) == TEXT
    assert tomllib.loads(with_entry(TEXT, "local", {"frequency": "690 MHz"}, after=None))["local"] == [
        {"frequency": "690 MHz"}
    ]


@pytest.mark.parametrize(
    ("key", "typed", "says"),
    [
        ("gain", "26", "no unit"),
        ("p1db", "45 db", "Nearest: dBm"),
        ("amplifier_class", "C", "A, AB or B"),
        ("current", "-1 A", "not possible"),
        ("fan", "yes", "true or false"),
        ("drive_curve", "0 dBm", "no row"),
    ],
)
def test_message_of_a_field(key, typed, says):
    field = next(one for one in fields_of(TEXT, part_of(TEXT, "stage-5")) if one.key == key)
    said = problem_of(field, value_typed(field, typed))
    assert says in said
    assert "station.toml, line" not in said  # it stands beside its field


@pytest.mark.parametrize(
    ("key", "typed", "value"),
    [
        ("poles", "4", 4),
        ("unloaded_q", "900", 900),
        ("response", "0.7 dB", "0.7 dB"),
        ("response", "filter.s2p", "filter.s2p"),
        ("response", "-5, 0.9\n0, 0.8\n5, 7.6", [[-5.0, 0.9], [0.0, 0.8], [5.0, 7.6]]),
        ("response", "", None),
    ],
)
def test_law_words_become_what_the_file_holds(key, typed, value):
    field = next(one for one in fields_of(TEXT, part_of(TEXT, "stage-3")) if one.key == key)
    assert value_typed(field, typed) == value
    if value is not None:
        assert problem_of(field, value) == ""


def test_law_origin_and_reading_go_with_a_figure():
    field = next(one for one in fields_of(TEXT, part_of(TEXT, "stage-5")) if one.key == "gain")
    assert isinstance(field, Field)
    told = value_typed(field, "27 dB ± 0.5 dB", origin="measured", reading="head, 3 May")
    after = with_value(TEXT, ("stage", 4), "gain", told, order=[])
    gain = read_station(after, file="station.toml").stage("amplifier").gain
    assert (gain.value, gain.origin, gain.reading) == (27.0, "measured", "head, 3 May")


@pytest.mark.parametrize("text", ["x = ", "[[stage]\n", "x = [" * 5000])
def test_message_of_text_that_is_not_toml(text):
    with pytest.raises(InputError, match="not TOML"):
        parts_of(text)


@pytest.mark.parametrize(
    "act",
    [
        lambda: with_value(TEXT, ("stage", 40), "gain", "3 dB", order=[]),
        lambda: without_entry(TEXT, "stage", 40),
        lambda: with_neighbours_exchanged(TEXT, "stage", 6),
        lambda: part_of(TEXT, "stage-40"),
    ],
)
def test_message_of_an_entry_that_is_not_there(act):
    with pytest.raises(InputError, match=r"no entry|no part"):
        act()

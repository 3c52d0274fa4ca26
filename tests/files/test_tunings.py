"""Lists of tunings: what a table may say, and how it is refused."""

import json

import pytest

from tepui.files.tunings import read_tunings
from tepui.ground.errors import FormatError


def test_limit_csv_and_json_say_the_same(tmp_path):
    csv, document = tmp_path / "a.csv", tmp_path / "a.json"
    csv.write_text("# mine\nfrequency_hz;terminated;name\n1282.5e6;yes;low\n1289.5e6;;\n", encoding="utf-8")
    columns = [{"key": key, "unit": ""} for key in ("side", "frequency_hz", "terminated", "name")]
    rows = [["lower", 1282.5e6, True, "low"], ["upper", 1289.5e6, None, None]]
    document.write_text(json.dumps({"tables": {"tunings": {"columns": columns, "rows": rows}}}), encoding="utf-8")
    for path in (csv, document):
        first, second = read_tunings(path)
        assert (first.values, first.terminated, first.name) == ({"frequency_hz": 1282.5e6}, True, "low")
        assert (second.values, second.terminated, second.name) == ({"frequency_hz": 1289.5e6}, None, None)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "lists no tunings"),
        ("frequency_hz\n", "lists no tunings"),
        ("frequency\n1e9\n", 'row|"frequency" is no column .* Nearest: frequency_hz'),
        ("frequency_hz,frequency_hz\n1,2\n", "occurs twice"),
        ("frequency_hz\n1282.5 MHz\n", 'row 1: frequency_hz must be a bare number, not "1282.5 MHz"'),
        ("frequency_hz\n-1\n", "row 1: frequency_hz must be above zero"),
        ("frequency_hz,duration_s\n1e9,0\n", "duration_s must be above zero"),
        ("frequency_hz,duration_s\n,1\n", "row 1: frequency_hz is missing"),
        ("frequency_hz,terminated\n1e9,maybe\n", 'terminated must be yes or no, not "maybe"'),
        ("frequency_hz,name\n1e9,../x\n", "file name without a folder"),
        ("frequency_hz,name\n1,5,x\n", "3 cells under 2 headings"),
        ("{}", 'no JSON document with a table "tunings"'),
    ],
)
def test_limit_refusals(tmp_path, text, sentence):
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FormatError, match=sentence):
        read_tunings(path)

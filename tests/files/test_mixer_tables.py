"""Tables an operator writes for a frequency plan, and what is said of bad ones."""

import pytest

from tepui.files.mixer_tables import read_band_table, read_mixer_table
from tepui.ground.errors import FormatError


def written(tmp_path, text):
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_levels_by_multiples_whatever_the_sign(tmp_path):
    path = written(tmp_path, "n;m;level_db;doubt_db\n1;-2;-60.5;3\n3;1;−55;\n")
    assert read_mixer_table(path) == {(2, 1): (-60.5, 3.0), (1, 3): (-55.0, None)}


def test_a_band_in_any_order(tmp_path):
    rows = "".join(f"{mhz},{-mhz}\n" for mhz in (478, 474, 482, 486, 490, 494, 498, 502))
    frequency, level = read_band_table(written(tmp_path, "MHz,dB\n" + rows))
    assert frequency[0] == 474e6
    assert level[0] == -474


@pytest.mark.parametrize(("text", "sentence"), [
    ("m,n,level\n1,1,0\n", r"has no column level_db; a mixer table has m, n, level_db"),
    ("m,n,level_db\n1.5,1,-30\n", r"line 2: m and n are whole numbers and not both 0, not 1\.5 and 1"),
    ("m,n,level_db\n1,2,loud\n", r'line 2: level_db must be a bare number such as -33\.9, not "loud"'),
    ("m,n,level_db\n", r"holds a heading and no row"),
])  # fmt: skip
def test_bad_mixer_tables_are_refused(tmp_path, text, sentence):
    with pytest.raises(FormatError, match=sentence):
        read_mixer_table(written(tmp_path, text))


def test_a_band_of_few_points_is_refused(tmp_path):
    with pytest.raises(FormatError, match=r"holds 1 points; a spectrum of the local band needs eight or more"):
        read_band_table(written(tmp_path, "MHz,dB\n474,-30\n"))

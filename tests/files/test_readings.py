import pytest

from tepui.files.readings import read_loss_table, read_readings
from tepui.ground.errors import FormatError


def write(folder, text, name="table.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_law_columns_in_any_order_empty_cells_and_remarks(tmp_path):
    text = "# of a Sunday\nshoulder_worst_db, setting_dbm ,recording,supply_a\n−33.9,9,,\n\n,10,later.wav,5.2\n"
    first, second = read_readings(write(tmp_path, text))
    assert first.values == {"shoulder_worst_db": -33.9, "setting_dbm": 9.0}
    assert first.recordings == ()
    assert second.values == {"setting_dbm": 10.0, "supply_a": 5.2}
    assert second.recordings == (tmp_path / "later.wav",)
    assert (first.line, second.line) == (3, 5)


@pytest.mark.parametrize("mark", [";", "\t"])
def test_law_other_separators(tmp_path, mark):
    text = f"setting_dbm{mark}shoulder_worst_db\r\n9{mark}-33.9\r\n"
    assert read_readings(write(tmp_path, "\ufeff" + text))[0].values["shoulder_worst_db"] == -33.9


# Spreadsheets of half the world write a comma as decimal mark and part the cells with semicolons.
def test_law_decimal_commas_where_they_do_not_part_the_cells(tmp_path):
    text = "setting_dbm;shoulder_worst_db\n9,5;-33,9\n"
    assert read_readings(write(tmp_path, text))[0].values == {"setting_dbm": 9.5, "shoulder_worst_db": -33.9}
    quoted = 'setting_dbm,shoulder_worst_db\n"9,5","-33,9"\n'
    assert read_readings(write(tmp_path, quoted))[0].values == {"setting_dbm": 9.5, "shoulder_worst_db": -33.9}
    frequency, loss = read_loss_table(write(tmp_path, "-0,5;1,25\n0;1\n0,5;2\n"))
    assert (list(frequency), list(loss)) == ([-0.5e6, 0.0, 0.5e6], [1.25, 1.0, 2.0])


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "holds no readings"),
        ("setting_dbm,shoulder_worst_db\n", "holds no readings"),
        ("seting_dbm,shoulder_worst_db\n9,-30\n", r'line 1: "seting_dbm" is no column .* Nearest: setting_dbm\.'),
        ("setting_dbm,setting_dbm\n9,9\n", "a column occurs twice"),
        ("setting_dbm,shoulder_worst_db\n9,-30 dB\n", r'line 2: shoulder_worst_db must be a bare number .*"-30 dB"'),
        ("setting_dbm,shoulder_worst_db\n9,nan\n", "must be a bare number"),
        ("setting_dbm,shoulder_worst_db\n9,30\n", r"negative, not 30; write -30\."),
        ("setting_dbm,shoulder_worst_db,doubt_db\n9,-30,0\n", "doubt_db must be above zero"),
        ("setting_dbm,shoulder_worst_db\n1e30,-30\n", "setting_dbm must lie between -150 and 100"),
        ("setting_dbm,shoulder_worst_db,pad_db\n1,-30,-3\n", "pad_db must lie between 0 and 150"),
        ("setting_dbm,power_dbm\n9,30\n", "no row has a shoulder or a recording"),
        ("setting_dbm,power_dbm,shoulder_worst_db\n9,,\n10,30,-30\n", "a row needs a reading or a recording"),
        ("setting_dbm,shoulder_worst_db\n9,-30,4,5\n", "4 cells under 2 headings; write decimals with a point"),
    ],
)
def test_refusals(tmp_path, text, sentence):
    with pytest.raises(FormatError, match=sentence):
        read_readings(write(tmp_path, text))


def test_refusals_of_what_is_no_table(tmp_path):
    with pytest.raises(FormatError, match="is a folder"):
        read_readings(tmp_path)
    with pytest.raises(FormatError, match="cannot be opened"):
        read_readings(tmp_path / "none.csv")
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\x00\x01" * 9)
    with pytest.raises(FormatError, match="not text in UTF-8"):
        read_readings(binary)
    binary.write_bytes(b"0" * ((1 << 20) + 1))
    with pytest.raises(FormatError, match="larger than a megabyte"):
        read_readings(binary)


def test_law_a_loss_table_is_sorted_and_in_hertz(tmp_path):
    frequency, loss = read_loss_table(write(tmp_path, "MHz,dB\n4,2.0\n-4,1.0\n0,0.5\n"))
    assert list(frequency) == [-4e6, 0.0, 4e6]
    assert list(loss) == [1.0, 0.5, 2.0]
    assert list(read_loss_table(write(tmp_path, "0;1\n1;2\n2;3\n"))[1]) == [1.0, 2.0, 3.0]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("MHz,dB\n0,1\n1,2\n", "2 points"),
        ("MHz\n0\n1\n2\n", "two columns"),
        ("0,1\n0,2\n1,2\n", "a frequency twice"),
        ("0,-1\n1,-2\n2,-2\n", "gain, not loss"),
    ],
)
def test_refusals_of_loss_tables(tmp_path, text, sentence):
    with pytest.raises(FormatError, match=sentence):
        read_loss_table(write(tmp_path, text))

from pathlib import Path

import numpy as np
import pytest

from tepui.files.settings import read_settings, with_settings
from tepui.ground.errors import FormatError
from tepui.signals.recording import recording_from_samples


def table(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "settings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_law_rows_are_read(tmp_path):
    path = table(
        tmp_path,
        "# evening\nrecording;frequency_hz;rate_hz;type;attenuator_db;terminated\n"
        "a.raw;1.285e9;2.4e6;cu8;10;no\nb.raw;;;;;yes\n",
    )
    first, second = read_settings(path)
    assert first.path == tmp_path / "a.raw"
    assert (first.frequency_hz, first.rate_hz, first.sample_type) == (1.285e9, 2.4e6, "cu8")
    assert first.settings == {"attenuator_db": 10.0, "terminated": False}
    assert second.settings == {"terminated": True}
    assert second.frequency_hz is None


def test_law_the_table_outranks_the_file_and_says_so(tmp_path):
    (row,) = read_settings(table(tmp_path, "recording,attenuator_db,practice\na,6,yes\n"))
    plain = recording_from_samples("a", np.ones(4), sample_rate_hz=1e6)
    once = with_settings(plain, row)
    assert once.stretches[0].settings == {"attenuator_db": 6.0, "practice": True}
    assert (once.remarks, once.practice) == ((), True)
    (other,) = read_settings(table(tmp_path, "recording,attenuator_db\na,10\n"))
    assert with_settings(once, other).remarks == (
        "The metadata say another attenuator_db; the table of settings was used.",
    )


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("recording\n", r"holds no settings; write a heading such as recording,frequency_hz,attenuator_db"),
        ("recording,atenuator_db\na,1\n", r'line 1: "atenuator_db" is no column.*Nearest: attenuator_db\.'),
        ("frequency_hz\n1e9\n", r"line 1: a table of settings needs the column recording"),
        ("recording,attenuator_db\n,1\n", r"line 2: the row names no recording"),
        ("recording,attenuator_db\na,-6\n", r"line 2: attenuator_db is a loss and positive, not -6; write 6\."),
        ("recording,if_gain_db\na,20 dB\n", r"line 2: if_gain_db must be a bare number"),
        ("recording,terminated\na,maybe\n", r'line 2: terminated must be yes or no, not "maybe"\.'),
        ("recording,agc\na,no\na,yes\n", r"tells the settings of a twice; keep one row of each recording\."),
    ],
)
def test_message_of_a_table_that_cannot_be_used(tmp_path, text, sentence):
    with pytest.raises(FormatError, match=sentence):
        read_settings(table(tmp_path, text))

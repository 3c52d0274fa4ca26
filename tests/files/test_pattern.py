"""An antenna's pattern from a table."""

import pytest

from tepui.files.pattern import read_pattern
from tepui.ground.errors import FormatError


def written(tmp_path, text):
    path = tmp_path / "p.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_limit_between_rows_it_is_a_straight_line(tmp_path):
    pattern = read_pattern(written(tmp_path, "# mine\nangle_deg;loss_db\n0;0\n90;10\n180;20\n"))
    assert pattern.loss_at_db(45) == pytest.approx(5)
    assert pattern.loss_at_db(-135) == pytest.approx(15)


# Of two sides the one that radiates more counts: 3 dB to the left at 30 degrees, 6 dB to the right.
@pytest.mark.parametrize("text", ["-180,20\n-30,3\n0,0\n30,6\n180,20\n", "0,0\n30,6\n180,20\n330,3\n"])
def test_law_of_two_sides_the_stronger_counts(tmp_path, text):
    assert read_pattern(written(tmp_path, "angle_deg,loss_db\n" + text)).loss_at_db(30) == pytest.approx(3)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("angle_deg,loss_db\n0,0\n90,-3\n", "line 3: loss_db runs from 0"),
        ("angle_deg,loss_db\n0,0\n60,3\n", "must reach 90"),
        ("angle_deg,loss_db\n10,0\n180,3\n", "needs its axis"),
        ("angle_deg,loss_db\n0,0\n400,3\n", "line 3: angle_deg runs from 0 to 180"),
        ("angle_deg,loss_db\n0,zero\n90,3\n", 'loss_db must be a bare number .*"zero"'),
        ("angle_deg,gain_db\n0,0\n90,3\n", '"gain_db" is no column'),
        ("", "holds 0 angles"),
    ],
)
def test_what_is_no_pattern_is_refused(tmp_path, text, sentence):
    with pytest.raises(FormatError, match=sentence):
        read_pattern(written(tmp_path, text))

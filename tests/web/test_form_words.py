"""From forms to commands and back: tables typed in, lists of tunings, names for what is new."""

import pytest

from tepui.files.tunings import read_tunings
from tepui.ground.errors import InputError
from tepui.web.form_words import asked_again, form_of, tunings_csv, typed_table, words_of
from tepui.web.forms import FORMS
from tepui.web.state import BenchState


@pytest.fixture
def state(tmp_path):
    (tmp_path / "a.csv").write_text("frequency_hz\n1286e6\n")
    return BenchState(folder=tmp_path, workshop=None, watching=None, chain=None, practice=False)


def test_limit_bare_numbers_get_the_heading_that_fits():
    form = FORMS["drive"]
    assert typed_table(form, "-3 -38\n\n -2,-37 ") == "setting_dbm,shoulder_worst_db\n-3,-38\n-2,-37\n"
    assert typed_table(form, "1;2;3").startswith("setting_dbm,shoulder_lower_db,shoulder_upper_db\n1,2,3")
    own = "setting_dbm,power_dbm,shoulder_worst_db\n1,2,3\n"
    assert typed_table(form, own) == own


@pytest.mark.parametrize("text", ["1", "1 2 3 4", "1 2\n1 2 3"])
def test_message_of_rows_that_fit_no_heading(text):
    with pytest.raises(InputError, match="columns; without a heading they are setting_dbm shoulder_worst_db, or"):
        typed_table(FORMS["drive"], text)


def test_law_a_recording_goes_to_a_new_name_in_the_folder(state):
    given = {"receiver": "practice", "out": "../../etc/pad 10", "for": "1 s"}
    words = words_of(FORMS["record"], given, ["a.csv"], state)
    assert words[:3] == ["record", "--list", str(state.folder / "a.csv")]
    assert words[words.index("--out") + 1] == str(state.folder / "pad 10")
    words = words_of(FORMS["record"], {"receiver": "practice"}, [], state)
    assert words[words.index("--out") + 1].startswith(str(state.folder / "taken-"))


@pytest.mark.parametrize("name", ["a.csv", "taken"])
def test_message_of_a_name_that_is_taken(state, name):
    (state.folder / "taken.sigmf-meta").write_text("{}")
    with pytest.raises(InputError, match="is there already"):
        words_of(FORMS["record"], {"receiver": "practice", "out": name}, [], state)


@pytest.mark.parametrize("name", ["..", "/", "...", "bench-results", "..\\.."])
def test_message_of_a_name_that_leaves_nothing(state, name):
    with pytest.raises(InputError, match="is no name for something new"):
        state.new_place(name, begins="taken")


def test_law_what_was_asked_is_asked_again_without_typing(state):
    given = {"target": "-32 dB", "baseline": "-38 dB ± 0.3 dB"}
    words = words_of(FORMS["drive"], given, ["a.csv"], state)
    form = form_of(words)
    assert form is FORMS["drive"]
    again = asked_again(form, words, state.folder)
    assert again == "/do/drive?file=a.csv&target=-32+dB&baseline=-38+dB+%C2%B1+0.3+dB"
    assert form_of(["spectrum", "--tunings"]) is FORMS["tunings"]
    assert form_of(["spectrum", "x.wav"]) is FORMS["spectrum"]
    assert form_of(["levels"]) is None


# The reader of lists of tunings takes what a result's tunings become.
def test_law_tunings_of_a_result_can_be_recorded(tmp_path):
    table = {
        "columns": [{"key": "side"}, {"key": "tuned_hz"}],
        "rows": [["lower", 1282521875.0], ["upper", 1289478125.0]],
    }
    document = {"tables": {"quick_tunings": table}, "findings": [{"key": "recording_time_s", "value": 0.205}]}
    assert tunings_csv(document, which="sweep") is None
    assert tunings_csv(None, which="quick") is None
    path = tmp_path / "list.csv"
    path.write_text(tunings_csv(document, which="quick"))
    rows = read_tunings(path)
    assert [row.values for row in rows] == [
        {"frequency_hz": 1282521875.0, "duration_s": 0.205},
        {"frequency_hz": 1289478125.0, "duration_s": 0.205},
    ]

"""The log as a noun: nothing is changed, everything comes back, an edit is a revision, undo walks back."""

import json
import sqlite3

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tepui.ground.errors import FormatError, InputError
from tepui.logbook.copybook import copy_path, sound_lines
from tepui.logbook.kinds import KINDS, KeptFile
from tepui.logbook.records import line_of, revision_from
from tepui.logbook.store import Log, new_revision

READING = {"point": "after amplifier", "key": "power_dbm", "value": 36.7, "unit": "dBm", "low": 36.2, "high": 37.2}
DOCUMENT = {
    **{"tepui": "0.1.0", "schema": 1, "verb": "receive", "station": None, "practice": True, "files": [], "tables": {}},
    "utc": "2026-01-31T20:15:00Z",
    "inputs": [{"path": "a", "bytes": 3, "sha256": "0" * 64}],
    "findings": [
        {
            **{"about": "recording:a", "key": "mer_db", "kind": "result", "value": 31.0, "unit": "dB", "low": 30.0},
            **{"high": 32.0, "standing": "measured", "source": "x", "remark": "", "contributions": []},
        }
    ],
}


@pytest.fixture
def log(tmp_path):
    with Log(tmp_path / "log.sqlite", create=True, write=True) as log:
        yield log


def test_law_the_file_is_as_promised(log):
    """Strict tables, write-ahead journal, foreign keys, a counted schema: as the pragmas of SQLite tell them."""
    log.add("note", {"text": "a"})
    ask = log._database.execute
    assert ask("PRAGMA journal_mode").fetchone() == ("wal",)
    assert ask("PRAGMA foreign_keys").fetchone() == (1,)
    assert ask("PRAGMA synchronous").fetchone() == (2,)
    assert ask("PRAGMA user_version").fetchone()[0] >= 1
    tables = [(name, strict) for _, name, kind, _, _, strict in ask("PRAGMA table_list") if kind == "table"]
    assert {name for name, _ in tables if not name.startswith("sqlite_")} >= {"entry", "revision", *KINDS}
    assert all(strict for name, strict in tables if not name.startswith("sqlite_"))


@pytest.mark.parametrize("table", ["entry", "revision", "reading", "note"])
@pytest.mark.parametrize("change", ["DELETE FROM {0}", "UPDATE {0} SET rowid = rowid + 1"])
def test_law_nothing_that_is_written_can_be_changed(log, table, change):
    log.add("reading", READING)
    log.add("note", {"text": "a"})
    with pytest.raises(sqlite3.IntegrityError, match="only grows"):
        log._database.execute(change.format(table))


def test_law_an_edit_is_a_revision_and_undo_walks_back_to_the_beginning(log):
    number = log.add("reading", READING, utc="2026-01-31T20:15:00Z", who="Q1ABC").number
    log.edit(number, {"value": 36.9, "low": None, "high": None})
    log.edit(number, {"note": "new pads"})
    log.withdraw(number)
    assert log.entries() == []
    seen = [log.undo(number).revision for _ in range(4)]
    assert [(one.body["value"], one.body["note"], one.withdrawn) for one in seen] == [
        (36.9, "new pads", False),
        (36.9, None, False),
        (36.7, None, False),
        (36.7, None, True),
    ]
    assert [one.number for one in log.history(number)] == list(range(1, 9))
    assert {one.utc for one in log.history(number)} == {"2026-01-31T20:15:00Z"}
    with pytest.raises(InputError, match="nothing of entry 1 is left to undo"):
        log.undo(number)
    assert len(log.history(number)) == 8


@pytest.mark.parametrize(
    ("kind", "body", "sentence"),
    [
        ("reading", {**READING, "value": float("nan")}, "value must be a finite number"),
        ("reading", {**READING, "value": "36.7"}, "value must be a finite number"),
        ("reading", {**READING, "low": 36.8}, "must lie within low and high"),
        ("reading", {**READING, "high": None}, "both low and high"),
        ("reading", {**READING, "power": 1.0}, "has no field 'power'"),
        ("reading", {key: value for key, value in READING.items() if key != "point"}, "needs its point"),
        ("contact", {"call": "Q2DEF", "direction": "back", "adif": "[]", "adif_header": "[]"}, "both, sent or"),
        ("contact", {"call": "Q2DEF", "direction": "both", "report_sent": "P6", "adif": "[]"}, "P0 to P5, not 'P6'"),
        ("contact", {"call": "Q2DEF", "direction": "both", "locator": "ZZ99", "adif": "[]"}, "a locator"),
        ("findings", {"verb": "a", "program": "1", "document": "{}"}, "a document that a verb printed"),
        ("poem", {}, "kind must be one of"),
    ],
)
def test_limit_what_cannot_be_held_is_one_sentence_and_nothing_is_written(log, kind, body, sentence):
    with pytest.raises(FormatError, match=sentence):
        log.add(kind, body)
    assert log.entries() == []


def test_law_findings_can_be_searched_row_by_row(log):
    log.add("findings", {"verb": "receive", "program": "0.1.0", "document": json.dumps(DOCUMENT)}, practice=True)
    ask = log._database.execute
    assert ask("SELECT key, value, low, high FROM finding").fetchall() == [("mer_db", 31.0, 30.0, 32.0)]
    assert ask("SELECT path, bytes, sha256 FROM finding_input").fetchall() == [("a", 3, "0" * 64)]


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=40).filter(
    str.strip
)
numbers = st.floats(allow_nan=False, allow_infinity=False)


@settings(max_examples=200)
@given(texts, texts, numbers, st.one_of(st.none(), texts), st.integers(1, 10**6))
def test_law_a_line_gives_back_the_revision(point, unit, value, who, seq):
    body = {"point": point, "key": "x_db", "value": value, "unit": unit}
    file = KeptFile(role="picture", name="a.png", sha256="a" * 64, size_bytes=4)
    revision = new_revision("reading", body, who=who, practice=True, files=(file,))
    place, again = revision_from(line_of(revision, seq=seq), where="it")
    assert place == seq
    assert again.body == {**dict.fromkeys(KINDS["reading"]), **body}
    assert (again.who, again.files, again.uid) == (who, (file,), revision.uid)


def test_law_any_letter_changed_in_a_line_is_found():
    line = line_of(new_revision("note", {"text": "abc"}), seq=3)
    changed = 0
    for place in range(len(line)):
        other = line[:place] + next(letter for letter in "45xy" if letter != line[place]) + line[place + 1 :]
        try:
            seq, _ = revision_from(other, where="line 1")
        except FormatError:
            continue
        assert seq != 3  # its place is not part of what it says
        changed += 1
    assert changed == 1


def test_law_the_copy_says_what_the_log_says(tmp_path, log):
    for n in range(5):
        log.add("note", {"text": f"note {n} ± ✓"})
    log.edit(3, {"text": "other"})
    copied, damaged = sound_lines(copy_path(log.path))
    assert damaged == []
    assert copied == [revision for _, revision in log.all_revisions()]


def test_law_logs_are_joined_once_and_only_where_they_agree(tmp_path, log):
    log.add("note", {"text": "a"})
    log.edit(1, {"text": "b"})
    with Log(tmp_path / "other.sqlite", create=True, write=True) as other:
        other.add("note", {"text": "first here"})
        revisions = [revision for _, revision in log.all_revisions()]
        assert other.merge(revisions) == 2
        assert other.merge(revisions) == 0
        assert [entry.revision.body["text"] for entry in other.entries()] == ["first here", "b"]
        other.edit(2, {"text": "c"})
        log.edit(1, {"text": "d"})
        with pytest.raises(FormatError, match="continued here and there in different ways"):
            other.merge([revision for _, revision in log.all_revisions()])
        assert other.entry(2).revision.body["text"] == "c"
        log.edit(1, {"text": "e"})
        with pytest.raises(FormatError, match="does not follow what is here"):
            other.merge([new_revision("note", {"text": "fresh"}), log.edit(1, {"text": "f"}).revision])
        assert len(other.entries()) == 2

"""A filter at the screws: the folder is watched by listing it, the newest trace becomes lines, nothing is lost."""

import os
import time
from pathlib import Path

import pytest

import tepui.web.screws as module
from tepui.desk.workshop import DONE, REFUSED, Work
from tepui.web.screw_pages import advice_lines
from tepui.web.screws import Screws
from tepui.web.state import BenchState

COLUMNS = [{"key": key} for key in ("rod", "screw_way", "advice")]


class Workshop:
    """Stands in: what is submitted ends when told."""

    def __init__(self):
        self.works = []

    def submit(self, words, *, title, pictures, listed):
        assert not listed
        work = Work(number=len(self.works), title=title, words=tuple(words), folder=Path("."), utc="")
        self.works.append(work)
        return work

    def get(self, number):
        return self.works[number]

    def end(self, state=DONE, sentence="", rows=()):
        last = self.works[-1]
        document = {"tables": {"resonators": {"columns": COLUMNS, "rows": rows}}, "findings": []}
        self.works[-1] = Work(
            **{**vars(last), "state": state, "sentence": sentence, "document": document if state == DONE else None}
        )


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "STEADY_S", 0.0)
    workshop = Workshop()
    state = BenchState(folder=tmp_path, workshop=workshop, watching=None, chain=None, practice=False)
    screws = Screws(workshop)
    screws.start({"centre": "1296 MHz", "width": "", "poles": "3"})
    return screws, state, workshop


def save(state, name, text, *, age_s=0.0):
    path = state.folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text)
    os.utime(path, (time.time() - age_s,) * 2)


def looked(screws, state):
    """Twice: once to see a file, once to see that it stood still."""
    screws.look(state)
    return screws.look(state)


def test_law_the_newest_trace_is_read_once_and_its_lines_shown(bench):
    screws, state, workshop = bench
    save(state, "old.s2p", "! old", age_s=60)
    save(state, "sub/new.s2p", "! new")
    told = looked(screws, state)
    assert told.name == "sub/new.s2p"
    assert workshop.works[0].words == (
        "tune", str(state.folder / "sub/new.s2p"), "--centre", "1296 MHz", "--poles", "3",
    )  # fmt: skip
    workshop.end(rows=[[1, "out", "rod 1 is 3 MHz low: screw out"], [2, "leave", "near enough"]])
    told = looked(screws, state)
    assert [(line["rod"], line["word"]) for line in advice_lines(told)] == [("1", "turn out"), ("2", "leave it")]
    looked(screws, state)
    assert len(workshop.works) == 1  # it is not read again


def test_law_a_file_that_still_grows_is_not_judged(bench, monkeypatch):
    screws, state, workshop = bench
    monkeypatch.setattr(module, "STEADY_S", 3600.0)
    for size in range(1, 4):
        save(state, "grows.s2p", "!" * size)
        looked(screws, state)
    assert workshop.works == []


def test_law_a_refused_trace_says_why_and_the_last_lines_stay(bench):
    screws, state, workshop = bench
    save(state, "good.s2p", "! good", age_s=5)
    looked(screws, state)
    workshop.end(rows=[[1, "in", "rod 1 is high: screw in"]])
    save(state, "half.s2p", "! half")
    looked(screws, state)
    workshop.end(state=REFUSED, sentence="line 3 holds text.")
    told = looked(screws, state)
    assert told.sentence == "half.s2p: line 3 holds text."
    assert advice_lines(told)[0]["word"] == "turn in"
    assert told.shown == "good.s2p"


def test_law_a_turn_is_told_between_the_last_two_traces(bench):
    screws, state, workshop = bench
    for number, name in enumerate(("one.s2p", "two.s2p")):
        save(state, name, "!", age_s=5 - number)
        looked(screws, state)
        workshop.end()
    looked(screws, state)
    screws.turned(state, screw=" 2", turns="-0.25 ")
    words = workshop.works[-1].words
    assert words[1:3] == (str(state.folder / "one.s2p"), str(state.folder / "two.s2p"))
    assert words[-2:] == ("--turned", "2: -0.25")


@pytest.mark.parametrize(
    ("text", "is_curve"),
    [
        ("MHz,dB\n1280,1.0\n1290,0.6\n", True),
        ("frequency_hz,duration_s\n1282521875,0.2\n", False),
        ("setting_dbm,shoulder_lower_db,shoulder_upper_db\n-3,-38,-38\n", False),
        ("name,dB\nx,1\n", False),
        ("", False),
    ],
)
def test_limit_a_table_of_two_columns_may_be_a_curve(bench, text, is_curve):
    screws, state, workshop = bench
    save(state, "table.csv", text)
    looked(screws, state)
    assert bool(workshop.works) == is_curve


def test_law_nothing_is_looked_through_when_off(bench):
    screws, state, workshop = bench
    screws.stop()
    save(state, "new.s2p", "!")
    looked(screws, state)
    assert workshop.works == []

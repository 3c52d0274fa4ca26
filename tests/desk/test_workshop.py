"""The workshop: work goes on by itself, can be stopped at any moment, and what came of it is kept."""

import json
import os
import time

import pytest

from tepui.desk.workshop import DONE, RECORD, REFUSED, RUNNING, STOPPED, WAITING, Workshop

ENTRY = "stub_entry:run"
PATIENT_S = 60.0


@pytest.fixture
def workshop(tmp_path):
    made = Workshop(tmp_path, entry=ENTRY, processes=1)
    yield made
    made.close()


def running(workshop, number):
    end = time.monotonic() + PATIENT_S
    while time.monotonic() < end:
        work = workshop.get(number)
        if work.state == RUNNING and work.share:
            return work
        time.sleep(0.02)
    raise AssertionError(workshop.get(number))


def test_law_a_command_is_run_and_its_document_kept(workshop, tmp_path):
    work = workshop.submit(["measure", "a.wav"], title="a")
    ended = workshop.wait(work.number, timeout_s=PATIENT_S)
    assert ended.state == DONE
    assert ended.document["words"] == ["measure", "a.wav", "--plots", str(work.folder / "pictures"), "--json"]
    again = Workshop(tmp_path, entry=ENTRY, processes=1)
    try:
        assert again.get(work.number).document == ended.document
        assert again.submit(["more"], title="b").number == work.number + 1
    finally:
        again.close()


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("refuse", "nothing of this can be used."),
        ("die", "ended without a word"),
        ("raise", "one over nothing"),
    ],
)
def test_message_of_work_that_fails(workshop, word, says):
    work = workshop.wait(workshop.submit([word], title="x").number, timeout_s=PATIENT_S)
    assert work.state == REFUSED
    assert says in work.sentence
    after = workshop.wait(workshop.submit(["fine"], title="y").number, timeout_s=PATIENT_S)
    assert after.state == DONE


def test_law_work_tells_its_share_and_is_killed_when_stopped(workshop):
    work = workshop.submit(["slow"], title="long")
    assert 0 < running(workshop, work.number).share < 1
    begun = time.monotonic()
    workshop.stop(work.number)
    assert workshop.wait(work.number, timeout_s=PATIENT_S).state == STOPPED
    assert time.monotonic() - begun < 10  # a slow command would go on for fifty seconds
    assert workshop.wait(workshop.submit(["fine"], title="y").number, timeout_s=PATIENT_S).state == DONE


def test_law_work_may_have_a_process_of_its_own(workshop):
    work = workshop.wait(workshop.submit(["parent"], title="x").number, timeout_s=PATIENT_S)
    assert work.state == DONE, work.sentence


@pytest.mark.skipif(os.name == "nt", reason="Windows has no gentle end: the process is killed at once")
def test_law_work_that_hears_the_end_ends_whole(workshop, tmp_path):
    work = workshop.submit(["whole", str(tmp_path / "kept")], title="x")
    running(workshop, work.number)
    workshop.stop(work.number)
    ended = workshop.wait(work.number, timeout_s=PATIENT_S)
    assert (ended.state, ended.sentence) == (STOPPED, "ended whole.")
    assert (tmp_path / "kept").read_text() == "whole"


def test_law_never_more_than_two_at_once(tmp_path):
    workshop = Workshop(tmp_path, entry=ENTRY)
    try:
        works = [workshop.submit(["slow"], title=str(n)) for n in range(4)]
        for work in works[:2]:
            running(workshop, work.number)
        time.sleep(0.3)
        assert [workshop.get(work.number).state for work in works[2:]] == [WAITING, WAITING]
        for work in reversed(works):
            workshop.stop(work.number)
    finally:
        workshop.close()


def test_law_work_that_waits_can_be_taken_out(workshop):
    first, second = workshop.submit(["slow"], title="a"), workshop.submit(["fine"], title="b")
    running(workshop, first.number)
    workshop.stop(second.number)
    assert workshop.get(second.number).state == STOPPED
    workshop.stop(first.number)


def test_law_work_under_way_when_the_bench_closed_counts_as_stopped(tmp_path):
    folder = tmp_path / "0007"
    folder.mkdir()
    told = {
        "title": "t",
        "words": ["slow"],
        "utc": "2026-01-01T00:00:00Z",
        "state": RUNNING,
        "sentence": "",
        "document": None,
    }
    (folder / RECORD).write_text(json.dumps(told))
    (tmp_path / "0008").mkdir()
    (tmp_path / "0008" / RECORD).write_text("{half")
    workshop = Workshop(tmp_path, entry=ENTRY, processes=1)
    try:
        assert [(work.number, work.state) for work in workshop.all()] == [(7, STOPPED)]
    finally:
        workshop.close()

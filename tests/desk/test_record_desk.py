"""``tepui record``: what comes is kept as SigMF, and whatever interrupts leaves a valid shorter recording or none."""

import errno
import json
import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import numpy as np
import pytest

import tepui.desk.record as desk
from tepui.cli.main import main
from tepui.files import sigmf
from tepui.files.atomic import written_whole
from tepui.files.sigmf import open_sigmf
from tepui.instruments.capture import CapturedReceiver
from tepui.signals.live import ReceiverStoppedError

PRACTICE = ["record", "--receiver", "practice"]


def run(capsys, *words):
    code = main([*PRACTICE, *words])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


def test_law_one_frequency_with_its_settings(tmp_path, capsys, read_json):
    out = tmp_path / "edge"
    words = ["--frequency", "1282.5 MHz", "--for", "0.2 s", "--setting", "-3 dBm", "--attenuator", "20 dB"]
    code, text, _ = run(capsys, *words, "--out", str(out), "--json")
    assert code == 0
    document = read_json(text)
    assert document["practice"] is True
    recording = open_sigmf(tmp_path / "edge.sigmf-meta")
    assert (recording.n_samples, recording.sample_rate_hz, recording.sample_type) == (480_000, 2.4e6, "ci8")
    assert recording.practice
    assert recording.centre_hz == 1282.5e6
    assert recording.stretches[0].settings == {
        "attenuator_db": 20.0,
        "frontend_gain_db": 10.0,
        "if_gain_db": 24.0,
        "setting_dbm": -3.0,
        "terminated": False,
        "practice": True,
    }
    (row,) = document["tables"]["recorded"]["rows"]
    level_db = 10 * np.log10(np.mean(np.abs(recording.read(0, 480_000)) ** 2))
    assert row[4] == pytest.approx(level_db, abs=1e-6)


def test_law_a_list_with_pads(tmp_path, capsys, read_json):
    table = tmp_path / "list.csv"
    table.write_text(
        "frequency_hz,attenuator_db,if_gain_db,duration_s,terminated,name\n"
        "1282.5e6,0,24,0.05,no,low\n1289.5e6,10,34,,yes,\n",
        encoding="utf-8",
    )
    out = tmp_path / "sweep"
    code, text, _ = run(capsys, "--list", str(table), "--for", "0.1 s", "--out", str(out), "--json")
    assert code == 0
    assert len(read_json(text)["files"]) == 4
    low, high = open_sigmf(out / "low.sigmf-meta"), open_sigmf(out / "2-1289.5000MHz.sigmf-meta")
    assert [one.n_samples for one in (low, high)] == [120_000, 240_000]
    assert high.stretches[0].settings["attenuator_db"] == 10
    assert high.stretches[0].settings["if_gain_db"] == 34
    assert high.stretches[0].settings["terminated"] is True


def stopping_after(monkeypatch, count):
    """The handle's read fails as it does when a receiver is unplugged."""
    read = CapturedReceiver.read
    state = {"given": 0}

    def until(self, wanted):
        if state["given"] >= count:
            raise ReceiverStoppedError("the receiver practice stopped delivering; see that it is plugged in.")
        block = read(self, wanted)
        state["given"] += len(block.samples)
        return block

    monkeypatch.setattr(CapturedReceiver, "read", until)


def test_limit_unplugged_leaves_what_came(tmp_path, capsys, monkeypatch):
    stopping_after(monkeypatch, 480_000)
    code, out, err = run(capsys, "--frequency", "1282.5 MHz", "--for", "2 s", "--out", str(tmp_path / "cut"))
    assert (code, out) == (3, "")
    assert "stopped delivering" in err
    assert "cut holds the 0.2 s" in err
    recording = open_sigmf(tmp_path / "cut.sigmf-meta")
    assert recording.n_samples == 480_000
    assert recording.remarks == ()


def test_limit_unplugged_before_anything_came_leaves_nothing(tmp_path, capsys, monkeypatch):
    stopping_after(monkeypatch, 0)
    code, out, err = run(capsys, "--frequency", "1282.5 MHz", "--out", str(tmp_path / "none"))
    assert (code, out) == (3, "")
    assert "nothing was recorded" in err
    assert list(tmp_path.iterdir()) == []


def test_limit_a_disk_that_fills_up_meanwhile_leaves_what_was_written(tmp_path, capsys, monkeypatch):
    usage = type("Usage", (), {"free": 10**12})
    looks = iter([10**12, 10**12, 1000])
    monkeypatch.setattr(desk, "LOOK_EVERY", 1 << 18)
    monkeypatch.setattr(desk.shutil, "disk_usage", lambda _: type("Usage", (usage,), {"free": next(looks, 1000)}))
    code, out, err = run(capsys, "--frequency", "1282.5 MHz", "--for", "2 s", "--out", str(tmp_path / "short"))
    assert (code, out) == (3, "")
    assert "nearly full" in err
    recording = open_sigmf(tmp_path / "short.sigmf-meta")
    assert 0 < recording.n_samples < 2 * 2.4e6
    assert (tmp_path / "short.sigmf-data").stat().st_size == 2 * recording.n_samples


class _Limited:
    def __init__(self, handle, room):
        self.handle, self.room = handle, room

    def write(self, data):
        self.room -= len(data)
        if self.room < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return self.handle.write(data)


def test_limit_a_disk_that_refuses_leaves_nothing(tmp_path, capsys, monkeypatch):
    @contextmanager
    def small(path):
        with written_whole(path) as handle:
            yield _Limited(handle, 300_000)

    monkeypatch.setattr(sigmf, "written_whole", small)
    code, out, err = run(capsys, "--frequency", "1282.5 MHz", "--for", "1 s", "--out", str(tmp_path / "full"))
    assert (code, out) == (3, "")
    assert "No space left on device" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="sends SIGINT as a terminal on POSIX does")
def test_limit_ctrl_c_leaves_a_shorter_recording_that_is_whole(tmp_path):
    command = [sys.executable, "-m", "tepui.cli.main", *PRACTICE, "--frequency", "1282.5 MHz", "--for", "60 s"]
    process = subprocess.Popen(
        [*command, "--out", str(tmp_path / "stopped")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        parts = list(tmp_path.glob(".stopped.sigmf-data.*"))
        if parts and parts[0].stat().st_size > 500_000:
            break
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out) == (130, "")
    assert err.strip().endswith("tepui: stopped.")
    assert {path.name for path in tmp_path.iterdir()} == {"stopped.sigmf-meta", "stopped.sigmf-data"}
    recording = open_sigmf(tmp_path / "stopped.sigmf-meta")
    assert recording.n_samples >= 250_000
    assert json.loads((tmp_path / "stopped.sigmf-meta").read_text(encoding="utf-8"))["global"]["tepui:practice"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--frequency", "1282.5"], "has no unit"),
        (["--frequency", "12 MHz"], "takes a frequency of 1276 to 1296 MHz, not 12"),
        (["--frequency", "1282.5 MHz", "--rate", "9 MS/s"], "takes a sample rate of 0.9 to 2.4 MHz, not 9"),
        (["--frequency", "1282.5 MHz", "--gain", "20 dB"], "--gain is written NAME=G"),
        (["--frequency", "1282.5 MHz", "--gain", "LNA=20 dB"], "has no gain named LNA; it has DRIVE, PAD, FRONT, IF"),
        (["--frequency", "1282.5 MHz", "--for", "0 s"], "--for must lie between"),
        ([], "either --frequency"),
    ],
)
def test_limit_what_cannot_be_recorded_is_one_sentence_and_writes_nothing(tmp_path, capsys, words, sentence):
    code, out, err = run(capsys, *words, "--out", str(tmp_path / "x"))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert sentence in err
    assert list(tmp_path.iterdir()) == []


def test_limit_nothing_is_written_over(tmp_path, capsys):
    (tmp_path / "kept.sigmf-data").write_bytes(b"ours")
    code, _, err = run(capsys, "--frequency", "1282.5 MHz", "--out", str(tmp_path / "kept"))
    assert code == 2
    assert "exists already" in err
    assert (tmp_path / "kept.sigmf-data").read_bytes() == b"ours"

"""Hashes of inputs: right, remembered, and never remembered too soon."""

import hashlib
import json
import os
import time

import pytest

from tepui.desk import hashes
from tepui.desk.hashes import InputHashes, hash_files
from tepui.ground.errors import InputError

PAST_S = 1_700_000_000


@pytest.fixture
def recording(tmp_path):
    path = tmp_path / "a.raw"
    path.write_bytes(b"abc")
    os.utime(path, (PAST_S, PAST_S))
    return path


# [FIPS180-4] example: sha256("abc").
def test_published_digest(recording, tmp_path):
    (file,) = InputHashes([recording], memory=tmp_path / "memory.json").result()
    assert file.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert (file.path, file.size_bytes) == (str(recording), 3)


def test_law_a_file_is_read_once_until_it_changes(recording, tmp_path, monkeypatch):
    memory = tmp_path / "cache" / "memory.json"
    read = []
    true_sha256 = hashes._sha256
    monkeypatch.setattr(hashes, "_sha256", lambda path: read.append(path) or true_sha256(path))
    first = hash_files([recording], memory=memory)
    assert hash_files([recording], memory=memory) == first
    assert len(read) == 1
    recording.write_bytes(b"abd")
    os.utime(recording, (PAST_S + 5, PAST_S + 5))
    assert hash_files([recording], memory=memory)[0].sha256 == hashlib.sha256(b"abd").hexdigest()
    assert len(read) == 2


def test_law_a_file_written_just_now_is_not_trusted(recording, tmp_path):
    memory = tmp_path / "memory.json"
    os.utime(recording, (time.time(), time.time()))
    hash_files([recording], memory=memory)
    assert not memory.exists()


@pytest.mark.parametrize("damage", ["", "[1]", '{"a": 3}', "{", "\x00"])
def test_limit_a_damaged_memory_is_only_forgotten(recording, tmp_path, damage):
    memory = tmp_path / "memory.json"
    memory.write_text(damage, encoding="utf-8")
    hash_files([recording], memory=memory)
    assert json.loads(memory.read_text(encoding="utf-8")).keys() == {str(recording.resolve())}


def test_law_a_fault_in_the_thread_is_raised_where_somebody_waits(recording, tmp_path, monkeypatch):
    def fail(path):
        raise MemoryError

    monkeypatch.setattr(hashes, "_sha256", fail)
    with pytest.raises(MemoryError):
        InputHashes([recording], memory=tmp_path / "memory.json").result()


def test_limit_an_input_that_is_gone_is_one_sentence(tmp_path):
    with pytest.raises(InputError, match=r"gone\.raw cannot be read \(No such file"):
        InputHashes([tmp_path / "gone.raw"], memory=tmp_path / "memory.json").result()

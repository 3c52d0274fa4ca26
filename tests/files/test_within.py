"""Names that a file holds: anywhere from a terminal, within one folder for a bench, links followed."""

import os

import pytest

import tepui.files.within as module
from tepui.files.within import keep_within, named_file
from tepui.ground.errors import FormatError


@pytest.fixture
def world(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "_world", [])
    folder = tmp_path / "bench"
    folder.mkdir()
    return folder


def test_law_a_terminal_is_not_judged(world):
    assert named_file(world / "a.csv", "../b.wav") == world / "../b.wav"


@pytest.mark.parametrize("name", ["b.wav", "sub/b.wav", "sub/../b.wav"])
def test_law_names_within_the_folder_stay(world, name):
    keep_within(world)
    assert named_file(world / "a.csv", name) == world / name


@pytest.mark.parametrize("name", ["../b.wav", "/etc/hostname", "sub/../../b.wav", "a\0b", "../bench-2/b.wav"])
def test_message_of_a_name_that_leads_out(world, name):
    keep_within(world)
    with pytest.raises(FormatError, match="lies outside the folder of this bench; put the file into that folder"):
        named_file(world / "a.csv", name)


@pytest.mark.skipif(os.name == "nt", reason="links need a right there that tests do not have")
def test_law_a_link_that_leads_out_is_out(world):
    (world.parent / "out.wav").write_bytes(b"")
    (world / "in.wav").symlink_to(world.parent / "out.wav")
    keep_within(world)
    with pytest.raises(FormatError, match="lies outside"):
        named_file(world / "a.csv", "in.wav")

"""What is written is whole or absent, and never lands on an input."""

import os
import stat

import pytest

from tepui.desk.keep import keep_text, kept_stream, require_folder, require_output
from tepui.ground.errors import InputError, UnfinishedError


def test_law_a_stream_appears_only_at_the_end(tmp_path):
    place = tmp_path / "out.ts"
    with kept_stream(place) as stream:
        stream.write(b"first")
        assert not place.exists()
        stream.write(b" second")
    assert place.read_bytes() == b"first second"
    assert [path.name for path in tmp_path.iterdir()] == ["out.ts"]


@pytest.mark.parametrize("failure", [KeyboardInterrupt, ValueError])
def test_law_a_stream_is_gone_after_a_failure_and_the_old_file_stands(tmp_path, failure):
    place = tmp_path / "out.ts"
    place.write_bytes(b"old")

    def fail():
        with kept_stream(place) as stream:
            stream.write(b"half")
            raise failure

    with pytest.raises(failure):
        fail()
    assert place.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["out.ts"]


def test_law_text_is_utf8_with_ordinary_rights(tmp_path):
    place = tmp_path / "findings.json"
    keep_text(place, "± 0.1 dB\n")
    assert place.read_bytes() == b"\xc2\xb1 0.1 dB\n"
    other = tmp_path / "other"
    other.write_text("x", encoding="utf-8")
    assert stat.S_IMODE(place.stat().st_mode) == stat.S_IMODE(other.stat().st_mode)


def test_law_a_link_is_followed_not_replaced(tmp_path):
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_text("old", encoding="utf-8")
    try:
        link.symlink_to(target)
    except OSError:  # a Windows account without the right to make links
        return
    keep_text(link, "new")
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == "new"


def test_law_a_device_is_written_and_never_renamed_over(tmp_path):
    if os.name == "nt":
        return
    device = tmp_path / "nothing"
    device.symlink_to(os.devnull)
    keep_text(device, "gone")
    assert stat.S_ISCHR(device.stat().st_mode)
    assert device.is_symlink()


def test_limit_refusals_before_the_work(tmp_path):
    recording = tmp_path / "a.wav"
    recording.write_bytes(b"x")
    with pytest.raises(InputError, match=r"a\.wav is an input and would be overwritten"):
        require_output(recording, inputs=[tmp_path / "missing.wav", tmp_path / "." / "a.wav"])
    with pytest.raises(InputError, match="is a folder; name a file inside it"):
        require_output(tmp_path)
    with pytest.raises(InputError, match="nowhere does not exist; make it, or name another place"):
        require_output(tmp_path / "nowhere" / "out.ts")
    with pytest.raises(InputError, match="is a file and a folder is needed here"):
        require_folder(recording)
    with pytest.raises(InputError, match="nowhere does not exist"):
        require_folder(tmp_path / "nowhere" / "plots")
    require_output(tmp_path / "new.ts", inputs=[recording])
    require_folder(tmp_path / "plots")
    require_folder(tmp_path)


def test_limit_a_place_that_went_away_is_one_sentence(tmp_path):
    with pytest.raises(UnfinishedError, match="could not be written"):
        keep_text(tmp_path / "gone" / "out.json", "x")

"""A file appears whole or not at all."""

import pytest

from tepui.files.atomic import write_text_whole, written_whole
from tepui.ground.errors import UnfinishedError


def test_law_the_old_file_stands_until_the_new_one_is_whole(tmp_path):
    path = tmp_path / "page.json"
    write_text_whole(path, "old µ")
    with written_whole(path) as handle:
        handle.write(b"new")
        handle.flush()
        assert path.read_text(encoding="utf-8") == "old µ"
    assert path.read_bytes() == b"new"
    assert [one.name for one in tmp_path.iterdir()] == ["page.json"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_law_an_interruption_leaves_the_old_file_and_nothing_else(tmp_path, error):
    path = tmp_path / "page.json"
    write_text_whole(path, "old")

    def write_half():
        with written_whole(path) as handle:
            handle.write(b"ne")
            raise error

    with pytest.raises(error):
        write_half()
    assert path.read_bytes() == b"old"
    assert [one.name for one in tmp_path.iterdir()] == ["page.json"]


def test_limit_a_place_that_cannot_be_written(tmp_path):
    path = tmp_path / "file" / "page.json"
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(UnfinishedError, match=r"page.json could not be written \(.+\); make room or choose another pl"):
        write_text_whole(path, "x")

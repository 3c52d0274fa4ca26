"""Opening whatever is given: raw samples with their options, and everything that is no recording."""

import io
import os

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from tepui.files.recordings import open_recording, recording_files
from tepui.ground.errors import ChoiceError, FormatError, RangeError

RAW = {"sample_type": "ci16", "rate_hz": 8e6}


def refusal(path, error=FormatError, **given_values):
    with pytest.raises(error) as caught:
        open_recording(path, **given_values)
    sentence = str(caught.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence.replace(str(path.parent) + os.sep, "")


@pytest.fixture
def raw(tmp_path):
    path = tmp_path / "bench.raw"
    path.write_bytes(np.random.default_rng(1).integers(-999, 999, 400).astype("<i2").tobytes())
    return path


def test_limit_raw_samples_with_their_options(raw):
    recording = open_recording(str(raw), sample_type="ci16_le", rate_hz=8e6, frequency_hz=437e6)
    assert (recording.name, recording.n_samples, recording.sample_rate_hz) == ("bench", 200, 8e6)
    assert (recording.centre_hz, recording.sample_type, recording.remarks) == (437e6, "ci16_le", ())
    codes = np.frombuffer(raw.read_bytes(), "<i2")
    assert recording.read(0, 200).real == pytest.approx(codes[::2] / 32767, rel=2e-7)
    assert open_recording(raw, **RAW).centre_hz is None
    assert recording_files(raw) == (raw,)


@given(name=st.sampled_from(["ci8", "cu8", "ci16_le", "ci16_be", "cf32_le", "cf32_be"]), n=st.integers(2, 50))
@settings(deadline=None, max_examples=40)
def test_law_raw_samples_come_back(tmp_path_factory, name, n):
    stem, _, order = name.partition("_")
    dtype = {"ci8": "i1", "cu8": "u1", "ci16": "i2", "cf32": "f4"}[stem]
    codes = np.random.default_rng(n).integers(0, 100, 2 * n).astype((">" if order == "be" else "<") + dtype)
    path = tmp_path_factory.mktemp("raw") / "x.bin"
    path.write_bytes(codes.tobytes())
    recording = open_recording(path, sample_type=name, rate_hz=1e6)
    middle, full_scale = {"ci8": (0, 127), "cu8": (127.5, 127.5), "ci16": (0, 32767), "cf32": (0, 1)}[stem]
    exact = (codes.astype(np.float64) - middle) / full_scale
    assert recording.read(0, n).view(np.float32) == pytest.approx(exact, rel=3e-7, abs=1e-7)


def test_limit_a_torn_last_sample_is_remarked(raw):
    raw.write_bytes(raw.read_bytes() + b"!")
    recording = open_recording(raw, **RAW)
    assert recording.n_samples == 200
    assert recording.remarks == ("The data end inside a sample: the last 1 bytes are left out.",)


@pytest.mark.parametrize(
    ("options", "missing"),
    [({}, "--type and --rate"), ({"sample_type": "ci16"}, "--rate"), ({"rate_hz": 8e6}, "--type")],
)
def test_limit_missing_options_are_named(raw, options, missing):
    assert refusal(raw, **options) == (
        f"bench.raw is neither SigMF nor WAV; a raw recording needs {missing} as well "
        "(such as --type ci16_le --rate 8MHz, and --frequency where it is known)."
    )


def test_limit_options_are_checked(raw):
    assert "The sample type must be" in refusal(raw, ChoiceError, sample_type="cs16", rate_hz=8e6)
    assert "a sample rate of 8 S/s cannot be right" in refusal(raw, RangeError, sample_type="ci16", rate_hz=8.0)
    assert "a sample rate of nan S/s" in refusal(raw, RangeError, sample_type="ci16", rate_hz=float("nan"))


def test_limit_a_file_that_is_not_there(tmp_path):
    assert refusal(tmp_path / "gone.raw", **RAW).startswith("gone.raw cannot be opened (")
    assert refusal(tmp_path / "gone").startswith("gone cannot be opened (")


def test_limit_an_empty_file(tmp_path):
    (tmp_path / "x.raw").write_bytes(b"")
    assert refusal(tmp_path / "x.raw", **RAW) == "x.raw is empty; nothing was recorded."


def test_limit_a_folder(tmp_path):
    folder = tmp_path / "evening"
    folder.mkdir()
    assert refusal(folder) == "evening is a folder; give the recording itself."
    (folder / "b.wav").touch()
    (folder / "a.sigmf-meta").touch()
    assert refusal(folder, **RAW) == "evening is a folder; give one recording in it, such as a.sigmf-meta."


# Tool: Pillow makes the pictures.
@pytest.mark.parametrize(
    ("kind", "what"),
    [
        ("PNG", "a PNG picture"),
        ("JPEG", "a JPEG picture"),
        ("GIF", "a GIF picture"),
        ("TIFF", "a TIFF picture"),
        ("BMP", "a BMP picture"),
    ],
)
def test_tool_pictures_are_no_recordings(tmp_path, kind, what):
    buffer = io.BytesIO()
    Image.new("RGB", (40, 30), (200, 10, 90)).save(buffer, format=kind)
    path = tmp_path / "x"
    path.write_bytes(buffer.getvalue())
    assert refusal(path) == f"x is {what}, not a recording; give SigMF, I/Q WAV or raw samples."
    if kind in ("PNG", "JPEG", "GIF"):
        assert what in refusal(path, **RAW)


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"%PDF-1.7\n", "a PDF document"),
        (b"PK\x03\x04rest", "a zip archive"),
        (bytes(257) + b"ustar\x00", "a tar archive"),
        (b"\x00\x00\x00\x18ftypisom", "an MP4 film"),
        (3 * (b"G" + bytes(187)), "a transport stream"),
    ],
)
def test_published_signatures_of_other_files(tmp_path, content, what):
    path = tmp_path / "x"
    path.write_bytes(content)
    assert refusal(path) == f"x is {what}, not a recording; give SigMF, I/Q WAV or raw samples."


def test_limit_text_needs_no_reading_as_samples(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("PA warm, shoulders fine", encoding="utf-8")
    assert "a raw recording needs --type and --rate" in refusal(path)


@pytest.mark.parametrize(("value", "word"), [(0.0, "zeros"), (np.nan, "not a finite number")])
def test_limit_samples_nobody_can_use(tmp_path, value, word):
    path = tmp_path / "x.raw"
    path.write_bytes(np.full(1000, value, "<f4").tobytes())
    assert word in refusal(path, sample_type="cf32", rate_hz=8e6)

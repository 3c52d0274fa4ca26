"""I/Q WAV files: written by general-purpose libraries, or by hand and read by one as a witness."""

import os
import struct
import wave

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.io import wavfile

from tepui.files.recordings import open_recording
from tepui.files.sample_types import SAMPLE_TYPES
from tepui.files.wav import WavLayout, data_end
from tepui.ground.errors import FormatError, RangeError

RATE_HZ = 2_400_000
PCM_GUID = bytes.fromhex("0100000000001000800000aa00389b71")
FLOAT_GUID = bytes.fromhex("0300000000001000800000aa00389b71")


def chunk(name, content):
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def fmt(*, tag=1, channels=2, rate=RATE_HZ, bits=16, extra=b""):
    align = channels * bits // 8
    return chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, rate, (rate * align) % 2**32, align, bits) + extra)


def riff(*chunks, form=b"RIFF", size=None):
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", len(body) if size is None else size) + body


def put(folder, content, name="x.wav"):
    path = folder / name
    path.write_bytes(content)
    return path


def refusal(path, error=FormatError, **given_values):
    with pytest.raises(error) as caught:
        open_recording(path, **given_values)
    assert str(caught.value).endswith(".")
    return str(caught.value).replace(str(path.parent) + os.sep, "")


def some_codes(dtype, n=1000):
    rng = np.random.default_rng(1)
    if np.dtype(dtype).kind == "f":
        return rng.standard_normal((n, 2)).astype(dtype)
    limits = np.iinfo(dtype)
    return rng.integers(limits.min, limits.max, (n, 2), dtype=dtype, endpoint=True)


# Tool: scipy.io.wavfile writes; middle and full scale are [MMPI 1.0]'s (128 for 8 bits, 0 else).
@pytest.mark.parametrize(
    ("dtype", "middle", "full_scale", "name"),
    [
        ("u1", 128, 127, "cu8"),
        ("i2", 0, 32767, "ci16_le"),
        ("i4", 0, 2**31 - 1, "ci32_le"),
        ("f4", 0, 1, "cf32_le"),
        ("f8", 0, 1, "cf64_le"),
    ],
)
def test_tool_scipy_writes_and_we_read(tmp_path, dtype, middle, full_scale, name):
    codes = some_codes(dtype)
    wavfile.write(tmp_path / "x.wav", RATE_HZ, codes)
    recording = open_recording(tmp_path / "x.wav", frequency_hz=437e6)
    exact = (codes.astype(np.float64) - middle) / full_scale
    samples = recording.read(0, 2000)
    assert samples.real == pytest.approx(exact[:, 0], rel=2.5e-7, abs=1e-9)
    assert samples.imag == pytest.approx(exact[:, 1], rel=2.5e-7, abs=1e-9)
    assert (recording.name, recording.sample_rate_hz, recording.centre_hz) == ("x", RATE_HZ, 437e6)
    assert (recording.n_samples, recording.sample_type, recording.remarks) == (1000, name, ())


# Tool: Python's own wave module writes 24 bits, which scipy does not.
def test_tool_wave_writes_24_bits_and_we_read(tmp_path):
    codes = np.random.default_rng(2).integers(-(2**23), 2**23, (70_000, 2))
    with wave.open(str(tmp_path / "x.wav"), "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(3)
        out.setframerate(RATE_HZ)
        out.writeframes(codes.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    recording = open_recording(tmp_path / "x.wav")
    exact = codes / (2**23 - 1)
    samples = recording.read(0, 70_000)
    assert recording.sample_type == "ci24_le"
    assert np.abs(samples.real - exact[:, 0]).max() < 1e-7
    assert np.abs(samples.imag - exact[:, 1]).max() < 1e-7
    assert np.array_equal(recording.read(65_530, 20), samples[65_530:65_550])


@given(data=st.data(), dtype=st.sampled_from(["u1", "i2", "i4", "f4", "f8"]))
@settings(max_examples=40, deadline=None)
def test_tool_scipy_agrees_on_any_length(tmp_path_factory, data, dtype):
    n = data.draw(st.integers(2, 60))
    path = tmp_path_factory.mktemp("wav") / "x.wav"
    codes = some_codes(dtype, n)
    wavfile.write(path, RATE_HZ, codes)
    recording = open_recording(path)
    start, count = data.draw(st.integers(0, n)), data.draw(st.integers(0, 80))
    whole = recording.read(0, n)
    assert recording.n_samples == n
    assert np.array_equal(recording.read(start, count), whole[start : start + count])


# Made by hand after the definition of WAVE_FORMAT_EXTENSIBLE; scipy reads the same file as a witness of its form.
@pytest.mark.parametrize(("guid", "dtype"), [(PCM_GUID, "<i2"), (FLOAT_GUID, "<f4")])
def test_tool_scipy_witnesses_the_extensible_form(tmp_path, guid, dtype):
    codes = some_codes(dtype, 50)
    bits = 8 * codes.itemsize
    head = fmt(tag=0xFFFE, bits=bits, extra=struct.pack("<HHI", 22, bits, 3) + guid)
    path = put(tmp_path, riff(head, chunk(b"data", codes.tobytes())))
    assert np.array_equal(wavfile.read(path)[1], codes)
    assert open_recording(path).read(0, 50).real == pytest.approx(codes[:, 0] / (32767 if bits == 16 else 1), rel=2e-7)


# [EBU3306] RF64: the sizes in RIFF and data are -1, the true ones stand in ds64; scipy reads it as a witness.
def test_tool_scipy_witnesses_rf64(tmp_path):
    codes = some_codes("<i2", 50)
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 286, codes.nbytes, 50, 0))
    data = b"data" + struct.pack("<I", 0xFFFFFFFF) + codes.tobytes()
    path = put(tmp_path, riff(ds64, fmt(), data, chunk(b"LIST", b"after"), form=b"RF64", size=0xFFFFFFFF))
    assert np.array_equal(wavfile.read(path)[1][:50], codes)
    recording = open_recording(path)
    assert (recording.n_samples, recording.remarks) == (50, ())
    assert recording.read(0, 50).imag == pytest.approx(codes[:, 1] / 32767, rel=2e-7)


def test_limit_other_chunks_are_stepped_over(tmp_path):
    codes = some_codes("<i2", 50)
    path = put(tmp_path, riff(chunk(b"odd ", b"abc"), fmt(), chunk(b"fact", b"1234"), chunk(b"data", codes.tobytes())))
    assert open_recording(path).read(0, 50).real == pytest.approx(codes[:, 0] / 32767, rel=2e-7)


@pytest.mark.parametrize("n_bytes", [0, 0xFFFFFFFF])
def test_limit_a_length_left_open_means_to_the_end(tmp_path, n_bytes):
    data = b"data" + struct.pack("<I", n_bytes) + some_codes("<i2", 50).tobytes() + b"!"
    recording = open_recording(put(tmp_path, riff(fmt(), data, size=0)))
    assert recording.n_samples == 50
    assert recording.remarks == (
        "The header leaves the length open (recording not closed); the file is used to its end.",
        "The data end inside a sample: the last 1 bytes are left out.",
    )


def test_limit_a_truncated_file_is_used_as_far_as_it_goes(tmp_path):
    content = riff(fmt(), chunk(b"data", some_codes("<i2", 50).tobytes()))
    recording = open_recording(put(tmp_path, content[:-41]))
    assert recording.n_samples == 39
    assert recording.remarks == (
        "The header promises 50 samples, the file holds 39; it is used as far as it goes.",
        "The data end inside a sample: the last 3 bytes are left out.",
    )


def test_limit_a_length_that_wrapped_at_4_gib():
    # By hand: 10 GiB of samples in a plain RIFF whose 32-bit length kept 10 GiB - 2 x 4 GiB = 2 GiB; 44 bytes of
    # header before, 100 of other chunks after.
    layout = WavLayout(sample_type=SAMPLE_TYPES["ci16_le"], rate_hz=8e6, first_byte=44, promised_bytes=2 << 30)
    end, remarks = data_end(layout, size=44 + (10 << 30) + 100)
    assert end == 44 + (10 << 30)
    assert remarks == ("The header's length has wrapped 2 times at 4 GiB; the file is used to its end.",)
    assert data_end(layout, size=44 + (2 << 30) + 100) == (44 + (2 << 30), ())


def test_limit_a_given_rate_replaces_the_header(tmp_path):
    path = put(tmp_path, riff(fmt(rate=0), chunk(b"data", some_codes("<i2", 50).tobytes())))
    assert "a sample rate of 0 S/s cannot be right" in refusal(path, RangeError)
    recording = open_recording(path, rate_hz=8e6)
    assert recording.sample_rate_hz == 8e6
    assert recording.remarks == ("The header says 0 S/s; 8000000 S/s was given and used.",)


SAMPLES = chunk(b"data", some_codes("<i2", 50).tobytes())
KINDS = "tepui reads integers of 8, 16, 24 or 32 bits (1) and floats of 32 or 64 bits (3)."


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (
            riff(fmt(channels=1), SAMPLES),
            "x.wav is a WAV file with 1 channel; an I/Q recording has two, I on the left and Q on the right.",
        ),
        (
            riff(fmt(channels=6), SAMPLES),
            "x.wav is a WAV file with 6 channels; an I/Q recording has two, I on the left and Q on the right.",
        ),
        (riff(fmt(tag=2, bits=4), SAMPLES), f"x.wav is a WAV file of format 2 with 4 bits; {KINDS}"),
        (riff(fmt(tag=3, bits=16), SAMPLES), f"x.wav is a WAV file of format 3 with 16 bits; {KINDS}"),
        (riff(fmt(bits=12), SAMPLES), f"x.wav is a WAV file of format 1 with 12 bits; {KINDS}"),
        (riff(SAMPLES), "x.wav is a WAV file without its fmt chunk; it cannot be read."),
        (riff(fmt()), "x.wav is a WAV file without its data chunk; it cannot be read."),
        (riff(), "x.wav is a WAV file without its fmt chunk; it cannot be read."),
        (riff(chunk(b"fmt ", b"short")), "x.wav is a WAV file whose fmt chunk is cut short; it cannot be read."),
        (riff(fmt(), chunk(b"data", b"abc")), "x.wav ends before its first whole sample (ci16_le, 4 bytes each)."),
        (
            riff(fmt(), SAMPLES, form=b"RIFX"),
            "x.wav is a big-endian WAV file, not a recording; give SigMF, I/Q WAV or ",
        ),
    ],
)
def test_limit_unusable_files_are_one_sentence(tmp_path, content, sentence):
    assert refusal(put(tmp_path, content)).startswith(sentence)


def test_limit_endless_empty_chunks_are_given_up(tmp_path):
    assert "without its fmt chunk" in refusal(put(tmp_path, riff(bytes(100_000))))


def test_limit_a_type_is_not_asked_for(tmp_path):
    path = put(tmp_path, riff(fmt(), SAMPLES))
    assert refusal(path, sample_type="ci16") == (
        "x.wav is a WAV file and says itself how its samples are stored; leave out --type."
    )


def test_limit_samples_nobody_can_use(tmp_path):
    bad = np.array([[1, 0], [np.nan, 0]], dtype="<f4")
    assert "x: sample 1 " in refusal(put(tmp_path, riff(fmt(tag=3, bits=32), chunk(b"data", bad.tobytes()))))
    silent = np.full((500, 2), 128, dtype="u1")
    assert "nothing but zeros" in refusal(put(tmp_path, riff(fmt(bits=8), chunk(b"data", silent.tobytes()))))


@given(cut=st.integers(0, 300), place=st.integers(0, 60), byte=st.integers(0, 255))
@settings(max_examples=150, deadline=None)
def test_law_a_damaged_file_is_a_recording_or_one_sentence(tmp_path_factory, cut, place, byte):
    content = bytearray(riff(fmt(), chunk(b"fact", b"1234"), SAMPLES))
    content[place] = byte
    path = put(tmp_path_factory.mktemp("wav"), bytes(content[: len(content) - cut]))
    try:
        recording = open_recording(path)
    except (FormatError, RangeError) as error:
        assert str(error).endswith(".")  # noqa: PT017 - either outcome is right
    else:
        assert len(recording.read(0, 10**6)) == recording.n_samples

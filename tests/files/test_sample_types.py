"""Stored samples: every type and byte order against plain arithmetic on numpy's own codes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from tepui.files.sample_file import FileSamples, Piece
from tepui.files.sample_types import SAMPLE_TYPES, WAV_8, WAV_24, decode_into, encode, sample_type_named
from tepui.ground.errors import ChoiceError

CODES = {
    "ci8": "i1",
    "cu8": "u1",
    **{f"c{kind}{bits}": f"{kind}{bits // 8}" for kind in "iuf" for bits in (16, 32, 64)},
}


def numpy_code(name):
    """numpy's dtype of one axis, spelt from the SigMF name by rule ([SigMF] core:datatype)."""
    stem, _, order = name.partition("_")
    return np.dtype(("<" if order == "le" else ">") + CODES[stem])


def decoded(sample_type, stored):
    axes = np.empty(2 * (len(stored) // sample_type.n_bytes), dtype=np.float32)
    decode_into(sample_type, np.frombuffer(stored, dtype=np.uint8), axes)
    return axes


# [SigMF] core:datatype: the size of a sample follows from the name.
@pytest.mark.parametrize("name", sorted(SAMPLE_TYPES))
def test_published_sizes(name):
    assert SAMPLE_TYPES[name].n_bytes == 2 * numpy_code(name).itemsize


# Zero and full scale as the makers of the test recordings state them (common practice): 32767, 127, 127.5.
@pytest.mark.parametrize(
    ("name", "codes", "values"),
    [
        ("ci16_le", [0, 32767, -32767, -32768], [0.0, 1.0, -1.0, -32768 / 32767]),
        ("ci16_be", [0, 32767, -32767, -32768], [0.0, 1.0, -1.0, -32768 / 32767]),
        ("ci8", [0, 127, -127, -128], [0.0, 1.0, -1.0, -128 / 127]),
        ("cu8", [0, 127, 128, 255], [-1.0, -0.5 / 127.5, 0.5 / 127.5, 1.0]),
        ("cu16_le", [0, 32767, 32768, 65535], [-1.0, -0.5 / 32767.5, 0.5 / 32767.5, 1.0]),
        ("ci32_be", [0, 2**31 - 1, -(2**31), 2**30], [0.0, 1.0, -1.0, 0.5]),
        ("cf32_be", [0.0, 1.5, -2.0, 1e-20], [0.0, 1.5, -2.0, 1e-20]),
        ("cf64_le", [0.0, 1.5, -2.0, 0.1], [0.0, 1.5, -2.0, 0.1]),
    ],
)
def test_limit_zero_and_full_scale(name, codes, values):
    stored = np.array(codes, dtype=numpy_code(name)).tobytes()
    assert decoded(SAMPLE_TYPES[name], stored) == pytest.approx(np.array(values, np.float32), rel=1e-7, abs=0)


# [MMPI 1.0] wave data: 8-bit samples have their middle at 128, wider ones at 0.
def test_published_middle_of_wav_samples():
    assert decoded(WAV_8, bytes([128, 255, 1, 0])) == pytest.approx([0.0, 1.0, -1.0, -128 / 127], rel=1e-7)
    three = b"\x00\x00\x00" + b"\xff\xff\x7f" + b"\x01\x00\x80" + b"\x00\x00\x40"
    assert decoded(WAV_24, three) == pytest.approx([0.0, 1.0, -1.0, 2**22 / (2**23 - 1)], rel=1e-7)


@pytest.mark.parametrize("name", sorted(SAMPLE_TYPES))
@given(data=st.data())
def test_law_decoding_is_the_affine_map_of_the_codes(name, data):
    code = numpy_code(name)
    elements = {"allow_nan": False, "allow_infinity": False} if code.kind == "f" else {}
    given_codes = code if code.kind != "f" else np.dtype("f4").newbyteorder(code.byteorder)
    shape = st.integers(1, 20).map(lambda n: 2 * n)
    codes = data.draw(hnp.arrays(given_codes, shape, elements=elements)).astype(code)
    exact = codes.astype(np.float64)
    if code.kind == "i":
        exact = exact / np.iinfo(code).max
    elif code.kind == "u":
        middle = np.iinfo(code).max / 2
        exact = (exact - middle) / middle
    # Two roundings to 24 bits at most; next to the middle of 32 unsigned bits a code is finer than that.
    assert decoded(SAMPLE_TYPES[name], codes.tobytes()) == pytest.approx(exact, rel=2.5e-7, abs=1.3e-7)


@pytest.mark.parametrize("name", ["ci8", "cu8", "ci16_le", "ci16_be", "cu16_le", "cu16_be"])
def test_law_every_code_survives_reading_and_writing(name):
    code = numpy_code(name)
    limits = np.iinfo(code)
    stored = np.arange(limits.min, limits.max + 1).astype(code).tobytes()
    again, n_cut = encode(SAMPLE_TYPES[name], decoded(SAMPLE_TYPES[name], stored).view(np.complex64))
    assert again == stored
    assert n_cut == 0


@given(axes=hnp.arrays(np.float32, st.integers(1, 50).map(lambda n: 2 * n), elements=st.floats(-2, 2, width=32)))
def test_law_rounding_stays_within_half_a_step_and_cutting_is_counted(axes):
    stored, n_cut = encode(SAMPLE_TYPES["ci8"], axes.view(np.complex64))
    back = decoded(SAMPLE_TYPES["ci8"], stored)
    beyond = (np.rint(axes * np.float32(127)) > 127) | (np.rint(axes * np.float32(127)) < -128)
    assert n_cut == np.count_nonzero(beyond.reshape(-1, 2).any(axis=1))
    assert np.abs(back - axes)[~beyond] == pytest.approx(0, abs=0.5 / 127 + 1e-6)
    assert np.abs(back[beyond]) == pytest.approx(1, abs=0.01)


def test_limit_a_double_beyond_single_precision_becomes_infinite():
    assert np.isinf(decoded(SAMPLE_TYPES["cf64_le"], np.array([1e300, 0.0]).tobytes())[0])


def test_limit_names_without_byte_order_are_little_endian():
    assert sample_type_named("ci16").name == "ci16_le"
    assert sample_type_named("cf32").name == "cf32_le"
    assert sample_type_named("cu8").name == "cu8"


@pytest.mark.parametrize("name", ["cs16", "ci12_le", "", "rf32_le", "ci8_le"])
def test_limit_unknown_names_are_refused(name):
    with pytest.raises(ChoiceError, match=r"The sample type must be ci8, cu8, .* \(\[SigMF\] core:datatype\), not "):
        sample_type_named(name)


def test_limit_reading_is_the_same_whatever_the_cut(tmp_path):
    # Pieces of 65536 samples inside; reads across their edges must not show them.
    codes = np.random.default_rng(2).integers(-32768, 32768, 2 * 200_000).astype("<i2")
    path = tmp_path / "x.raw"
    path.write_bytes(b"12345" + codes.tobytes())
    whole = (codes / np.float32(32767)).astype(np.float32).view(np.complex64)
    source = FileSamples(
        path=path, sample_type=SAMPLE_TYPES["ci16_le"], pieces=(Piece(start=0, count=200_000, byte=5),)
    )
    for start, count in [(0, 200_000), (65535, 2), (65536, 65536), (1, 131072), (199_999, 5), (200_000, 5)]:
        assert np.array_equal(source.read(start, count), whole[start : start + count])

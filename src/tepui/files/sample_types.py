"""The ways a complex sample is stored: I then Q, as integers or floating point, in either byte order.

Theory  value = (code - zero) / full scale, so that the largest positive code reads +1 on its axis.
Source  [SigMF] 1.x, core:datatype, for names and layout. Zero and full scale are common practice (no published
        source): signed codes divide by 2^(n-1) - 1, so the one code below that reads a little under -1; unsigned
        codes have their zero between the two middle codes, 127.5. 8-bit WAV has it at 128 [MMPI 1.0, wave data].
Holds   float32 results: 32-bit integers and 64-bit floats are rounded to 24 bits.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of

_ORDERS = {"": ("", "|"), "little": ("_le", "<"), "big": ("_be", ">")}


@dataclass(frozen=True, kw_only=True)
class SampleType:
    """One stored form.

    code        numpy's name of one axis as stored; 24-bit integers are unpacked into "<i4" first
    n_bytes     bytes of one complex sample
    zero        the code that reads 0
    full_scale  codes from zero to +1; None for floating point, taken as it stands
    """

    name: str
    code: str
    n_bytes: int
    zero: float = 0.0
    full_scale: float | None = None


def _signed(bits: int, order: str) -> SampleType:
    suffix, mark = _ORDERS[order if bits > 8 else ""]
    return SampleType(
        name=f"ci{bits}{suffix}", code=f"{mark}i{bits // 8}", n_bytes=bits // 4, full_scale=2.0 ** (bits - 1) - 1
    )


def _unsigned(bits: int, order: str) -> SampleType:
    suffix, mark = _ORDERS[order if bits > 8 else ""]
    middle = (2.0**bits - 1) / 2
    code = f"{mark}u{bits // 8}"
    return SampleType(name=f"cu{bits}{suffix}", code=code, n_bytes=bits // 4, zero=middle, full_scale=middle)


def _floating(bits: int, order: str) -> SampleType:
    suffix, mark = _ORDERS[order]
    return SampleType(name=f"cf{bits}{suffix}", code=f"{mark}f{bits // 8}", n_bytes=bits // 4)


_ALL = (
    _signed(8, ""),
    _unsigned(8, ""),
    *(make(bits, order) for make in (_signed, _unsigned) for bits in (16, 32) for order in ("little", "big")),
    *(_floating(bits, order) for bits in (32, 64) for order in ("little", "big")),
)
SAMPLE_TYPES = {one.name: one for one in _ALL}
WAV_8 = SampleType(name="cu8", code="|u1", n_bytes=2, zero=128.0, full_scale=127.0)
# Unpacked to 32 bits the 24 stored ones stand at the top, so both zero and full scale are 256 times their own.
WAV_24 = SampleType(name="ci24_le", code="<i4", n_bytes=6, full_scale=256.0 * (2.0**23 - 1))


def sample_type_named(name: str, *, source: str = "[SigMF] core:datatype") -> SampleType:
    """The stored form with this name; a name without byte order means little-endian.

    raises  ChoiceError, naming the allowed ones
    """
    full_name = name if name in SAMPLE_TYPES else f"{name}_le"
    if full_name not in SAMPLE_TYPES:
        require_one_of("The sample type", name, SAMPLE_TYPES, source=source)
    return SAMPLE_TYPES[full_name]


def _unpacked_24(stored: npt.NDArray[np.uint8]) -> npt.NDArray[np.int32]:
    wide = np.zeros((len(stored) // 3, 4), dtype=np.uint8)
    wide[:, 1:] = stored.reshape(-1, 3)
    return wide.reshape(-1).view("<i4")


def decode_into(sample_type: SampleType, stored: npt.NDArray[np.uint8], axes: npt.NDArray[np.float32]) -> None:
    """Turn bytes as stored into I, Q, I, Q, ..., full scale 1.

    stored  (n n_bytes,) whole samples
    axes    (2 n,) receives the values
    """
    codes = _unpacked_24(stored) if sample_type == WAV_24 else stored.view(sample_type.code)
    # A 64-bit float beyond 32 bits becomes infinite here; whoever screens the samples says so.
    with np.errstate(over="ignore", invalid="ignore"):
        axes[:] = codes
    if sample_type.zero:
        axes -= np.float32(sample_type.zero)
    if sample_type.full_scale is not None:
        axes /= np.float32(sample_type.full_scale)


def encode(sample_type: SampleType, samples: npt.NDArray[np.complex64]) -> tuple[bytes, int]:
    """Bytes to store, and how many samples had an axis cut at the last code.

    samples  (n,) finite; 8- and 16-bit integers and 32-bit floats only, which float32 holds exactly
    """
    axes = np.ascontiguousarray(samples, dtype=np.complex64).view(np.float32)
    if sample_type.full_scale is None:
        return axes.astype(sample_type.code).tobytes(), 0
    scaled = np.rint(axes * np.float32(sample_type.full_scale) + np.float32(sample_type.zero))
    limits = np.iinfo(sample_type.code)
    outside = (scaled < limits.min) | (scaled > limits.max)
    n_cut = int(outside.reshape(-1, 2).any(axis=1).sum()) if outside.any() else 0
    return np.clip(scaled, limits.min, limits.max).astype(sample_type.code).tobytes(), n_cut

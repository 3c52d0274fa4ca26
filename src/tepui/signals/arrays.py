"""Arrays inside nouns: a finite, read-only copy of what was given, or one sentence.

Theory  A noun that is valid once built cannot be spoilt later through an array its maker still holds.
Source  house rule; no physics.
Holds   Small arrays (responses, masks, profiles). Samples of a recording are never copied this way.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError


def _read_only(values: npt.ArrayLike, dtype: type, *, name: str, shape: tuple[int | None, ...]) -> npt.NDArray[Any]:
    array: npt.NDArray[Any] = np.array(values, dtype=dtype, order="C")
    fits = array.ndim == len(shape) and all(want in (None, got) for want, got in zip(shape, array.shape, strict=True))
    if not fits:
        wanted = " x ".join("n" if want is None else str(want) for want in shape)
        raise RangeError(f"{name} must be an array of {wanted} numbers, not {array.shape}.")
    if array.size == 0:
        raise RangeError(f"{name} must hold at least one number.")
    bad = np.flatnonzero(~np.isfinite(array.reshape(array.shape[0], -1)).all(axis=1))
    if bad.size:
        raise RangeError(f"{name} must hold finite numbers; point {int(bad[0]) + 1} of {array.shape[0]} does not.")
    array.flags.writeable = False
    return array


def read_only_floats(values: npt.ArrayLike, *, name: str, n: int | None = None) -> npt.NDArray[np.float64]:
    """A finite, read-only copy of a row of real numbers; ``n`` fixes its length.

    raises  RangeError, naming the argument and the first point at fault
    """
    return _read_only(values, np.float64, name=name, shape=(n,))


def read_only_complex(values: npt.ArrayLike, *, name: str, shape: tuple[int | None, ...]) -> npt.NDArray[np.complex128]:
    """A finite, read-only copy of complex numbers; None in ``shape`` leaves that length free.

    raises  RangeError, naming the argument and the first point at fault
    """
    return _read_only(values, np.complex128, name=name, shape=shape)


def require_rising(name: str, values: npt.NDArray[np.float64], *, unit: str, steps_allowed: bool = False) -> None:
    """Refuse a row that does not rise from point to point; ``steps_allowed`` lets neighbours be equal.

    raises  RangeError
    """
    differences = np.diff(values)
    falls = np.flatnonzero(differences < 0 if steps_allowed else differences <= 0)
    if falls.size:
        at = int(falls[0])
        raise RangeError(
            f"{name} must rise from point to point; point {at + 2} ({values[at + 1]:g} {unit}) "
            f"follows {values[at]:g} {unit}."
        )


def checked_sweep(frequency_hz: npt.ArrayLike, *, z0_ohm: float) -> npt.NDArray[np.float64]:
    """Frequencies of a port's parameters, read-only, beside a reference resistance that is one.

    raises  RangeError
    """
    frequency = read_only_floats(frequency_hz, name="frequency_hz")
    require_rising("frequency_hz", frequency, unit="Hz")
    if frequency[0] < 0:
        raise RangeError(f"frequency_hz must be from 0 on, not {frequency[0]:g} Hz.")
    require_positive("z0_ohm", z0_ohm, unit="Ohm")
    return frequency

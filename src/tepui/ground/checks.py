"""The checks a public function makes on its arguments, and the one way their refusals are worded.

Every refusal names the argument, the value found, what is allowed and whose limit that is.
"""

import difflib
import math
from collections.abc import Iterable
from numbers import Real
from typing import Any

from tepui.ground.errors import ChoiceError, RangeError


def _listed(allowed: Iterable[Any]) -> str:
    words = [str(item) for item in allowed]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]


def _nearest(value: Any, allowed: list[Any]) -> str:
    if isinstance(value, str):
        close = difflib.get_close_matches(value, [str(item) for item in allowed], n=1)
        return f" Nearest: {close[0]}." if close else ""
    if isinstance(value, Real) and all(isinstance(item, Real) for item in allowed):
        return f" Nearest: {min(allowed, key=lambda item: abs(float(item) - float(value)))}."
    return ""


def require_one_of(name: str, value: Any, allowed: Iterable[Any], *, source: str) -> None:
    """Refuse ``value`` unless it equals one of ``allowed``.

    raises  ChoiceError, naming the allowed values, their source and the nearest one
    """
    choices = list(allowed)
    if value not in choices:
        raise ChoiceError(f"{name} must be {_listed(choices)} ({source}), not {value}.{_nearest(value, choices)}")


def require_between(name: str, value: float, low: float, high: float, *, unit: str, source: str) -> None:
    """Refuse ``value`` unless it is a finite number with low <= value <= high.

    raises  RangeError
    """
    if not (math.isfinite(value) and low <= value <= high):
        in_unit = f" {unit}" if unit else ""
        raise RangeError(f"{name} must lie between {low:g} and {high:g}{in_unit} ({source}), not {value:g}.")


def require_positive(name: str, value: float, *, unit: str) -> None:
    """Refuse ``value`` unless it is a finite number above zero.

    raises  RangeError
    """
    if not (math.isfinite(value) and value > 0):
        raise RangeError(f"{name} must be a number above zero in {unit}, not {value:g}.")

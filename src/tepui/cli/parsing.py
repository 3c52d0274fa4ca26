"""argparse, with one sentence in place of a usage dump, and option values that carry units.

Theory  An option's value may begin with a minus sign ("-38 dB", "-38dB"), which argparse takes for another option;
        joining it to its option with "=" says what is meant.
Source  argparse's documentation: "Arguments containing -", ``--option=value``.
Holds   Long options only: every option here begins with two dashes.
"""

import argparse
import difflib
import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NoReturn

from tepui.ground.checks import require_positive
from tepui.ground.errors import InputError, QuantityError

_NEGATIVE_VALUE = re.compile(r"-\s*\.?\d")
_NO_VALUE = re.compile(r"ignored explicit argument (.*)", re.DOTALL)
_SAMPLE_UNITS = re.compile(r"(?<![A-Za-z])([kMG]?)(?:S/s|Sa/s|Sps|SPS)\s*$")


class UsageError(InputError):
    """The command line itself cannot be used."""


class SentenceParser(argparse.ArgumentParser):
    """A parser whose complaints are exceptions, and which takes no abbreviations."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(
            allow_abbrev=False, formatter_class=argparse.RawDescriptionHelpFormatter, add_help=False, **settings
        )
        self.add_argument("--help", "-h", action="help", help="show this and leave")

    def error(self, message: str) -> NoReturn:
        """Raise what argparse would have printed.

        raises  UsageError, always
        """
        text = _NO_VALUE.sub(r"takes no value, and \1 was found", message.removeprefix("argument ").removesuffix("."))
        raise UsageError(f"{text}; see '{self.prog} --help'.")

    def parse(self, words: Sequence[str]) -> argparse.Namespace:
        """Read the words of a command line.

        raises  UsageError; an unknown option is answered with the nearest one
        """
        arguments, unknown = self.parse_known_args(join_negative_values(words))
        if unknown:
            known = [option for action in self._actions for option in action.option_strings]
            close = difflib.get_close_matches(unknown[0].split("=")[0], known, n=1)
            nearest = f", did you mean {close[0]}?" if close else ""
            advice = nearest or f"; see '{self.prog} --help'."
            raise UsageError(f"{unknown[0]} is not known here{advice}")
        return arguments


def join_negative_values(words: Sequence[str]) -> list[str]:
    """Join an option and a value that begins with a minus sign and a digit.

    >>> join_negative_values(["--baseline", "-38dB", "a.wav"])
    ['--baseline=-38dB', 'a.wav']
    """
    joined: list[str] = []
    for word in words:
        before = joined[-1] if joined else ""
        if _NEGATIVE_VALUE.match(word) and before.startswith("--") and len(before) > 2 and "=" not in before:
            joined[-1] = f"{before}={word}"
        else:
            joined.append(word)
    return joined


def quantity(text: str, *, kind: str, option: str) -> float:
    """An option's text as a number in SI.

    raises  QuantityError, with the option's name before the sentence
    """
    from tepui.ground.quantity import quantity_value

    try:
        return quantity_value(text, kind=kind)
    except InputError as problem:
        raise QuantityError(f"{option}: {problem}") from problem


def whole_number(text: str) -> int:
    """A count above zero, as an argparse type.

    raises  argparse.ArgumentTypeError
    """
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"must be a whole number above zero, not {text}")
    return int(text)


def place(text: str) -> Path:
    """The name of a file or folder, as an argparse type.

    raises  argparse.ArgumentTypeError for an empty one, which would stand for the folder we are in
    """
    if not text.strip():
        raise argparse.ArgumentTypeError("the name of a file or folder is needed, not an empty text")
    return Path(text)


def width_hz(text: str, *, option: str) -> float:
    """A width: a frequency above zero. [Hz]

    raises  QuantityError, RangeError
    """
    value_hz = quantity(text, kind="frequency", option=option)
    require_positive(option, value_hz, unit="Hz")
    return value_hz


def sample_rate_hz(text: str, *, option: str) -> float:
    """A sample rate above zero: "8 MHz", "8 MS/s", or a bare number of samples per second. [Hz]

    raises  QuantityError, RangeError
    """
    try:
        value_hz = float(text)
    except ValueError:
        value_hz = quantity(_SAMPLE_UNITS.sub(r"\1Hz", text), kind="frequency", option=option)
    require_positive(option, value_hz, unit="samples per second")
    return value_hz


def day_or_utc(text: str, *, option: str) -> str:
    """A day or a moment in UTC as ISO 8601 with a Z; of a day its beginning.

    raises  UsageError
    """
    moment = text if "T" in text else f"{text}T00:00:00Z"
    try:
        sound = datetime.fromisoformat(moment).utcoffset() == timedelta(0)
    except ValueError:
        sound = False
    if not sound:
        raise UsageError(f"{option} must be a day or a time in UTC, such as 2026-01-31T20:15:00Z, not {text[:40]}.")
    return moment

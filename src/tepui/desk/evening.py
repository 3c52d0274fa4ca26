"""The ticks of an evening on the air: kept between two looks at the page, entered into the log in one go.

Theory  A tick is the operator's word with its time. It is kept in a small file so that a reload loses nothing, and
        becomes a note of the log, a contact and far readings when the operator says so.
Source  our own design.
Holds   One evening at a time; ticks that nobody touched for twelve hours belong to an earlier one and are put away.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from tepui.files.atomic import write_text_whole
from tepui.ground.document import utc_now
from tepui.ground.errors import InputError

POINTS = ("lock", "shoulders", "lines", "ident", "exposure", "beam", "talkback")
WORDS = {"talkback": "talk-back"}
LONGEST_H = 12.0


class Evening:
    """The ticks, in a file."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def ticks(self) -> dict[str, str]:
        """Point -> when it was ticked."""
        try:
            told = json.loads(self._path.read_text(encoding="utf-8"))
            found = {name: str(told[name]) for name in POINTS if isinstance(told.get(name), str)}
            ages = [datetime.now(UTC) - datetime.fromisoformat(utc) for utc in found.values()]
        except (OSError, ValueError, TypeError, AttributeError):
            return {}
        if ages and min(ages).total_seconds() > LONGEST_H * 3600:
            return {}
        return found

    def turn(self, name: str) -> None:
        """Tick a point, or take its tick back.

        raises  InputError for a point there is not; UnfinishedError where the disk refuses
        """
        if name not in POINTS:
            raise InputError(f"there is no point {name[:30]!r} to tick; there are {', '.join(POINTS)}.")
        held = self.ticks()
        if name in held:
            del held[name]
        else:
            held[name] = utc_now()
        self._path.parent.mkdir(parents=True, exist_ok=True)
        write_text_whole(self._path, json.dumps(held))

    def clear(self) -> None:
        """Begin anew."""
        self._path.unlink(missing_ok=True)


def evening_note(ticks: Mapping[str, str], *, call: str, words: str, known: Sequence[str] = ()) -> str:
    """The evening in words, for the log.

    known  what stood beside the points
    """
    told = [f"{WORDS.get(name, name)} {ticks[name][11:16]}" for name in POINTS if name in ticks]
    missing = [WORDS.get(name, name) for name in POINTS if name not in ticks]
    parts = ["On the air" + (f" with {call}" if call else "") + "."]
    parts.append("Ticked: " + ", ".join(told) + " UTC." if told else "Nothing was ticked.")
    if told and missing:
        parts.append("Not ticked: " + ", ".join(missing) + ".")
    parts += [f"{one}." for one in known]
    if words:
        parts.append(words)
    return " ".join(parts)

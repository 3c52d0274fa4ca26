"""Ticks that an operator set on a sheet of care: what, when, and the words that stood there then.

Theory  A tick is the operator's own word for what stood beside it; where the words have changed since, it is shown as
        given for other words and counts no more. Nothing here sets one.
Source  tepui's own file: JSON, one object an item.
Holds   One file beside the station file; a file that cannot be read is refused, never overwritten.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tepui.files.atomic import write_text_whole
from tepui.ground.document import utc_now
from tepui.ground.errors import FormatError
from tepui.ground.finding_text import label_text, value_text
from tepui.ground.findings import Finding, Table

MOST = 500
STANDS = {True: "as it stands", False: "for other words: look again"}


@dataclass(frozen=True, kw_only=True)
class Tick:
    """One item that was ticked."""

    item: str
    words: str
    utc: str


def words_of(finding: Finding) -> str:
    """What a tick beside a finding is given for."""
    return f"{label_text(finding.key)}: {value_text(finding)}"


def ticks_table(ticks: Mapping[str, Tick], findings: Sequence[Finding]) -> Table:
    """The ticks as a table: what was ticked, when, and whether it stands so now."""
    now = {f"{one.about} {one.key}": words_of(one) for one in findings}
    rows = tuple(
        (one.item, one.words, one.utc, STANDS[now.get(one.item, one.words) == one.words]) for one in ticks.values()
    )
    columns = (("tick_item", ""), ("ticked_words", ""), ("ticked_utc", ""), ("tick_stands", ""))
    return Table(name="care_ticks", columns=columns, rows=rows)


def read_ticks(path: Path) -> dict[str, Tick]:
    """Ticks by item; none where there is no file.

    raises  FormatError where the file is no list of ticks
    """
    if not path.exists():
        return {}
    try:
        told = json.loads(path.read_text(encoding="utf-8"))["ticks"]
        return {str(one["item"]): Tick(**{key: str(one[key]) for key in ("item", "words", "utc")}) for one in told}
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise FormatError(f"{path} is no list of ticks; put it aside, and they begin anew.") from problem


def set_tick(path: Path, item: str, words: str | None) -> None:
    """Set a tick, or take it away where ``words`` is None; whole or not at all.

    raises  FormatError where the file is no list of ticks
    """
    ticks = read_ticks(path)
    ticks.pop(item, None)
    if words is not None and len(ticks) < MOST:
        ticks[item] = Tick(item=item, words=words, utc=utc_now())
    told = [vars(one) for one in ticks.values()]
    write_text_whole(path, json.dumps({"ticks": told}, indent=1, ensure_ascii=True) + "\n")

"""What the strip shows beyond the antenna: the path's loss, and the level that arrives at the far station.

Theory  The levels' document carries on to the far stations of the station file, as far as it can be said without
        terrain: bounds. A path that was worked out since, with terrain, says more and comes first. The nearest to a
        limit decides which of several far stations is shown: that of the lowest level.
Source  our own design; the verbs ``levels`` and ``path``.
Holds   Findings about ``path:NAME``.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from tepui.ground.finding_text import value_text
from tepui.ground.findings import Finding
from tepui.web.marks import finding_of, number
from tepui.web.strip import StageView

KEYS = {"path": ("loss_total_db", "far_loss_db"), "far": ("far_input_dbm", "receive_level_dbm")}
WORDS = {"path": (), "far": ("margin_db", "cn_db")}
SHORT = {"margin_db": "margin", "cn_db": "C/N"}


def beyond_view(place: str, documents: Iterable[Mapping[str, Any] | None]) -> StageView:
    """The zone ``path`` or ``far``; empty where no document tells.

    documents  the one that says most first
    """
    for document in documents:
        found = [] if document is None else [finding_of(plain) for plain in document["findings"]]
        paths = [finding for finding in found if finding.about.startswith("path:")]
        for key in KEYS.get(place, ()):
            shown = _worst([finding for finding in paths if finding.key == key], highest=place == "path")
            if shown is not None:
                return StageView(expected=shown, worst=_words(place, paths, shown.about))
    return StageView()


def _worst(findings: list[Finding], *, highest: bool) -> Finding | None:
    """The far station that is hardest to reach; one that is not known only where none is."""
    known = [finding for finding in findings if finding.is_number]
    if known:
        return (max if highest else min)(known, key=lambda finding: float(finding.value))  # type: ignore[arg-type]
    return findings[0] if findings else None


def _words(place: str, paths: list[Finding], about: str) -> str:
    for key in WORDS[place]:
        for finding in paths:
            if finding.about == about and finding.key == key and finding.is_number:
                return f"{SHORT[key]} {number(value_text(finding))}"
    call = about.removeprefix("path:")
    return f"to {call}" if place == "path" else ""

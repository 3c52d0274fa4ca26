"""How a finding stands on a page: its mark, number, doubt and unit, and the words a screen reader says.

Theory  The mark tells the standing by its shape; the word for it is there for those who do not see it. Values are those
        of ground.finding_text, in three sizes.
Source  our own design: docs/look.md.
Holds   Findings as the JSON document carries them.
"""

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from markupsafe import Markup, escape

from tepui.ground.finding_text import label_text, limit_text, value_parts
from tepui.ground.findings import Contribution, Finding

MINUS, SPACE = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}"
SPOKEN = {
    "measured": "measured",
    "computed": "computed",
    "given": "given",
    "at_most": "bound",
    "at_least": "bound",
    "unknown": "unknown",
}
BASE = {"at_most": "bound", "at_least": "bound"}


def finding_of(plain: Mapping[str, Any]) -> Finding:
    """A finding out of a JSON document."""
    parts = tuple(Contribution(**part) for part in plain.get("contributions", ()))
    return Finding(**{**plain, "contributions": parts})


def mark(standing: str, *, css: str = "mark") -> Markup:
    """The mark of a standing alone."""
    return Markup('<svg class="{}" aria-hidden="true"><use href="#m-{}"/></svg>').format(css, standing)


def number(text: str) -> str:
    """A number's text with a true minus."""
    return text.replace("-", MINUS)


def value(
    finding: Finding, *, practice: bool = False, tag: str = "span", unit: bool = True, digits: int | None = None
) -> Markup:
    """Mark, number, doubt and unit of a finding, its standing spoken.

    practice  the finding is of the simulated bench: its mark is hatched and it is never in pencil
    unit      whether it is shown; a column may say it once
    digits    significant digits of what is exact, where room is short
    """
    shape = "practice" if practice and finding.standing == "measured" else finding.standing
    base = shape if shape == "practice" else BASE.get(finding.standing, finding.standing)
    if finding.standing == "unknown":
        return Markup('<{0} class="v" data-standing="unknown">{1}unknown</{0}>').format(Markup(tag), mark("unknown"))
    text, doubt, unit_text = value_parts(finding)
    if digits is not None and finding.low == finding.high and finding.is_number:
        with suppress(ValueError):
            text = f"{float(text):.{digits}g}"
    spoken = "practice" if shape == "practice" else SPOKEN[finding.standing]
    bound = finding.standing in BASE
    return Markup(
        '<{tag} class="v" data-standing="{base}">{mark}<span class="sr">{spoken} </span>'
        '<span class="n">{text}</span>{doubt}{unit}</{tag}>'
    ).format(
        tag=Markup(tag),
        base=base,
        mark=mark(shape),
        spoken="" if bound else spoken,
        text=number(text) if finding.is_number else text,
        doubt=Markup('<span class="pm"> {}</span>').format(_doubt(doubt)) if doubt else "",
        unit=Markup('<span class="unit">{}{}</span>').format(SPACE, unit_text) if unit and unit_text else "",
    )


def _doubt(text: str) -> str:
    return number(text).replace("± ", f"±{SPACE}")


def label(finding: Finding) -> str:
    """The quantity in words."""
    return label_text(finding.key)


def limit(finding: Finding) -> Markup:
    """The limit and how it is met, or nothing."""
    return escape(number(limit_text(finding)))

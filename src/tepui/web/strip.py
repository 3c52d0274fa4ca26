"""The chain across the top of every sheet: nine stages in signal order, each with its levels and how it stands.

Theory  The chain is the map: the strip is the navigation. A stage's state is told by shape and word.
Source  our own design: docs/look.md; the stages are those of the station file in the order of the signal.
Holds   Nine zones; stages of one zone are shown together, the last one's level.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from tepui.ground.findings import Finding
from tepui.web.marks import value

PLANNED, BUILT, MEASURED, ATTENTION = "planned", "built", "measured", "attention"
_BLOCK = '<rect x="-21" y="-14" width="42" height="28" class="{k} f-sheet"/>'
_WAVES = "M-13-6c4-5 9 5 13 0s9 5 13 0M-13 0c4-5 9 5 13 0s9 5 13 0M-13 6c4-5 9 5 13 0s9 5 13 0"
SYMBOLS = (
    _BLOCK + '<path class="thin" d="M-14 5h5v-10h5v10h4v-10h8v10h6"/>',
    _BLOCK + '<path class="thin" d="M-16 8l4-2 2-3 1.5-10h17l1.5 10 2 3 4 2"/>',
    '<circle r="14" class="{k} f-sheet"/><path class="thin" d="M-9.9-9.9 9.9 9.9M9.9-9.9-9.9 9.9"/>',
    _BLOCK + f'<path class="thin" d="{_WAVES}M-3-2.5l6-6M-3 9.5l6-6"/>',
    '<path class="{k} f-sheet" d="M-10-11V11L12 0Z"/>',
    '<path class="{k} f-sheet" d="M-16-17V17L18 0Z"/>',
    '<path class="{k}" d="M0 0V-15M-12-15 0-3 12-15M-12-15H12"/>',
    '<path class="thin" d="M-34 15C-24 13-20 8-13 9s8-7 14-7 9 8 15 7 10 4 18 6"/>'
    '<path class="{k}" stroke-dasharray="1 4" stroke-linecap="round" d="M-34-7H34"/>'
    '<path class="f-ink" d="M36-7l-8-2.6v5.2Z"/>',
    '<path class="{k}" d="M-24 0V-13M-34-13-24-3-14-13Z"/>'
    '<rect x="-8" y="-11" width="32" height="22" class="{k} f-sheet"/>'
    '<path class="thin" d="M2-5.5 13 0 2 5.5Z"/>',
)
NAMES = (
    ("Source", "Source"),
    ("Modulator", "Modulator"),
    ("Oscillator + mixer", "Osc + mix"),
    ("Filter", "Filter"),
    ("Driver", "Driver"),
    ("Amplifier", "Amplifier"),
    ("Feeder + antenna", "Antenna"),
    ("Path", "Path"),
    ("Far receiver", "Receiver"),
)
PLACES = ("source", "modulator", "mixer", "filter", "driver", "amplifier", "antenna", "path", "far")


@dataclass(frozen=True, kw_only=True)
class StageView:
    """What the strip shows of one zone.

    expected, read  level after the stage; None where there is none
    worst           its worst finding in a few words
    flag            number of the note that says more, with state ``attention``
    practice        what was read is of the simulated bench
    """

    state: str = PLANNED
    expected: Finding | None = None
    read: Finding | None = None
    worst: str = ""
    flag: int = 0
    practice: bool = False


def strip(stages: Sequence[StageView], *, current: str | None) -> Markup:
    """The strip as a navigation; ``current`` is the place whose sheets are open."""
    items = [_item(n, stage, current=PLACES[n] == current) for n, stage in enumerate(stages)]
    more = Markup('<li class="stage more"><a href="#index">Sheets</a></li>')
    return Markup('<nav class="chain" aria-label="Signal chain"><ol>{}{}</ol></nav>').format(
        Markup("").join(items), more
    )


def _item(n: int, stage: StageView, *, current: bool) -> Markup:
    long, short = NAMES[n]
    return Markup(
        '<li class="stage"><a href="/stage/{place}"{here}><span class="zone" aria-hidden="true">{number}</span>'
        '<span class="name"><span class="long">{long}</span><span class="short">{short}</span></span>{wire}'
        '<span class="level exp"><span class="sr">expected </span>{expected}</span>'
        '<span class="level read{none}"><span class="sr">read </span>{read}</span>'
        '<span class="state">{state}</span><span class="worst">{worst}</span></a></li>'
    ).format(
        place=PLACES[n],
        here=Markup(' aria-current="page"') if current else "",
        number=n + 1,
        long=long,
        short=short,
        wire=_wire(n, stage),
        expected=_level(stage.expected),
        none=" none" if stage.read is None else "",
        read=_level(stage.read, practice=stage.practice),
        state=_state(stage),
        worst=stage.worst,
    )


def _level(finding: Finding | None, *, practice: bool = False) -> Markup:
    if finding is None:
        return Markup('<span class="blank"></span><span class="sr">nothing yet</span>')
    shown = value(finding, practice=practice, unit=finding.unit not in ("dBm", "dB"), digits=4)
    for words in ("at most ", "at least "):  # the mark says it by its shape, where room is short
        shown = Markup(str(shown).replace(words, f'<span class="sr">{words}</span>'))
    return shown


def _state(stage: StageView) -> Markup:
    if stage.state == ATTENTION:
        return Markup('<span class="alarm">{}attention</span>').format(flag(stage.flag))
    return Markup('<svg class="box" aria-hidden="true"><use href="#s-{}"/></svg>{}').format(stage.state, stage.state)


def flag(n: int) -> Markup:
    """The numbered flag of a note."""
    return Markup(
        '<svg class="flag" viewBox="0 0 24 22" aria-hidden="true"><path d="M12 .8 23.6 21.4H.4Z"/>'
        '<text x="12" y="18.4" text-anchor="middle">{}</text></svg>'
    ).format(escape(n))


def _wire(n: int, stage: StageView) -> Markup:
    ends = {0: ("50%", "100%"), 6: ("0", "50%")}.get(n, ("0", "100%"))
    line = "" if n >= 7 else f'<line class="thin" x1="{ends[0]}" x2="{ends[1]}" y1="50%" y2="50%"/>'
    symbol = SYMBOLS[n].format(k="planned" if stage.state == PLANNED else "pen")
    point = ""
    if stage.read is not None and not stage.practice:
        point = '<circle r="7" class="f-sheet"/><circle r="4.6" class="f-pencil"/>'
    elif n < 8:
        point = '<circle r="4.2" class="pen f-sheet"/>'
    test_point = f'<svg x="100%" y="50%" overflow="visible">{point}</svg>' if point else ""
    return Markup(
        f'<svg class="wire" aria-hidden="true">{line}<svg x="50%" y="50%" overflow="visible"><g>{symbol}</g></svg>'
        f"{test_point}</svg>"
    )

"""``spectrum --screen``: levels that were read off a display, made findings; looks through other pads held together.

Theory  evidence/screen.py and screen_line.py for one look. Looks of one name through several pads are readings of one
        signal: evidence/instrument.py tells what was sent from what the display's front end made.
Source  [TR101290] 9.7; evidence/instrument.py.
Holds   A pad counts; its step is trusted to half a decibel (95 %), as for recordings.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from tepui.evidence.screen import Display, Side, band_of, side_of
from tepui.ground.doubt import Estimate
from tepui.ground.errors import FormatError, InputError
from tepui.ground.findings import Finding, Outcome, Table, Value
from tepui.jobs.screen_findings import (
    display_findings,
    line_findings,
    over_total_power,
    power_findings,
    shoulder_cautions,
    side_findings,
)
from tepui.jobs.screen_pads import Solved, pad_findings, solved_sides
from tepui.jobs.screen_told import SIDES, Look, LookTold, look_of

COLUMNS = (
    ("look", ""),
    ("setting_dbm", "dBm"),
    ("attenuator_db", "dB"),
    ("side", ""),
    ("shoulder_shown_db", "dB"),
    ("noise_off_db", "dB"),
    ("filter_off_db", "dB"),
    ("baseline_off_db", "dB"),
    ("shoulder_read_db", "dB"),
    ("level_low_db", "dB"),
    ("level_high_db", "dB"),
    ("region", ""),
)


@dataclass(frozen=True, kw_only=True)
class ScreenResult:
    """What came of all looks.

    rows   by name of the signal: setting, power and each side's true level where there is one, for a drive series
    """

    outcome: Outcome
    rows: tuple["DriveRow", ...]


@dataclass(frozen=True, kw_only=True)
class DriveRow:
    """One setting as ``drive --readings`` takes it; sides that are only bounds are left out."""

    name: str
    setting_dbm: float
    power_dbm: float | None
    shoulders: dict[str, Estimate]


def screen(looks: Sequence[LookTold], *, total_power: bool = False, as_series: bool = False) -> ScreenResult:
    """Findings of every look; of looks of one name together, each look being a row of the table.

    total_power  whether shoulders are stated in 4 kHz over the total power as well
    as_series    whether a drive series will be made of it, so that what it lacks is said
    raises       InputError: one sentence
    """
    by_name: dict[str, list[LookTold]] = {}
    for told in looks:
        by_name.setdefault(told.name, []).append(told)
    findings: list[Finding] = []
    cells: list[tuple[Value, ...]] = []
    rows: list[DriveRow] = []
    said: set[Display] = set()
    for name, named in by_name.items():
        try:
            group = [look_of(told) for told in named]
            _require_apart(group)
            solved = solved_sides(group) if len(group) > 1 else ()
            findings += _of_group(f"screen:{name}", group, solved, total_power=total_power)
        except InputError as problem:
            raise type(problem)(f"{name}: {problem}" if len(looks) > 1 else str(problem)) from problem
        for look in group:
            cells += _cells(look, name, solved)
        display = group[0].reading.display
        if display not in said:
            said.add(display)
            findings += display_findings(f"screen:{name}", group[0])
        row = _drive_row(name, group, solved)
        if row is not None:
            rows.append(row)
    if as_series:
        findings += _left_out(by_name, rows)
    tables = (Table(name="screen_readings", columns=COLUMNS, rows=tuple(cells)),) if cells else ()
    return ScreenResult(outcome=Outcome(findings=tuple(findings), tables=tables), rows=tuple(rows))


def _left_out(names: Iterable[str], rows: Sequence[DriveRow]) -> list[Finding]:
    """Looks that give a drive series nothing, as one caution."""
    kept = {row.name for row in rows if row.shoulders}
    missing = [name for name in names if name not in kept]
    if not missing or not kept:
        return []
    return [
        Finding(
            about=f"screen:{missing[0]}",
            key="series_left_out",
            value=", ".join(missing),
            kind="caution",
            standing="computed",
            source="tepui drive --readings takes values and no bounds",
            remark="Not in the drive series: no setting, or no shoulder that is more than a bound.",
        )
    ]


def _require_apart(group: Sequence[Look]) -> None:
    pads = [look.told.pad_db for look in group]
    if len(group) > 1 and (None in pads or len(set(pads)) < len(pads)):
        raise FormatError(
            f"this name has {len(group)} looks: looks of one name are one signal through different pads, so each "
            "needs its own pad; give other signals other names."
        )
    if len({look.told.setting_dbm for look in group}) > 1:
        raise FormatError("looks of one name are one signal of one setting; give others other names.")


def _of_group(about: str, group: Sequence[Look], solved: Sequence[Solved], *, total_power: bool) -> list[Finding]:
    if len(group) == 1:
        return _of_look(about, group[0], total_power=total_power)
    sent = pad_findings(about, solved)
    shoulders = [one for one in sent if one.key.startswith("shoulder_")]
    total = [over_total_power(one, group[0]) for one in shoulders] if total_power else []
    power = power_findings(about, group[0], band_of(group[0].reading))
    return [*sent, *total, *_line_of_group(about, group), *power]


def _line_of_group(about: str, group: Sequence[Look]) -> list[Finding]:
    """A line as the look through the most pad shows it, and in words how the others do."""
    seen = sorted((look for look in group if look.ratios.line is not None), key=lambda look: -(look.told.pad_db or 0.0))
    found = [(look.told.pad_db, one) for look in seen for one in line_findings(about, look, band_of(look.ratios))]
    if not found:
        return []
    first = found[0][1]
    known = [f"{one.value:.1f} dB through {pad:g} dB" for pad, one in found if isinstance(one.value, float)]
    words = "" if len(known) < 2 else f" Seen as {', '.join(known)}: what changes with the pad is the display's own."
    return [replace(first, remark=f"{first.remark}{words}")]


def _of_look(about: str, look: Look, *, total_power: bool) -> list[Finding]:
    band = band_of(look.ratios)
    findings = []
    sides = {side: side_of(look.ratios, look.ratios.shoulders[side], band) for side in look.ratios.shoulders}
    for side in sorted(sides, key=SIDES.index):
        findings += side_findings(about, look, side, sides[side], total_power=total_power)
    if len(sides) == 2:
        worse = max(sides, key=lambda name: _at_worst_db(sides[name]))
        found = side_findings(about, look, "worst", sides[worse], total_power=total_power)
        findings += [replace(one, remark=f"The {worse} one.") for one in found]
    findings += line_findings(about, look, band)
    findings += power_findings(about, look, band_of(look.reading))
    return [*findings, *shoulder_cautions(about, look, sides)]


def _at_worst_db(side: Side) -> float:
    return side.high_db if side.true is None else side.true.value


def _cells(look: Look, name: str, solved: Sequence[Solved]) -> list[tuple[Value, ...]]:
    band = band_of(look.ratios)
    rows: list[tuple[Value, ...]] = []
    for side, levels in look.ratios.shoulders.items():
        read = side_of(look.ratios, levels, band)
        rows.append((
            name, look.told.setting_dbm, look.told.pad_db, side, _round(read.shown.value),
            *(_round(read.off_db.get(part)) for part in ("noise", "filter", "baseline")),
            _round(None if read.true is None else read.true.value), _round(read.low_db), _round(read.high_db),
            _region(look, side, read, solved),
        ))  # fmt: skip
    return rows


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3) + 0.0  # + 0.0 turns -0.0 into 0.0


def _region(look: Look, side: str, read: Side, solved: Sequence[Solved]) -> str | None:
    if read.true is None:
        return "noise" if read.hidden_by == "noise" else "unknown"
    for one in solved:
        for judged in one.sent.judged:
            if one.side == side and -judged.reading.gain_db == look.told.pad_db:
                return judged.region
    return None


def _drive_row(name: str, group: Sequence[Look], solved: Sequence[Solved]) -> DriveRow | None:
    """The row of a drive series; None where no setting was told."""
    setting = group[0].told.setting_dbm
    if setting is None:
        return None
    shoulders: dict[str, Estimate] = {}
    if len(group) == 1:
        look = group[0]
        for side, levels in look.ratios.shoulders.items():
            true = side_of(look.ratios, levels, band_of(look.ratios)).true
            if true is not None:
                shoulders[side] = true
    for one in solved:
        low, high = one.sent.low_db, one.sent.high_db
        if low is not None and high is not None:
            value = (low + high) / 2 if one.sent.value_db is None else one.sent.value_db
            shoulders[one.side] = Estimate(value=value, std=(high - low) / 4)
    powers = [_power_of(look) for look in group]
    known = [one for one in powers if one is not None]
    return DriveRow(name=name, setting_dbm=setting, power_dbm=known[0] if known else None, shoulders=shoulders)


def _power_of(look: Look) -> float | None:
    """Power of the channel at the signal's own place, where the levels and the pad say it. [dBm]"""
    found = [one for one in power_findings("screen:x", look, band_of(look.reading)) if one.key == "channel_power_dbm"]
    if not found or look.told.pad_db is None or not isinstance(found[0].value, float):
        return None
    return found[0].value

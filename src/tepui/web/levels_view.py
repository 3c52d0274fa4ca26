"""The levels of a station as the strip and the levels sheet show them: planned, read, now, what is left in doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from tepui.ground.finding_text import label_text
from tepui.ground.findings import Finding
from tepui.web.bars import plan_bar
from tepui.web.beyond import beyond_view
from tepui.web.marks import finding_of, limit, value
from tepui.web.strip import ATTENTION, BUILT, MEASURED, PLACES, PLANNED, StageView

KINDS = {
    "modulator": "modulator",
    "mixer": "mixer",
    "oscillator": "mixer",
    "filter": "filter",
    "feeder": "antenna",
    "cable": "antenna",
    "antenna": "antenna",
}
VERDICTS = {"recheck": "recheck", "stop": "stop"}


@dataclass(frozen=True, kw_only=True)
class PointRow:
    """One test point of the table."""

    name: str
    place: str
    planned: str
    now: Markup
    bar: Markup
    read: Markup
    verdict: str
    shoulder: Markup
    mer: Markup


@dataclass(frozen=True, kw_only=True)
class LevelsView:
    """The sheet's parts: rows of test points, what to read next, findings of the station, cautions."""

    rows: tuple[PointRow, ...]
    next_point: str
    next_why: str
    station: tuple[Finding, ...]
    cautions: tuple[Finding, ...]
    worst: str


def place_of(kind: str, *, last_amplifier: bool) -> str:
    """The strip's zone of a stage of this kind."""
    if kind in ("amplifier", "driver"):
        return "amplifier" if last_amplifier and kind == "amplifier" else "driver"
    return KINDS.get(kind, "antenna")


def places_of(stages: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Zone by name of stage, from (name, kind) in signal order."""
    amplifiers = [name for name, kind in stages if kind == "amplifier"]
    last = amplifiers[-1] if amplifiers else ""
    return {name: place_of(kind, last_amplifier=name == last) for name, kind in stages}


def strip_of(
    document: Mapping[str, Any] | None, places: Mapping[str, str], *, path: Mapping[str, Any] | None = None
) -> list[StageView]:
    """The strip's nine zones from the levels' document; planned and empty where nothing is known.

    path  the newest document of the verb ``path``, where there is one
    """
    if document is None:
        return [StageView() for _ in PLACES]
    found = _by_key(document)
    practice = bool(document["practice"])
    read = _readings(document)
    views = []
    flags = 0
    for place in PLACES:
        names = [name for name, zone in places.items() if zone == place]
        levels = [
            found[(f"point:after {name}", "level_dbm")]
            for name in names
            if (f"point:after {name}", "level_dbm") in found
        ]
        if not levels:
            views.append(_rate_view(found) if place == "source" else beyond_view(place, (path, document)))
            continue
        last = names[-1]
        verdict = found.get((f"point:after {last}", "reading_verdict"))
        said = "" if verdict is None else str(verdict.value)
        missed = [f for (about, _), f in found.items() if _stage_name(about) in names and _is_missed(f)]
        state = (
            MEASURED
            if any(f"after {name}" in read for name in names)
            else BUILT
            if _has_measured(found, names)
            else PLANNED
        )
        worst = said if said and said != "carry on" else "limit missed" if missed else ""
        if worst:
            flags += 1
        shown = read.get(f"after {last}")
        views.append(
            StageView(
                state=ATTENTION if worst else state,
                expected=levels[-1],
                read=None if shown is None else shown,
                worst=worst or ("" if verdict is None else said),
                flag=flags,
                practice=practice,
            )
        )
    return views


def _rate_view(found: Mapping[tuple[str, str], Finding]) -> StageView:
    rate = found.get(("station", "net_bit_rate_bps"))
    return StageView() if rate is None else StageView(expected=rate)


def _stage_name(about: str) -> str:
    """The stage that a finding is about, by itself or by the point after it."""
    return about.removeprefix("point:after ").removeprefix("stage:")


def _is_missed(finding: Finding) -> bool:
    return finding.margin is not None and finding.margin < 0


def _has_measured(found: Mapping[tuple[str, str], Finding], names: Sequence[str]) -> bool:
    return any(
        about in {f"stage:{name}" for name in names} and f.standing == "measured" for (about, _), f in found.items()
    )


def _by_key(document: Mapping[str, Any]) -> dict[tuple[str, str], Finding]:
    found = [finding_of(plain) for plain in document["findings"]]
    return {(finding.about, finding.key): finding for finding in found}


def _readings(document: Mapping[str, Any]) -> dict[str, Finding]:
    """What was read at each point, as a finding; the last one where there are several."""
    table = document["tables"].get("level_readings", {"columns": [], "rows": []})
    keys = [column["key"] for column in table["columns"]]
    found = {}
    for row in table["rows"]:
        told = dict(zip(keys, row, strict=True))
        if told.get("read_dbm") is None:
            continue
        doubt = told.get("doubt_db") or 0.0
        found[told["point"]] = Finding(
            about=f"point:{told['point']}",
            key="level_dbm",
            value=told["read_dbm"],
            unit="dBm",
            low=told["read_dbm"] - doubt,
            high=told["read_dbm"] + doubt,
            standing="measured",
            source="entered as read",
        )
    return found


def levels_view(document: Mapping[str, Any], places: Mapping[str, str]) -> LevelsView:
    """Everything the levels sheet shows."""
    found = _by_key(document)
    practice = bool(document["practice"])
    read = _readings(document)
    table = document["tables"].get("levels", {"columns": [], "rows": []})
    keys = [column["key"] for column in table["columns"]]
    rows = []
    points = [dict(zip(keys, row, strict=True)) for row in table["rows"]]
    reach = 1.15 * max((told["planned_rss_db"] for told in points), default=1.0) + 0.5
    for told in points:
        point = told["point"]
        now = found[(f"point:{point}", "level_dbm")]
        verdict = found.get((f"point:{point}", "reading_verdict"))
        one = read.get(point)
        rows.append(
            PointRow(
                name=point,
                place=places.get(point.removeprefix("after "), ""),
                planned=f"{told['planned_dbm']:.1f} ± {told['planned_rss_db']:.1f}".replace("-", "\N{MINUS SIGN}"),
                now=value(now, practice=practice, unit=False),
                bar=plan_bar(
                    planned=told["planned_dbm"],
                    before=told["planned_rss_db"],
                    now=now,
                    reach=reach,
                    read=None if one is None else float(one.value),  # type: ignore[arg-type]
                ),
                read=value(one, practice=practice, unit=False) if one is not None else Markup("not read"),
                verdict="" if verdict is None else str(verdict.value),
                shoulder=_shown(found.get((f"point:{point}", "shoulder_worst_db")), practice=practice),
                mer=_shown(found.get((f"point:{point}", "mer_db")), practice=practice),
            )
        )
    following = found.get(("station", "next_reading"))
    worst = found.get(("station", "worst_stage"))
    return LevelsView(
        rows=tuple(rows),
        next_point="" if following is None else str(following.value),
        next_why="" if following is None else following.remark,
        station=tuple(f for (about, _), f in found.items() if about == "station" and f.kind == "result"),
        cautions=tuple(f for f in found.values() if f.kind == "caution"),
        worst="" if worst is None else f"{worst.value}: {worst.remark}",
    )


def attention_of(
    document: Mapping[str, Any] | None, place: str, places: Mapping[str, str]
) -> tuple[tuple[str, Markup, Markup, str], ...]:
    """What the flag of a zone stands for: label, value, limit and remark of every limit missed and reading in doubt."""
    if document is None:
        return ()
    practice = bool(document["practice"])
    names = [name for name, zone in places.items() if zone == place]
    told = []
    for (about, key), one in _by_key(document).items():
        doubtful = key == "reading_verdict" and one.value in VERDICTS
        if _stage_name(about) in names and (_is_missed(one) or doubtful):
            told.append(
                (f"{_stage_name(about)}: {label_text(key)}", value(one, practice=practice), limit(one), one.remark)
            )
    return tuple(told)


def points_of(document: Mapping[str, Any] | None, place: str, places: Mapping[str, str]) -> tuple[PointRow, ...]:
    """The test points behind the stages of one zone."""
    if document is None:
        return ()
    return tuple(row for row in levels_view(document, places).rows if row.place == place)


def _shown(finding: Finding | None, *, practice: bool) -> Markup:
    return Markup("") if finding is None else value(finding, practice=practice, unit=False)

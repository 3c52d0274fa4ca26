"""What the templates are filled with: results laid out as findings, tables and pictures; places and their sheets."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from tepui.desk.workshop import DONE, Work
from tepui.ground.finding_text import STANDING_WORDS, cell_text, label_text, scale_for
from tepui.ground.findings import Finding
from tepui.web.bars import doubt_bar
from tepui.web.marks import finding_of, limit, number, value
from tepui.web.pictures import inline

LEADING = {
    "mode": ("net_bit_rate_bps",),
    "filter": ("centre_hz", "insertion_loss_db"),
    "frequencies": ("rejection_lo_db",),
    "path": ("margin_db", "loss_total_db", "cn_db"),
    "coverage": ("covered_share",),
    "check": ("exposure_distance_m", "eirp_dbm", "supply_current_a"),
    "spectrum": ("shoulder_worst_db", "shoulder_lower_db", "shoulder_upper_db"),
    "receive": ("mer_db", "margin_db"),
    "drive": ("drive_recommended_dbm", "drive_crossing_dbm"),
}
MOST_ROWS = 60
SHOWN_TABLES: dict[str, tuple[str, ...]] = {
    "frequencies": ("plans",),
    "mode": ("mode_choices", "settings_card"),
    "path": ("mode_margins", "wind_down"),
    "coverage": ("reach_by_gain", "station_reports", "repeater_inputs", "mode_shares"),
    "check": ("levels", "mer_budget", "supply", "care_ticks", "rules_at_hand"),
    "report": (),
    "filter": ("rods", "prototype"),
    "spectrum": ("lines",),
    "receive": ("echoes", "locks"),
    "drive": ("drive_readings", "price_of_next"),
}
COUNTED = ("measured", "computed", "given", "bound", "unknown")


@dataclass(frozen=True, kw_only=True)
class Line:
    """One finding as a row: label, value, and what stands below."""

    label: str
    value: Markup
    standing: str
    limit: Markup
    remark: str


@dataclass(frozen=True, kw_only=True)
class Group:
    """Findings about one thing."""

    about: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, kw_only=True)
class Leading:
    """The figure a sheet exists for, large, with its bar."""

    label: str
    value: Markup
    bar: Markup
    remark: str
    limit: Markup


@dataclass(frozen=True, kw_only=True)
class Cells:
    """A table as text: headings and rows; ``more`` rows are left to the document."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    more: int


@dataclass(frozen=True, kw_only=True)
class ResultView:
    """A document laid out for a page."""

    practice: bool
    leading: tuple[Leading, ...]
    groups: tuple[Group, ...]
    cautions: tuple[Line, ...]
    tables: tuple[Cells, ...]
    pictures: tuple[tuple[str, Markup], ...]
    counts: tuple[tuple[str, int], ...]


def result_view(work: Work) -> ResultView | None:
    """The result of a piece of work, or None while there is none."""
    document = work.document
    if work.state != DONE or document is None:
        return None
    practice = bool(document["practice"])
    findings = [finding_of(plain) for plain in document["findings"]]
    results = [finding for finding in findings if finding.kind == "result"]
    return ResultView(
        practice=practice,
        leading=_leading(results, work.verb, practice=practice),
        groups=_groups(results, practice=practice),
        cautions=tuple(_line(finding, practice=practice) for finding in findings if finding.kind == "caution"),
        tables=_tables(document["tables"], work.verb),
        pictures=_pictures(work.folder / "pictures"),
        counts=counts_of(findings),
    )


def counts_of(findings: list[Finding]) -> tuple[tuple[str, int], ...]:
    """How many numbers stand how, for the title block."""
    words = Counter(
        STANDING_WORDS[f.standing].split(",")[0] for f in findings if f.is_number or f.standing == "unknown"
    )
    return tuple((word, words[word]) for word in COUNTED if words[word] or word in ("measured", "computed", "unknown"))


def _leading(findings: list[Finding], verb: str, *, practice: bool) -> tuple[Leading, ...]:
    wanted = LEADING.get(verb, ())
    first = next((finding.about for finding in findings if finding.key in wanted), None)
    shown = [finding for key in wanted for finding in findings if finding.key == key and finding.about == first]
    return tuple(
        Leading(
            label=label_text(finding.key),
            value=value(finding, practice=practice),
            bar=doubt_bar(finding, practice=practice),
            remark=finding.remark,
            limit=limit(finding),
        )
        for finding in shown
    )


def _groups(findings: list[Finding], *, practice: bool) -> tuple[Group, ...]:
    named: dict[str, list[Line]] = {}
    for finding in findings:
        named.setdefault(finding.about, []).append(_line(finding, practice=practice))
    return tuple(Group(about=about.replace(":", " ", 1), lines=tuple(lines)) for about, lines in named.items())


def _line(finding: Finding, *, practice: bool) -> Line:
    return Line(
        label=label_text(finding.key),
        value=Markup("") if finding.kind == "caution" and finding.value is True else value(finding, practice=practice),
        standing=STANDING_WORDS[finding.standing],
        limit=limit(finding),
        remark=finding.remark,
    )


def _tables(tables: Mapping[str, Any], verb: str) -> tuple[Cells, ...]:
    return tuple(
        cells_of(name, tables[name])
        for name in SHOWN_TABLES.get(verb, tuple(tables))
        if tables.get(name, {}).get("rows")
    )


def cells_of(name: str, table: Mapping[str, Any]) -> Cells:
    """A table of a document as text."""
    units = [column["unit"] for column in table["columns"]]
    shown = table["rows"][:MOST_ROWS]
    scales = {}
    for unit in set(units):
        sizes = [
            abs(row[n])
            for row in shown
            for n, of in enumerate(units)
            if of == unit and isinstance(row[n], int | float) and not isinstance(row[n], bool)
        ]
        scales[unit] = scale_for(max(sizes, default=0.0), unit)
    rows = []
    for row in shown:
        cells = []
        for cell, unit in zip(row, units, strict=True):
            if isinstance(cell, float):
                cells.append(number(f"{cell / 10 ** scales[unit].exponent:.4g}"))
            else:
                cells.append(cell_text(cell))
        rows.append(tuple(cells))
    headings = [
        label_text(column["key"]) + (f" ({scales[column['unit']].unit})" if scales[column["unit"]].unit else "")
        for column in table["columns"]
    ]
    return Cells(
        title=label_text(name), headings=tuple(headings), rows=tuple(rows), more=len(table["rows"]) - len(shown)
    )


def _pictures(folder: Path) -> tuple[tuple[str, Markup], ...]:
    if not folder.is_dir():
        return ()
    drawn = []
    for n, path in enumerate(sorted(folder.rglob("*.svg"), key=lambda path: path.stat().st_mtime_ns)):
        drawn.append((path.stem, inline(path.read_text(encoding="utf-8"), name=f"p{n}")))
    return tuple(drawn)

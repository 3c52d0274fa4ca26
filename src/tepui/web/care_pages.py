"""The care sheet: exposure, and the licence sheet of each candidate channel with ticks that are the operator's.

Theory  The sheet asks ``tepui check`` with exposure and licence; each thing to look after is an item with a box. A tick
        is kept with the words that stood there; when a figure changes, the tick is shown as given for other words.
Source  our own design; the verb ``check``; files/ticks.py.
Holds   No verdict: the sheet never ticks, and never says that anything is allowed or free of danger.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.files.ticks import Tick, read_ticks, set_tick, words_of
from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text
from tepui.ground.findings import Finding
from tepui.web.bars import doubt_bar
from tepui.web.marks import finding_of, limit, number, value
from tepui.web.standing import Standing
from tepui.web.state import BenchState
from tepui.web.station_text import named_files
from tepui.web.views import counts_of

TICKS = "care-ticks.json"
FORM_FIELDS = 10
CHANNEL = "channel:"
EXPOSURE = ("exposure_distance_m", "eirp_mean_w", "reactive_reach_m", "surface_density_wm2", "near_density_wm2",
            "aperture_distance_m", "aperture_distance_worst_m", "exposure_pattern")  # fmt: skip
OWN = (
    ("beam", "Nobody can come into the beam, in front of the feed or onto the mast while it transmits"),
    ("evaluation", "The exposure evaluation that my country asks for is made and kept"),
    ("load", "The amplifier is never on without a load or antenna that bears its power"),
    ("off", "Whoever is at home knows how the transmitter is switched off"),
)


@dataclass(frozen=True, kw_only=True)
class Item:
    """One thing to look after.

    stale  a tick that was given for other words
    """

    key: str
    label: str
    value: Markup
    remark: str
    words: str
    tick: Tick | None
    stale: bool


class CarePages(ABC):
    """The care sheet."""

    _state: BenchState
    _standing: Standing

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    @property
    def _ticks(self) -> Path:
        return self._state.folder / TICKS

    async def care_sheet(self, request: Request) -> Response:
        """Exposure and licence, item by item."""
        return await run_in_threadpool(self._care_sheet, request)

    def _care_sheet(self, request: Request, *, sentence: str = "") -> Response:
        chain = self._state.chain
        text = chain.text()
        country, candidates, words = care_words(chain.station, request.query_params)
        shown: dict[str, Any] = {"has_station": bool(text), "view": None, "stood": None, "command": ""}
        shown |= {"country": country, "candidates": ", ".join(candidates), "query": request.url.query}
        if text:
            files = [chain.station, *named_files(text, chain.station.parent)]
            stood = self._standing.get(words, files=files, title="care")
            shown |= {"stood": stood, "command": self._state.command(words)}
            sentence = sentence or stood.sentence
            if stood.document is not None:
                try:
                    ticks = read_ticks(self._ticks)
                except InputError as problem:
                    ticks, sentence = {}, str(problem)
                shown["view"] = care_view(stood.document, ticks)
                findings = [finding_of(one) for one in stood.document["findings"]]
                shown["counts"] = counts_of([one for one in findings if _is_care(one)])
        return self._page(request, "care.html", place="antenna", sentence=sentence, **shown)

    async def keep_care(self, request: Request) -> Response:
        """Keep the sheet, its ticks with it, among the results: for the report."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            query = QueryParams(str(sent.get("query", ""))[:400])
        _, _, words = care_words(self._state.chain.station, query)
        words += ["--ticks", str(self._ticks)] if self._ticks.is_file() else []
        work = self._state.workshop.submit(words, title="licence and care", pictures=False)
        return RedirectResponse(f"/result/{work.number}", 303)

    async def tick(self, request: Request) -> Response:
        """Set a tick, or take it away: the operator's own word."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            item, words = str(sent.get("item", ""))[:200], str(sent.get("words", ""))[:600]
            wanted, query = str(sent.get("set", "")) == "yes", str(sent.get("query", ""))[:400]
        if item:
            try:
                await run_in_threadpool(set_tick, self._ticks, item, words if wanted else None)
            except InputError as problem:
                return await run_in_threadpool(self._care_sheet, request, sentence=str(problem))
        return RedirectResponse(f"/care?{query}" if query else "/care", 303)


def care_words(station: Path, asked: Mapping[str, str]) -> tuple[str, list[str], list[str]]:
    """Country, candidates, and the words of the command that the sheet stands on."""
    country = asked.get("country", "").strip()
    candidates = [one.strip() for one in asked.get("candidates", "").split(",") if one.strip()]
    words = ["check", str(station), "--exposure", "--licence"]
    for one in candidates:
        words += ["--candidate", one]
    words += ["--country", country] if country else []
    return country, candidates, words


def _is_care(one: Finding) -> bool:
    return one.about.startswith((CHANNEL, "stage:")) and (one.about.startswith(CHANNEL) or one.key in EXPOSURE)


def care_view(document: Mapping[str, Any], ticks: Mapping[str, Tick]) -> dict[str, Any]:
    """A check's document laid out for the sheet."""
    findings = [finding_of(one) for one in document["findings"]]
    practice = bool(document["practice"])
    care = [one for one in findings if one.key in EXPOSURE and one.about.startswith("stage:")]
    leading = next((one for one in care if one.key == "exposure_distance_m"), None)
    channels = list(dict.fromkeys(one.about for one in findings if one.about.startswith(CHANNEL)))
    return {
        "leading": None
        if leading is None
        else {
            "value": value(leading, practice=practice),
            "bar": doubt_bar(leading, practice=practice),
            "remark": leading.remark,
        },
        "exposure": [
            (label_text(one.key), value(one, practice=practice, digits=4), one.remark)
            for one in care
            if one.key != "exposure_distance_m"
        ],
        "levels": _rows(document, "exposure_distances"),
        "directions": _rows(document, "exposure_by_direction"),
        "rules": document["tables"].get("rules_at_hand", {"rows": []})["rows"],
        "sheets": [
            (about.removeprefix(CHANNEL), [_item(one, ticks, practice=practice) for one in findings
                                           if one.about == about])
            for about in channels
        ],
        "own": [_own(key, words, ticks) for key, words in OWN],
        "ticked": sum(1 for one in ticks.values() if one.words),
    }  # fmt: skip


def _item(one: Finding, ticks: Mapping[str, Tick], *, practice: bool) -> Item:
    key = f"{one.about} {one.key}"
    words = words_of(one)
    tick = ticks.get(key)
    said = " ".join(part for part in (str(limit(one)), one.remark) if part)
    return Item(
        key=key,
        label=label_text(one.key),
        value=value(one, practice=practice),
        remark=said,
        words=words,
        tick=tick,
        stale=tick is not None and tick.words != words,
    )


def _own(key: str, words: str, ticks: Mapping[str, Tick]) -> Item:
    tick = ticks.get(f"own {key}")
    return Item(
        key=f"own {key}", label=words, value=Markup(""), remark="", words=words, tick=tick,
        stale=tick is not None and tick.words != words,
    )  # fmt: skip


def _rows(document: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A table with three digits a number."""
    table = document["tables"].get(name)
    if table is None:
        return {"headings": [], "rows": []}
    headings = [
        label_text(column["key"]) + (f", {column['unit']}" if column["unit"] else "") for column in table["columns"]
    ]
    rows = [[number(f"{cell:.4g}") if isinstance(cell, float) else str(cell) for cell in row] for row in table["rows"]]
    return {"headings": headings, "rows": rows}

"""The map sheet: a map made by ``tepui coverage``, looked at by tiles that this program draws itself.

Theory  Making a map is work for the workshop; its files lie in the result's folder. The sheet shows one, cut into tiles
        that are asked for as they come into view, and tells the figures under the cross.
Source  our own design; desk/map_view.py.
Holds   Maps under the bench's results; nothing is asked of any other machine.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from tepui.desk.map_view import MapView, open_map
from tepui.desk.workshop import DONE, PLACE, Work
from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text
from tepui.report.map_tiles import wash_of
from tepui.web.forms import Option
from tepui.web.marks import finding_of, value
from tepui.web.path_pages import Row
from tepui.web.rulers import nice_steps
from tepui.web.state import BenchState
from tepui.web.views import counts_of

FORM_FIELDS = 40
FOLDER = "map"
ASKED = (
    Option(name="reach", label="Reach around the transmitter", example="40 km"),
    Option(name="pixel", label="Pixel", hint="30 to 250 m", example="150 m"),
    Option(name="rx-gain", label="Receive antenna", hint="feeder taken off", example="13 dBi"),
    Option(name="rx-height", label="Its height above ground", example="10 m"),
    Option(name="rx-noise", label="Noise over k T0", example="5 dB"),
    Option(name="clutter-loss", label="Trees and houses", hint="loss everywhere", example="12 dB"),
    Option(name="model", label="Model", choices=("", "p526", "p1812", "p452"), blank="as in the file"),
    Option(name="time", label="Share of time", example="50 %"),
)
GIVEN = {"reach": "40 km", "pixel": "200 m"}
SHOWN = ("covered_share", "farthest_covered_m", "median_level_dbm", "map_pixels", "dominant_unknown")


class MapPages(ABC):
    """The map sheet."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def map_sheet(self, request: Request) -> Response:
        """A map, or how far it is."""
        return await run_in_threadpool(self._map_sheet, request)

    def _map_sheet(self, request: Request, *, sentence: str = "", given: Mapping[str, str] | None = None) -> Response:
        works = [work for work in self._state.workshop.all() if work.verb == "coverage"]
        asked = request.query_params.get("work", "")
        chosen = next((work for work in works if str(work.number) == asked), works[0] if works else None)
        shown: dict[str, Any] = {"works": works[:12], "work": chosen, "view": None, "options": ASKED}
        shown |= {"given": given or GIVEN, "has_station": bool(self._state.chain.text()), "command": ""}
        if chosen is not None:
            shown["command"] = self._state.command(chosen.words)
            sentence = sentence or (chosen.sentence if chosen.ended and chosen.state != DONE else "")
            if chosen.state == DONE and chosen.document is not None:
                try:
                    shown["view"] = map_view(open_map(chosen.folder / FOLDER), chosen.document)
                    shown["counts"] = counts_of([finding_of(one) for one in chosen.document["findings"]])
                except InputError as problem:
                    sentence = sentence or str(problem)
        status = 400 if given is not None else 200
        return self._page(request, "map.html", place="path", status=status, sentence=sentence, **shown)

    async def make_map(self, request: Request) -> Response:
        """Start making a map."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text).strip() for key, text in sent.items()}
        chain = self._state.chain
        if not chain.station.is_file():
            return await run_in_threadpool(
                self._map_sheet, request, sentence="A map needs the station file; write it first.", given=given
            )
        words = ["coverage", str(chain.station)]
        for option in ASKED:
            typed = given.get(option.name, "")
            words += [option.flag, typed] if typed else []
        words += ["--missing-is-sea"] if given.get("missing-is-sea") else []
        words += ["--out", f"{PLACE}/{FOLDER}"]
        work = self._state.workshop.submit(words, title=f"map, {given.get('reach', '')}", pictures=False)
        return RedirectResponse(f"/map?work={work.number}", 303)

    def _map(self, request: Request) -> MapView:
        work: Work | None = self._state.workshop.get(request.path_params["number"])
        if work is None or work.verb != "coverage" or work.state != DONE:
            raise HTTPException(404)
        try:
            return open_map(work.folder / FOLDER)
        except InputError as problem:
            raise HTTPException(404) from problem

    async def map_tile(self, request: Request) -> Response:
        """One tile."""
        return await run_in_threadpool(self._map_tile, request)

    def _map_tile(self, request: Request) -> Response:
        told = request.path_params
        drawn = self._map(request).tile(
            told["layer"], told["zoom"], told["x"], told["y"], theme=request.query_params.get("theme", "day")
        )
        if drawn is None:
            raise HTTPException(404)
        return Response(drawn, media_type="image/png", headers={"cache-control": "private, max-age=86400"})

    async def map_point(self, request: Request) -> Response:
        """The figures under a point."""
        try:
            row, column = (float(request.query_params.get(name, "")) for name in ("row", "column"))
        except ValueError as problem:
            raise HTTPException(404) from problem
        view = await run_in_threadpool(self._map, request)
        found = view.at(row, column) if abs(row) < 1e6 and abs(column) < 1e6 else None
        return JSONResponse(found or {}, headers={"cache-control": "no-store"})


def map_view(seen: MapView, document: Mapping[str, Any]) -> dict[str, Any]:
    """A map laid out for its sheet."""
    findings = {one["key"]: finding_of(one) for one in document["findings"]}
    rows, columns = seen.shape
    legends = {
        name: [
            {"words": words, "day": _css(wash_of(n, len(layer.edges), theme="day")),
             "night": _css(wash_of(n, len(layer.edges), theme="night"))}
            for n, words in enumerate(layer.words, 1)
        ]
        for name, layer in seen.layers.items()
    }  # fmt: skip
    bars = [(float(row[0]), float(row[2])) for row in document["tables"]["level_histogram"]["rows"]]
    return {
        "rows": rows,
        "columns": columns,
        "deepest": seen.deepest,
        "pixel_m": seen.pixel_m,
        "marks": list(seen.marks),
        "layers": [(name, layer.title) for name, layer in seen.layers.items()],
        "legends": legends,
        "share": findings["covered_share"],
        "share_value": value(findings["covered_share"], digits=3),
        "findings": [
            Row(label=label_text(key), value=value(findings[key], digits=3), remark=findings[key].remark)
            for key in SHOWN[1:]
            if key in findings
        ],
        "gains": [
            (f"{row[0]:g}", f"{100 * row[1]:.1f}", f"{row[2] / 1e6:.0f}")
            for row in document["tables"]["reach_by_gain"]["rows"]
        ],
        "modes": [
            (str(row[0]), f"{row[1] / 1e6:.3f}", f"{100 * row[3]:.1f}")
            for row in document["tables"]["mode_shares"]["rows"]
            if row[3] >= 0.0005
        ],
        "reports": document["tables"].get("station_reports", {"rows": []})["rows"],
        "repeaters": document["tables"].get("repeater_inputs", {"rows": []})["rows"],
        "bars": bars,
        "most": max((share for _, share in bars), default=1.0),
        "bar_steps": [f"{one:g}" for one in nice_steps(bars[0][0], bars[-1][0] + 5, 6)] if len(bars) > 1 else [],
        "files": [Path(name).name for name in document["files"]],
        "cautions": [one for one in findings.values() if one.kind == "caution"],
    }


def _css(ink: tuple[int, int, int]) -> str:
    return "#" + "".join(f"{part:02x}" for part in ink)

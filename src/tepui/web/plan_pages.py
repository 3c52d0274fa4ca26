"""The frequency sheet: plans as they rank, one of them drawn, its two frequencies dragged, and written into the file.

Theory  A page moves handles and asks; every figure and every line is the server's. A look at one plan is quick enough
        to follow a hand; the ranking is kept as long as the file is the same.
Source  our own design; desk/plan_look.
Holds   Stations with a mixer; a station without one is told so.
"""

import shlex
import threading
from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text
from tepui.web.bars import doubt_bar
from tepui.web.marks import finding_of, limit, value
from tepui.web.plan_drawing import close_drawing, letters_of, ribbon, ruler, whole_drawing
from tepui.web.state import BenchState
from tepui.web.station_file import mark_of
from tepui.web.views import counts_of

FORM_FIELDS = 20
SIDES = ("low", "high")
SHOWN = (("station", "worst_in_channel_db"), ("station", "products_in_channel"), ("station", "worst_near_db"),
         ("station", "products_near"), ("station", "worst_far_db"), ("stage:filter", "rejection_image_db"),
         ("stage:filter", "claimed_rejection_db"), ("stage:filter", "theory_lo_db"), ("station", "inverted"),
         ("station", "image_hz"))  # fmt: skip


class PlanPages(ABC):
    """The frequency sheet."""

    _state: BenchState
    _ranked: tuple[str, Any] = ("", None)
    _ranking = threading.Lock()

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def frequencies(self, request: Request) -> Response:
        """The sheet with the plan that the address names, else that of the file, else the best."""
        return await run_in_threadpool(self._frequencies, request)

    def _frequencies(self, request: Request, *, sentence: str = "") -> Response:
        given = dict(request.query_params)
        shown: dict[str, Any] = {"reach": None, "look": None, "given": given}
        if self._state.chain.station.is_file():
            try:
                shown |= self._filled(given)
            except InputError as problem:
                sentence = sentence or str(problem)
        return self._page(
            request,
            "frequencies.html",
            place="mixer",
            status=400 if sentence and given else 200,
            has_station=self._state.chain.station.is_file(),
            sentence=sentence,
            written="written" in given,
            **shown,
        )

    async def frequency_plan(self, request: Request) -> Response:
        """One plan alone, for a page on which it is dragged."""
        return await run_in_threadpool(self._frequency_plan, request)

    def _frequency_plan(self, request: Request) -> Response:
        try:
            shown = self._looked(dict(request.query_params))
        except InputError as problem:
            return Response(str(problem), status_code=400, media_type="text/plain")
        return self._page(request, "frequencies_plan.html", place="mixer", **shown)

    async def write_plan(self, request: Request) -> Response:
        """Write a plan into the station file."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text) for key, text in sent.items()}
        return await run_in_threadpool(self._write_plan, request, given)

    def _write_plan(self, request: Request, given: Mapping[str, str]) -> Response:
        from tepui.station.editing import with_value
        from tepui.station.fields import part_of, parts_of, rules_for

        file = self._state.chain.file
        try:
            look = self._looked(given)["look"]
            text = file.text()
            mixer = [part for part in parts_of(text) if part.table == "stage" and part.kind == "mixer"][-1]
            channel = part_of(text, "channel")
            oscillator = f"{look.lo_hz / 1e6:.10g} MHz"
            text = with_value(text, mixer.where, "frequency", oscillator, order=list(rules_for(mixer)))
            side = "high" if look.lo_hz > look.wanted_hz else "low"
            text = with_value(text, channel.where, "side", side, order=list(rules_for(channel)))
            file.write(text, before=given.get("mark", ""))
        except InputError as problem:
            return self._frequencies(request, sentence=str(problem))
        asked = {"if": f"{look.if_hz / 1e6:.10g} MHz", "side": side, "written": "1"}
        return RedirectResponse(f"/frequencies?{urlencode(asked)}", 303)

    def _filled(self, given: Mapping[str, str]) -> dict[str, Any]:
        """The whole sheet: ranking, rulers, the plan.

        raises  InputError
        """
        from tepui.desk.plan_look import plan_of_file

        reach = self._reach(given.get("among", ""), given.get("raster", ""))
        path = self._state.chain.station
        chosen = {key: given[key] for key in ("if", "lo", "side") if given.get(key)}
        filed = plan_of_file(path)
        if not chosen:
            best = reach.listed[0]
            if_hz, side = filed or (best["if_hz"], best["side"])
            chosen = {"if": f"{if_hz / 1e6:.10g} MHz", "side": side}
        shown = self._looked(chosen)
        look, side = shown["look"], shown["side"]
        low, high = sorted(abs(reach.wanted_hz + (1 if side == "high" else -1) * one)
                           for one in (reach.low_hz, reach.high_hz))  # fmt: skip
        return shown | {
            "reach": reach,
            "filed": filed,
            "lo_ends": (low, high),
            "ribbon": ribbon(reach, side),
            "if_ruler": ruler(reach.low_hz, reach.high_hz),
            "lo_ruler": ruler(low, high),
            "mark": mark_of(self._state.chain.text()),
            "counts": counts_of([finding_of(one) for one in look.document["findings"]]),
        }

    def _reach(self, among: str, raster: str) -> Any:
        from tepui.desk.plan_look import reach_of

        key = " | ".join((mark_of(self._state.chain.text()), among, raster))
        with self._ranking:
            if self._ranked[0] != key:
                self._ranked = key, reach_of(self._state.chain.station, among=among, raster=raster)
            return self._ranked[1]

    def _looked(self, given: Mapping[str, str]) -> dict[str, Any]:
        """One plan.

        raises  InputError
        """
        from tepui.desk.plan_look import look_at, modulator_for
        from tepui.ground.quantity import parse_quantity

        path = self._state.chain.station
        side = given.get("side", "low")
        if side not in SIDES:
            raise InputError(f'The oscillator stands "low" or "high" of the channel, not "{side}".')
        if given.get("lo"):
            if_hz = modulator_for(path, parse_quantity(given["lo"], kind="frequency").value)
        else:
            if_hz = parse_quantity(given.get("if", ""), kind="frequency").value
        look = look_at(path, if_hz=if_hz, side=side)
        findings = [finding_of(one) for one in look.document["findings"]]
        found = {(one.about, one.key): one for one in findings}
        lines = [found[key] for key in SHOWN if key in found]
        letters = letters_of(look)
        return {
            "look": look,
            "side": side,
            "verdict": found["station", "plan_verdict"],
            "needed": found["stage:filter", "rejection_lo_db"],
            "needed_value": value(found["stage:filter", "rejection_lo_db"]),
            "needed_bar": doubt_bar(found["stage:filter", "rejection_lo_db"]),
            "lines": [(label_text(one.key), value(one), limit(one), one.remark) for one in lines],
            "fars": [(one.about.partition(":")[2], value(one), one.remark)
                     for (_, key), one in found.items() if key == "far_can_tune"],
            "cautions": [(one.about.replace(":", " ", 1), one.remark) for one in findings if one.kind == "caution"],
            "products": [(letters[one["text"]], one) for one in look.products if one["text"] in letters],
            "close": close_drawing(look),
            "whole": whole_drawing(look),
            "command": shlex.join(["tepui", *look.words]),
            "mark": mark_of(self._state.chain.text()),
        }  # fmt: skip

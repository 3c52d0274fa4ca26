"""The sheet at the screws: one line for each, large enough to be read at arm's length, new with every trace."""

import asyncio
from abc import ABC, abstractmethod
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from tepui.web.forms import SHEETS
from tepui.web.marks import MINUS, finding_of, number, value
from tepui.web.screws import OPTIONS, Screws, Told
from tepui.web.state import BenchState

FORM_FIELDS = 50
LOOK_S, POLL_S = 0.3, 20.0
WAYS = {"in": "turn in", "out": "turn out", "leave": "leave it"}
TOLD_HERE = (f"tell the turn with {MINUS}{MINUS}turned", "tell the turn below")
SIDE = ("insertion_loss_db", "bandwidth_3db_hz", "return_loss_db", "unloaded_q")


class ScrewPages(ABC):
    """Pages has the rest."""

    _state: BenchState
    _screws: Screws

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def screws(self, request: Request) -> Response:
        """The form, or the lines."""
        sheet = next(one for one in SHEETS if one.link == "/screws")
        told = await run_in_threadpool(self._screws.look, self._state)
        return self._page(
            request,
            "screws.html",
            place="filter",
            sheet=sheet,
            options=OPTIONS,
            given=dict(request.query_params),
            words=self._screws.words,
            told=told,
            lines=advice_lines(told),
            found=side_findings(told),
        )

    async def begin_screws(self, request: Request) -> Response:
        """Watch from now on."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text) for key, text in sent.items()}
        self._screws.start(given)
        return RedirectResponse("/screws", 303)

    async def turned_screw(self, request: Request) -> Response:
        """Which screw was turned between the last two traces, and how far."""
        async with request.form(max_files=0, max_fields=4) as sent:
            given = {key: str(sent.get(key, "")) for key in ("screw", "turns")}
        await run_in_threadpool(self._screws.turned, self._state, **given)
        return RedirectResponse("/screws", 303)

    async def end_screws(self, _: Request) -> Response:
        """Watch no more."""
        self._screws.stop()
        return RedirectResponse("/screws", 303)

    async def screws_changed(self, request: Request) -> Response:
        """Answers once there is something new, or after a while."""
        since = request.query_params.get("since", "")
        for _ in range(int(POLL_S / LOOK_S)):
            told = await run_in_threadpool(self._screws.look, self._state)
            if str(told.number) != since or self._screws.words is None or await request.is_disconnected():
                break
            await asyncio.sleep(LOOK_S)
        return JSONResponse(
            {"number": told.number, "on": self._screws.words is not None}, headers={"cache-control": "no-store"}
        )


def advice_lines(told: Told) -> list[dict[str, str]]:
    """A line for each screw: its number, the way in words, and the whole advice."""
    table = (told.document or {"tables": {}})["tables"].get("resonators", {"columns": [], "rows": []})
    keys = [column["key"] for column in table["columns"]]
    lines = []
    for row in table["rows"]:
        one = dict(zip(keys, row, strict=True))
        way = str(one.get("screw_way") or "")
        advice = str(one.get("advice") or "give the goal: centre, width, resonators")
        lines.append(
            {
                "rod": str(one.get("rod", "")),
                "way": way,
                "word": WAYS.get(way, "not told"),
                "line": number(advice).replace(*TOLD_HERE),
            }
        )
    return lines


def side_findings(told: Told) -> list[tuple[str, Any]]:
    """Figures of the whole filter, as far as this trace tells them."""
    found = [finding_of(plain) for plain in (told.document or {"findings": []})["findings"]]
    return [(finding.key, value(finding)) for key in SIDE for finding in found if finding.key == key]

"""Pages on the levels of the station."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.ground.errors import TepuiError
from tepui.web.levels_view import levels_view, places_of
from tepui.web.log_view import last_who, readings_view
from tepui.web.marks import finding_of
from tepui.web.state import BenchState
from tepui.web.station_text import instruments_of, pads_of, reading_line, stages_of
from tepui.web.views import counts_of

FORM_FIELDS = 200


class StationPages(ABC):
    """The levels sheet."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def levels(self, request: Request) -> Response:
        """The levels sheet."""
        return await run_in_threadpool(self._levels, request)

    def _levels(self, request: Request, *, sentence: str = "", given: Mapping[str, str] | None = None) -> Response:
        state = self._state
        chain = state.chain.levels()
        text = state.chain.text()
        refused = chain.work.sentence if chain.work is not None and chain.work.ended else ""
        view = None if chain.document is None else levels_view(chain.document, places_of(stages_of(text)))
        return self._page(
            request,
            "levels.html",
            status=400 if sentence else 200,
            view=view,
            refused=refused,
            sentence=sentence,
            given=given or {},
            readings=readings_view(state.chain.log.entries()),
            waits_for_log=state.chain.log.sentence,
            who=given.get("who", last_who(state.chain.log.entries())) if given else last_who(state.chain.log.entries()),
            instruments=instruments_of(text),
            has_station=bool(text),
            counts=() if chain.document is None else counts_of([finding_of(one) for one in chain.document["findings"]]),
        )

    async def add_reading(self, request: Request) -> Response:
        """Enter a reading into the log."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text).strip() for key, text in sent.items()}
        try:
            await run_in_threadpool(self._enter_reading, given)
        except TepuiError as problem:
            return await run_in_threadpool(self._levels, request, sentence=str(problem), given=given)
        return RedirectResponse("/levels", 303)

    def _enter_reading(self, given: Mapping[str, str]) -> None:
        chain = self._state.chain
        text = chain.text()
        chain.log.enter_level(
            reading_line(given),
            points=[name for name, _ in stages_of(text)],
            instruments=instruments_of(text),
            pads_db=pads_of(text, given.get("instrument", "")),
            who=given.get("who") or None,
            note=given.get("note") or None,
        )

    async def drop_reading(self, request: Request) -> Response:
        """Say of a reading that it no longer counts, or that it counts again; the log keeps both."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            number, back = str(sent.get("number", "")), "back" in sent
        try:
            if number.isdecimal():
                change = (lambda log: log.undo(int(number))) if back else (lambda log: log.withdraw(int(number)))
                await run_in_threadpool(self._state.chain.log.write, change)
        except TepuiError as problem:
            return await run_in_threadpool(self._levels, request, sentence=str(problem))
        return RedirectResponse("/levels", 303)

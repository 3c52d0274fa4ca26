"""Pages on the levels of the station."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.ground.errors import InputError
from tepui.web.levels_view import levels_view, places_of
from tepui.web.marks import finding_of
from tepui.web.state import BenchState
from tepui.web.station_text import instruments_of, reading_line, stages_of
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
            lines=state.chain.reading_lines(),
            instruments=instruments_of(text),
            has_station=bool(text),
            counts=() if chain.document is None else counts_of([finding_of(one) for one in chain.document["findings"]]),
        )

    async def add_reading(self, request: Request) -> Response:
        """Enter a reading."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            given = {key: str(text).strip() for key, text in sent.items()}
        line = reading_line(given)
        try:
            await run_in_threadpool(self._state.chain.add_reading, line)
        except InputError as problem:
            return await run_in_threadpool(self._levels, request, sentence=str(problem), given=given)
        return RedirectResponse("/levels", 303)

    async def drop_reading(self, request: Request) -> Response:
        """Take a reading out."""
        async with request.form(max_files=0, max_fields=FORM_FIELDS) as sent:
            number = str(sent.get("number", ""))
        if number.isdecimal():
            await run_in_threadpool(self._state.chain.drop_reading, int(number))
        return RedirectResponse("/levels", 303)

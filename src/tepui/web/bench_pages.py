"""The first sheet and the page of each stage: where one is, and what can be done there.

Theory  The chain is the map: a stage's page gathers what the file says of it, its level, its flag and its sheets.
Source  our own design.
Holds   Nine zones; what several stages of a zone have in common stands once.
"""

from abc import ABC, abstractmethod
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from tepui.web.editor_fields import stage_parts
from tepui.web.form_words import parts_of
from tepui.web.forms import FORMS
from tepui.web.levels_view import attention_of, places_of, points_of, strip_of
from tepui.web.state import SUFFIXES, BenchState
from tepui.web.station_text import stages_of
from tepui.web.strip import NAMES, PLACES


class BenchPages(ABC):
    """The bench and its stages."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def station(self, request: Request) -> Response:
        """The first sheet."""
        works = self._state.workshop.all()
        files = await run_in_threadpool(self._state.files, SUFFIXES)
        zones = [(n + 1, place, NAMES[n][0], parts_of(place)) for n, place in enumerate(PLACES)]
        following = next((work for work in works if not work.ended), None)
        return self._page(
            request,
            "station.html",
            works=works[:6],
            files=files[:8],
            count=len(files),
            zones=zones,
            following=following,
        )

    async def stage(self, request: Request) -> Response:
        """A stage's first sheet: what can be done there."""
        place = request.path_params["place"]
        if place not in PLACES:
            raise HTTPException(404)
        name = NAMES[PLACES.index(place)][0]
        forms = parts_of(place)
        verbs = {form.verb for form in FORMS.values() if form.place == place}
        works = [work for work in self._state.workshop.all() if work.verb in verbs]
        number = str(PLACES.index(place) + 1)
        text = self._state.chain.text()
        stated = await run_in_threadpool(stage_parts, text, place)
        levels, places = self._state.chain.levels().document, places_of(stages_of(text))
        return self._page(
            request,
            "stage.html",
            place=place,
            name=name,
            number=number,
            forms=forms,
            works=works[:12],
            parts=forms,
            stated=stated,
            points=points_of(levels, place, places),
            attention=attention_of(levels, place, places),
            flagged=strip_of(levels, places)[PLACES.index(place)].flag,
        )

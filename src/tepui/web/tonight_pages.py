"""The sheet of an evening on the air: what to look at before the carrier, what should arrive, one key into the log."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.desk.evening import Evening, evening_note
from tepui.desk.log_far import station_values
from tepui.ground.errors import TepuiError
from tepui.logbook.store import Log, new_revision
from tepui.web.bars import doubt_bar
from tepui.web.log_forms import REPORT_WORDS, REPORTS, WAYS, contact_of_form, stamp_of
from tepui.web.log_pages import form_texts
from tepui.web.log_view import last_who
from tepui.web.state import BenchState
from tepui.web.station_text import far_of, own_side
from tepui.web.tonight_view import bearing_to, documents_of, far_views, monthly_rows, points_of

KEPT = "tonight.json"


class TonightPages(ABC):
    """Tonight."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    @property
    def _evening(self) -> Evening:
        return Evening(self._state.workshop.folder / KEPT)

    async def tonight(self, request: Request) -> Response:
        """The sheet."""
        return await run_in_threadpool(self._tonight, request)

    def _tonight(self, request: Request, *, sentence: str = "", given: Mapping[str, str] | None = None) -> Response:
        state = self._state
        chain = state.chain
        text = chain.text()
        entries = chain.log.entries()
        documents = documents_of(state.workshop.all(), entries)
        channel = station_values(text).get("channel")
        views = far_views(documents, far_of(text), mode=channel if isinstance(channel, dict) else None)
        wanted = (given or {}).get("call") or request.query_params.get("call", "")
        chosen = next((one for one in views if one.call == wanted.upper()), views[0] if views else None)
        bearing = None if chosen is None else bearing_to(documents, chosen.call, chosen.locator)
        ticks = self._evening.ticks()
        entered = request.query_params.get("entered", "")
        site = station_values(text).get("station")
        return self._page(
            request,
            "tonight.html",
            status=400 if sentence else 200,
            points=points_of(documents, chain.levels().document, bearing=bearing),
            ticks={name: utc[11:16] for name, utc in ticks.items()},
            views=views,
            chosen=chosen,
            bar=doubt_bar(chosen.level) if chosen is not None and chosen.level is not None else "",
            rows=monthly_rows(entries, chain.trend.now().document),
            reports=REPORTS,
            report_words=REPORT_WORDS,
            ways=WAYS,
            home=str(site.get("locator", "")) if isinstance(site, dict) else "",
            centre=str(channel.get("centre", "")) if isinstance(channel, dict) else "",
            width=str(channel.get("width", "")) if isinstance(channel, dict) else "",
            given={"who": last_who(entries), **(given or {})},
            entered=int(entered) if entered.isdecimal() and len(entered) < 9 else None,
            sentence=sentence,
        )

    async def tonight_tick(self, request: Request) -> Response:
        """Tick a point, or take its tick back."""
        given = await form_texts(request)
        try:
            await run_in_threadpool(self._evening.turn, given.get("point", ""))
        except TepuiError as problem:
            return await run_in_threadpool(self._tonight, request, sentence=str(problem))
        return RedirectResponse("/tonight", 303)

    async def tonight_anew(self, request: Request) -> Response:
        """Take every tick back."""
        await form_texts(request)
        await run_in_threadpool(self._evening.clear)
        return RedirectResponse("/tonight", 303)

    async def tonight_enter(self, request: Request) -> Response:
        """Enter the evening as it stands into the log."""
        given = await form_texts(request)
        try:
            number = await run_in_threadpool(self._enter_evening, given)
        except TepuiError as problem:
            return await run_in_threadpool(self._tonight, request, sentence=str(problem), given=given)
        return RedirectResponse(f"/tonight?entered={number}", 303)

    def _enter_evening(self, given: Mapping[str, str]) -> int:
        told = {key: text.strip() for key, text in given.items()}
        stamp = stamp_of(told, practice=self._state.practice)
        call = told.get("call", "").upper()
        words = evening_note(self._evening.ticks(), call=call, words=told.get("note", ""))
        revisions = [new_revision("note", {"text": words}, utc=stamp.utc, who=stamp.who, practice=stamp.practice)]
        reported = ("report_sent", "report_received", "receive_level_dbm", "mer_db", "margin_db")
        if call and any(told.get(name) for name in reported):
            text = self._state.chain.text()
            far = next((one for one in far_of(text) if one["call"].upper() == call), None)
            told |= {"note": "", "locator": far["locator"] if far else "", **own_side(text)}
            revisions += contact_of_form(told, stamp)
        return self._state.chain.log.write(lambda log: _written(log, revisions))


def _written(log: Log, revisions: Any) -> int:
    return log.add_all(revisions)[0].number

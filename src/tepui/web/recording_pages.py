"""Recordings, tables and traces of the folder: what can be done with each, and handing one in.

Theory  A file is taken whole or not at all, under a plain name, and never in the place of another.
Source  our own design.
Holds   Uploads up to the bench's limit; of SigMF both halves together.
"""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from tepui.files.atomic import written_whole
from tepui.ground.errors import InputError
from tepui.web.form_words import endings
from tepui.web.forms import FORMS, Form
from tepui.web.state import MOST_UPLOAD, PAIRS, SUFFIXES, TABLES, TRACES, BenchState

FORM_FILES = 16


class RecordingPages(ABC):
    """The list of the folder, and what is handed in."""

    _state: BenchState

    @abstractmethod
    def _page(self, request: Request, template: str, *, status: int = 200, **shown: Any) -> Response:
        """A template filled in; Pages has it."""

    async def recordings(self, request: Request) -> Response:
        """The list of recordings, and where one is handed in."""
        return await self._recordings(request)

    async def _recordings(self, request: Request, *, sentence: str = "", status: int = 200) -> Response:
        files = await run_in_threadpool(self._state.files, (*SUFFIXES, *TABLES, *TRACES))
        listed = [(file, _forms_for(file.name)) for file in files]
        return self._page(request, "recordings.html", listed=listed, sentence=sentence, status=status)

    async def hand_in(self, request: Request) -> Response:
        """Take files into the folder; each whole or not at all."""
        told = request.headers.get("content-length", "")
        if not told.isdecimal() or int(told) > MOST_UPLOAD:
            sentence = (
                f"At most {MOST_UPLOAD >> 20} MiB can be handed in at once; put a longer one into the folder itself."
            )
            return await self._recordings(request, sentence=sentence, status=413)
        async with request.form(max_files=FORM_FILES, max_fields=4) as sent:
            files = [part for part in sent.getlist("recording") if isinstance(part, UploadFile) and part.filename]
            try:
                if not files:
                    raise InputError("No file was chosen; SigMF needs its .sigmf-meta and .sigmf-data together.")
                places = [self._state.place_for(part.filename or "") for part in files]
                for lone in _halves(places):
                    raise InputError(
                        f"{lone} is half a SigMF recording; hand in its .sigmf-meta and .sigmf-data together."
                    )
                for part, place in zip(files, places, strict=True):
                    await run_in_threadpool(_copy, part, place)
            except InputError as problem:
                return await self._recordings(request, sentence=str(problem), status=400)
        return RedirectResponse("/recordings", 303)


def _forms_for(name: str) -> list[Form]:
    """The forms that take a file of this ending."""
    suffix = Path(name).suffix.lower()
    return [form for form in FORMS.values() if form.files and suffix in endings(form)]


def _halves(places: Sequence[Path]) -> list[str]:
    names = {place.name for place in places}
    ends = {**PAIRS, **{other: one for one, other in PAIRS.items()}}
    lone = []
    for place in places:
        other = ends.get(place.suffix)
        if other is not None and place.with_suffix(other).name not in names and not place.with_suffix(other).exists():
            lone.append(place.name)
    return lone


def _copy(part: UploadFile, place: Path) -> None:
    with written_whole(place) as handle:
        while block := part.file.read(1 << 20):
            handle.write(block)

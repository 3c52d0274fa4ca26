"""From a form to the words of a command, and back.

Theory  A page hands the command line its own words, so that there is one set of checks and one set of sentences. What
        is left empty is left out. What was refused is asked again without being typed again.
Source  our own design; forms.py.
Holds   Options that take one value of text; files are names of the bench's folder.
"""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from tepui.ground.errors import InputError
from tepui.web.forms import FORMS, SHEETS, Form, Sheet
from tepui.web.state import SUFFIXES, TABLES, TRACES, BenchState


def words_of(form: Form, given: Mapping[str, str], chosen: Sequence[str], state: BenchState) -> list[str]:
    """The words of the command.

    given    option names and texts; chosen  names of the folder's files
    raises   InputError for a name that is none of the folder's files
    """
    words = [form.verb]
    if form.station and state.chain.station.is_file():
        words.append(str(state.chain.station))
    for name in chosen:
        path = state.path_of(name)
        if form.table and path.suffix.lower() in TABLES:
            words += [f"--{form.table}", str(path)]
        else:
            words.append(str(path))
    for option in (*form.options, *form.folded):
        text = given.get(option.name, "").strip()
        if option.new:
            text = str(state.new_place(text, begins=option.new))
        if text:
            words += [option.flag, text]
    return [*words, *form.kept]


def typed_table(form: Form, text: str) -> str:
    """A table that was typed in, as separated text; rows of bare numbers get the heading that fits.

    raises  InputError where none fits
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if any(letter.isalpha() for letter in lines[0]):
        return "\n".join(lines) + "\n"
    rows = [re.split(r"[\s,;]+", line) for line in lines]
    columns = {len(row) for row in rows}
    fits = [heading for heading in form.typed if heading and {heading.count(",") + 1} == columns]
    if not fits:
        allowed = ", or ".join(heading.replace(",", " ") for heading in form.typed if heading)
        raise InputError(f"the rows typed in have {sorted(columns)} columns; without a heading they are {allowed}.")
    return "\n".join([fits[0], *(",".join(row) for row in rows)]) + "\n"


def tunings_csv(document: Mapping[str, Any] | None, *, which: str) -> str | None:
    """A list that ``record`` takes, from a document that lists tunings; None where it lists none of this kind.

    which  "quick" or "sweep"
    """
    if document is None or f"{which}_tunings" not in document["tables"]:
        return None
    table = document["tables"][f"{which}_tunings"]
    at = [column["key"] for column in table["columns"]].index("tuned_hz")
    times = [finding["value"] for finding in document["findings"] if finding["key"] == "recording_time_s"]
    rows = (f"{row[at]:.0f},{max(times, default=1.0):.3f}" for row in table["rows"])
    return "\n".join(["frequency_hz,duration_s", *rows]) + "\n"


def parts_of(place: str | None) -> list[Form | Sheet]:
    """All sheets of a stage."""
    sheets = [one for one in SHEETS if one.place == place]
    return [
        *(one for one in sheets if one.leads),
        *(form for form in FORMS.values() if form.place == place),
        *(one for one in sheets if not one.leads),
    ]


def asked_again(form: Form, words: Sequence[str], folder: Path) -> str:
    """The form's address with what a command was asked, so that nothing is typed twice."""
    options = {option.flag: option for option in (*form.options, *form.folded)}
    asked: list[tuple[str, str]] = []
    for before, word in zip(("", *words), words, strict=False):
        if before in options and not options[before].new:
            asked.append((options[before].name, word))
        elif (path := Path(word)).is_absolute() and path.is_relative_to(folder) and path.is_file():
            asked.append(("file", path.relative_to(folder).as_posix()))
    return f"{form.link}?{urlencode(asked)}" if asked else form.link


def form_of(words: Sequence[str]) -> Form | None:
    """The form that made a command."""
    made = [form for form in FORMS.values() if form.verb == words[0]]
    return max(made, key=lambda form: sum(word in words for word in form.kept), default=None)


def endings(form: Form) -> tuple[str, ...]:
    """Endings of the files that a form lists."""
    if form.traces:
        return (*TRACES, *TABLES)
    if form.verb == "record":
        return TABLES
    return (*SUFFIXES, *TABLES) if form.table else SUFFIXES

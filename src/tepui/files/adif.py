"""ADIF: the amateur's exchange format for contacts, in its ADI form, read and written without loss.

Theory  <NAME:LENGTH:TYPE>value, any number of them, <EOR> after each record; before them an optional header that ends
        in <EOH>. A length counts what follows ">"; what stands between fields is no data.
Source  [ADIF] 3.1, ADI file format, from memory: names in any case, lengths in characters of ASCII.
Holds   Every field is kept word for word in its order, known or not. Values beyond ASCII are outside the document;
        lengths are then taken as bytes or as characters of UTF-8, whichever leaves less text between the fields, and
        written as bytes. The XML form (ADX) is refused.
"""

import contextlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tepui.ground.errors import FormatError

AdifField = tuple[str, str | None, str]
"""Name, type letter or None, value."""
MOST_BYTES = 64 << 20
_NAME = r"[!-9;=?-z|~](?:[ -9;=?-z|~]*[!-9;=?-z|~])?"  # printable ASCII but < > : { }
_SPECIFIER = re.compile(rf"<\s*({_NAME})\s*(?::\s*([0-9]{{1,9}})\s*(?::\s*([A-Za-z])\s*)?)?>")
OWN_HEADER = ("ADIF_VER", "CREATED_TIMESTAMP", "PROGRAMID", "PROGRAMVERSION")
VERSION = "3.1.4"


@dataclass(frozen=True, kw_only=True)
class AdifFile:
    """What a file holds: the header's fields, the records, and what was noticed on reading."""

    header: tuple[AdifField, ...]
    records: tuple[tuple[AdifField, ...], ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Reading:
    """One way to read a file: its records, and how many letters stood between fields where none should."""

    file: AdifFile
    stray: int


def read_adif(path: Path) -> AdifFile:
    """Read an ADI file.

    raises  FormatError, one sentence naming the record, for a file that is none or is damaged
    """
    try:
        if path.is_dir():
            raise FormatError(f"{path} is a folder; an ADIF file is wanted.")
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than {MOST_BYTES >> 20} MiB, which no log of contacts is.")
        data = path.read_bytes()
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error
    return parse_adif(data, name=str(path))


def parse_adif(data: bytes, *, name: str) -> AdifFile:
    """Read the bytes of an ADI file.

    name    of the file, for refusals
    raises  FormatError
    """
    data = data.removeprefix(b"\xef\xbb\xbf")
    if re.match(rb"\s*<(\?xml|ADX>)", data, re.IGNORECASE):
        raise FormatError(f"{name} is ADIF in its XML form (ADX); export it in the ADI form (.adi).")
    ways = [data.decode("latin-1")]
    if not data.isascii():
        with contextlib.suppress(UnicodeDecodeError):
            ways.append(data.decode("utf-8"))
    readings, refusals = [], []
    for number, text in enumerate(ways):
        try:
            readings.append(_read(text, name=name, of_bytes=number == 0))
        except FormatError as problem:
            refusals.append(problem)
    if not readings:
        raise refusals[0]
    return min(readings, key=lambda one: one.stray).file


def _read(text: str, *, name: str, of_bytes: bool) -> _Reading:
    at_header = not text.lstrip().startswith("<")
    if at_header and not re.search(r"<\s*EOH\s*>", text, re.IGNORECASE):
        raise FormatError(
            f"{name} is no ADIF file: it neither begins with a field nor has a header that ends in <EOH>."
        )
    at_header = at_header or _ends_a_header(text)
    header: tuple[AdifField, ...] = ()
    records: list[tuple[AdifField, ...]] = []
    fields: list[AdifField] = []
    stray = place = since = 0
    while (begin := text.find("<", place)) >= 0:
        where = f"{name}: {'the header' if at_header else f'record {len(records) + 1}'}"
        found = _SPECIFIER.match(text, begin)
        if found is None or (found[2] is None and found[1].upper() not in ("EOH", "EOR")):
            if at_header:  # free text may hold anything
                place = begin + 1
                continue
            shown = text[begin : begin + 24].split("\n", maxsplit=1)[0]
            raise FormatError(
                f"{where} has {shown!r} where a field <NAME:LENGTH> is due ([ADIF]); the file is damaged."
            )
        stray += 0 if at_header else len(text[since:begin].strip())
        place = found.end()
        if found[2] is not None:
            value = _value(text, place, int(found[2]), where=f"{where}: field {found[1][:40]}")
            place += len(value)
            fields.append((found[1], found[3], _decoded(value) if of_bytes else value))
        elif found[1].upper() == "EOR":
            if at_header:
                raise FormatError(f"{name}: a record ends before the header does; the file is damaged.")
            records.append(tuple(fields))
            fields = []
        elif at_header:
            header, fields, at_header = tuple(fields), [], False
        else:
            raise FormatError(f"{where} is followed by <EOH>, and a header comes first ([ADIF]).")
        since = place
    stray += len(text[since:].strip())
    remarks = []
    if fields:
        records.append(tuple(fields))
        remarks.append(f"The last record does not end in <EOR>; its {len(fields)} fields were taken in.")
    if stray:
        remarks.append(f"{stray} characters stand between fields and belong to none; they were left out ([ADIF]).")
    whole = tuple(record for record in records if record)
    return _Reading(file=AdifFile(header=header, records=whole, remarks=tuple(remarks)), stray=stray)


def _ends_a_header(text: str) -> bool:
    """Whether the first end mark of a text that begins with a field is a header's: some programs leave its text out."""
    found = re.search(r"<\s*(EOH|EOR)\s*>", text, re.IGNORECASE)
    return found is not None and found[1].upper() == "EOH"


def _value(text: str, place: int, length: int, *, where: str) -> str:
    if place + length > len(text):
        raise FormatError(
            f"{where} promises {length} characters, and the file ends after {len(text) - place}; it was cut off."
        )
    return text[place : place + length]


def _decoded(value: str) -> str:
    data = value.encode("latin-1")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return value


def adif_text(
    records: Iterable[Sequence[AdifField]], *, header: Sequence[AdifField] = (), program_version: str, utc: str
) -> str:
    """An ADI file of these records.

    header  fields to carry over from files that were read, our own program's left out
    utc     ISO 8601, when the newest of them was written: the same records give the same text
    """
    digits = re.sub(r"[^0-9]", "", utc)[:14]
    own: list[AdifField] = [
        ("ADIF_VER", None, VERSION),
        ("CREATED_TIMESTAMP", None, f"{digits[:8]} {digits[8:]}"),
        ("PROGRAMID", None, "tepui"),
        ("PROGRAMVERSION", None, program_version),
    ]
    carried = [field for field in header if field[0].upper() not in OWN_HEADER]
    lines = ["Contacts of a tepui log"]
    lines += [_field_text(field) for field in (*own, *carried)]
    lines.append("<EOH>")
    lines += ["".join(_field_text(field) + " " for field in record) + "<EOR>" for record in records]
    return "\n".join(lines) + "\n"


def _field_text(field: AdifField) -> str:
    name, kind, value = field
    return f"<{name}:{len(value.encode('utf-8'))}{':' + kind if kind else ''}>{value}"

"""A record as a PDF: Typst sets the template; its check for accessible documents refuses a picture without words.

Theory  The template reads data.json beside it and nothing else; fonts are the program's own; the time is the record's.
        The same record therefore gives the same bytes.
Source  [ISO14289-1] PDF/UA-1, as Typst checks it.
Holds   A4. No package is fetched: the template imports parts.typ only.
"""

import json
import re
import shutil
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tepui.ground.errors import InputError, UnfinishedError
from tepui.report.content import report_content
from tepui.report.record import Picture, Record

MM_PER_POINT = 25.4 / 72
TEXT_MM, DRAWN_MM, SEEN_MM = 178.0, 150.0, 110.0  # the text's width; a drawing's; a picture's of points
TEMPLATES = Path(__file__).parent / "templates"
FONTS = Path(__file__).parent / "fonts"


def report_pdf(record: Record) -> bytes:
    """The whole report.

    raises  InputError for a picture that is none; UnfinishedError where it cannot be set
    """
    content = report_content(record)
    pictures = [
        Picture(name=_file_of(source.ref, one.name), data=one.data, alt=one.alt)
        for source in record.sources
        for one in source.pictures
    ]
    pictures += record.drawings
    held = {one.name: one.data for one in pictures}
    for section in content["sections"]:
        for document in section["documents"]:
            for one in document["pictures"]:
                one["file"] = _file_of(document["ref"], one["file"])
                one.update(_size_of(one["file"], held[one["file"]]))
        for one in section["measured"]:
            one.update(_size_of(one["file"], held[one["file"]]))
    for one in content["trend"]["pictures"]:
        one.update(_size_of(one["file"], held[one["file"]]))
    for place, photograph in enumerate(record.photographs, start=1):
        name = f"photo-{place}{Path(photograph.name).suffix.lower()}"
        pictures.append(Picture(name=name, data=photograph.data, alt=photograph.alt))
        content["photographs"].append({"file": name, "alt": photograph.alt})
    return _compiled("report.typ", content, pictures, utc=record.utc)


def _file_of(ref: str, name: str) -> str:
    """Where a picture of a document lies beside the template."""
    return f"{ref}-{name}"


def _size_of(name: str, data: bytes) -> dict[str, Any]:
    """How wide a picture is set, and whether that is its true size: a cutting drawing is of use at 1:1 only."""
    if "drawing" in name and name.lower().endswith(".svg"):
        told = re.search(rb'<svg[^>]*?\swidth="([0-9.]+)pt"', data[:4000])
        wide_mm = float(told[1]) * MM_PER_POINT if told else TEXT_MM + 1
        if wide_mm <= TEXT_MM:
            return {"width_mm": wide_mm, "true": True}
        return {"width_mm": TEXT_MM, "true": False}
    if name.lower().endswith(".svg"):
        return {"width_mm": DRAWN_MM, "true": True}
    return {"width_mm": SEEN_MM, "true": True}


def card_pdf(record: Record) -> bytes:
    """The settings card alone, on one page."""
    return _compiled("card.typ", report_content(record), (), utc=record.utc)


def _compiled(template: str, content: dict[str, Any], pictures: Sequence[Picture], *, utc: str) -> bytes:
    import typst

    moment = datetime.fromisoformat(utc).astimezone(UTC)
    with tempfile.TemporaryDirectory(prefix="tepui-report-") as name:
        folder = Path(name)
        for part in (template, "parts.typ"):
            shutil.copy(TEMPLATES / part, folder / part)
        for picture in pictures:
            (folder / picture.name).write_bytes(picture.data)
        (folder / "data.json").write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
        try:
            compiler = typst.Compiler(
                str(folder / template), root=str(folder), font_paths=[str(FONTS)], ignore_system_fonts=True
            )
            data = compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=int(moment.timestamp()))
        except typst.TypstError as error:
            words = " ".join(str(error.message).split())[:200]
            if any(word in words.lower() for word in ("image", "svg", "png", "jpeg")):
                names = ", ".join(picture.name for picture in pictures)
                raise InputError(f"one of the pictures {names} cannot be drawn ({words}); draw it again.") from error
            raise UnfinishedError(f"the report could not be set ({words}); this is a fault of tepui's own.") from error
    assert isinstance(data, bytes)
    return data

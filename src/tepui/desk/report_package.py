"""The build package: what somebody needs to build the same, in a zip file that is the same for the same record.

Theory  Plain files that any program opens: the station file, the report, the card, drawings at their true size,
        measured traces as they were read, tables, photographs, and a list of all of them with size and sha256.
Source  our own design.
Holds   What the record holds; whoever leaves the home position out has done so before.
"""

import hashlib
import json
import zipfile
from io import BytesIO
from typing import Any

from tepui.report.pdf import card_pdf, report_pdf
from tepui.report.record import Record
from tepui.report.tables import table_files

FIXED_TIME = (1980, 1, 1, 0, 0, 0)
DRAWN_VERBS = ("filter", "tune")
WORDS = """\
A station of tepui, packed for somebody who wants to build the same.

station.toml        the station file: 'tepui check station.toml' reads it
report.pdf          the station as built, every number with its doubt and where it comes from
settings-card.pdf   what is set to put it on the air
drawings/           the filter: to be printed at 100 %, not fitted to the page; its ruler of 50 mm tells
traces/             what an analyser read of it, and the reading drawn
tables/             every table as CSV, and all of them in tables.json
photographs/        what it looks like
manifest.json       size and sha256 of each of these files

Local codes, your licence and licensed practice come first. Supplies and mains can kill, amplifiers burn, and a
transmitter must never run without its load. Figures of one build do not hold for another before they are measured.
"""


def package(record: Record) -> bytes:
    """The zip file."""
    files: dict[str, bytes] = {"README.txt": WORDS.encode("utf-8")}
    if record.station is not None:
        files["station.toml"] = record.station.text.encode("utf-8")
    files["report.pdf"] = report_pdf(record)
    files["settings-card.pdf"] = card_pdf(record)
    for source in record.sources:
        if source.document.verb in DRAWN_VERBS:
            files |= {f"drawings/{source.ref}-{one.name}": one.data for one in source.pictures}
    for trace, drawing in zip(record.traces, record.drawings, strict=True):
        files[f"traces/{trace.name}"] = trace.text.encode("utf-8")
        files[f"traces/{drawing.name}"] = drawing.data
    files |= {f"tables/{name}": data for name, data in table_files(record).items()}
    files |= {f"photographs/{picture.name}": picture.data for picture in record.photographs}
    listed: list[dict[str, Any]] = [
        {"name": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()
    ]
    about = {"tepui": record.program, "practice": record.practice, "utc": record.utc, "files": listed}
    files["manifest.json"] = (json.dumps(about, indent=1) + "\n").encode("ascii")
    held = BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sorted(files.items()):
            told = zipfile.ZipInfo(name, FIXED_TIME)
            told.create_system, told.external_attr, told.compress_type = 3, 0o100644 << 16, zipfile.ZIP_DEFLATED
            archive.writestr(told, data)
    return held.getvalue()

"""Settings of recordings from a table: what raw samples and WAV cannot say themselves, one row a recording.

Theory  Comma-, semicolon- or tab-separated text with a heading: recording, and any of the settings that a SigMF capture
        may carry, the tuned frequency, the sample rate and the sample type.
Source  tepui's own; the names are those of files/sigmf_metadata.py.
Holds   Bare numbers in the unit of the heading; yes or no for flags. A recording is named from the table's own folder.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from tepui.files.separated import bare_number, checked_heading, named_cells, separated_rows
from tepui.files.sigmf_metadata import FLAG_SETTINGS, LEVEL_SETTINGS
from tepui.files.within import named_file
from tepui.ground.errors import FormatError
from tepui.signals.recording import Recording

COLUMNS = ("recording", "frequency_hz", "rate_hz", "type", *LEVEL_SETTINGS, *FLAG_SETTINGS)
KIND = "table of settings"
YES, NO = ("yes", "true", "1"), ("no", "false", "0")


@dataclass(frozen=True, kw_only=True)
class SettingsRow:
    """One row: the recording it is about, and what it says."""

    path: Path
    frequency_hz: float | None = None
    rate_hz: float | None = None
    sample_type: str | None = None
    settings: Mapping[str, float | bool] = field(default_factory=dict)


def read_settings(path: Path) -> tuple[SettingsRow, ...]:
    """The rows of a table of settings.

    raises  FormatError: one sentence that names the line and the column
    """
    rows = separated_rows(path, kind=KIND)
    if len(rows) < 2:
        raise FormatError(
            f"{path} holds no settings; write a heading such as recording,frequency_hz,attenuator_db, and rows."
        )
    line, cells = rows[0]
    heading = checked_heading(path, line, cells, COLUMNS, kind=KIND)
    if "recording" not in heading:
        raise FormatError(f"{path}, line {line}: a table of settings needs the column recording, and has none.")
    found = [_row(path, line, named_cells(path, line, heading, cells)) for line, cells in rows[1:]]
    names = [one.path for one in found]
    for number, name in enumerate(names):
        if name in names[:number]:
            raise FormatError(f"{path} tells the settings of {name.name} twice; keep one row of each recording.")
    return tuple(found)


def _row(path: Path, line: int, given: dict[str, str]) -> SettingsRow:
    if "recording" not in given:
        raise FormatError(f"{path}, line {line}: the row names no recording; put its file name under recording.")
    named = named_file(path, given["recording"])
    settings: dict[str, float | bool] = {
        name: bare_number(path, line, name, given[name]) for name in LEVEL_SETTINGS if name in given
    }
    if settings.get("attenuator_db", 0.0) < 0:
        raise FormatError(
            f"{path}, line {line}: attenuator_db is a loss and positive, not {settings['attenuator_db']:g}; "
            f"write {-settings['attenuator_db']:g}."
        )
    for name in FLAG_SETTINGS:
        if name in given:
            settings[name] = _flag(path, line, name, given[name])
    numbers = {
        name: bare_number(path, line, name, given[name]) for name in ("frequency_hz", "rate_hz") if name in given
    }
    return SettingsRow(path=named, sample_type=given.get("type"), settings=settings, **numbers)


def _flag(path: Path, line: int, column: str, cell: str) -> bool:
    if cell.lower() in YES:
        return True
    if cell.lower() in NO:
        return False
    raise FormatError(f'{path}, line {line}: {column} must be yes or no, not "{cell}".')


def with_settings(recording: Recording, row: SettingsRow) -> Recording:
    """The recording with what the row says in all its stretches; what it said otherwise is replaced, with a remark."""
    told = {
        name
        for part in recording.stretches
        for name, value in row.settings.items()
        if part.settings.get(name, value) != value
    }
    remarks = (f"The metadata say another {', '.join(sorted(told))}; the table of settings was used." if told else "",)
    return replace(
        recording,
        stretches=tuple(replace(part, settings={**part.settings, **row.settings}) for part in recording.stretches),
        remarks=(*recording.remarks, *(remark for remark in remarks if remark)),
        practice=recording.practice or bool(row.settings.get("practice")),
    )

"""What ``spectrum`` is given, opened: recordings, folders of them, and a table of settings.

Theory  A folder stands for the recordings in it, or in the folders in it. A table of settings names recordings that
        need not be named again, and tells what raw samples and WAV cannot say.
Source  files/settings.py.
Holds   Raw samples in a folder are opened only where a table names them.
"""

from collections.abc import Sequence
from pathlib import Path

from tepui.files.recordings import open_recording, recording_files
from tepui.files.settings import SettingsRow, read_settings, with_settings
from tepui.files.sigmf import META
from tepui.ground.errors import FormatError
from tepui.signals.recording import Recording

ENDINGS = (META, ".wav")


def expanded(paths: Sequence[Path]) -> list[Path]:
    """Folders replaced by the recordings in them.

    raises  FormatError for a folder without any
    """
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = _within(path) or [
            one for folder in sorted(path.iterdir()) if folder.is_dir() for one in _within(folder)
        ]
        if not inside:
            raise FormatError(
                f"{path} is a folder without a SigMF or WAV recording in it; raw samples need a table (--settings)."
            )
        found += inside
    return found


def _within(folder: Path) -> list[Path]:
    return sorted(one for one in folder.iterdir() if one.name.endswith(ENDINGS) and one.is_file())


def opened(
    paths: Sequence[Path],
    *,
    settings: Path | None,
    sample_type: str | None,
    rate_hz: float | None,
    frequency_hz: float | None,
) -> tuple[list[Recording], list[Path]]:
    """Recordings, and every file they are made of.

    raises  InputError where one cannot be used
    """
    rows = read_settings(settings) if settings is not None else ()
    by_place = {_place(row.path): row for row in rows}
    wanted = expanded(paths) or [row.path for row in rows]
    recordings, files = [], [] if settings is None else [settings]
    for path in wanted:
        row = by_place.get(_place(path)) or SettingsRow(path=path)
        recording = open_recording(
            path,
            sample_type=row.sample_type or sample_type,
            rate_hz=row.rate_hz or rate_hz,
            frequency_hz=row.frequency_hz or frequency_hz,
        )
        recordings.append(with_settings(recording, row) if row.settings else recording)
        files += recording_files(path)
    return recordings, files


def _place(path: Path) -> Path:
    """One name for a recording, whichever of its files was named."""
    whole = path.absolute()
    for ending in (META, ".sigmf-data"):
        whole = whole.with_name(whole.name.removesuffix(ending)) if whole.name != ending else whole
    return whole

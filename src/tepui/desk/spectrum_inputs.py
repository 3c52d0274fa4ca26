"""What ``spectrum`` is given, opened: recordings, folders of them, and a table of settings.

Theory  A folder stands for the recordings in it, or in the folders in it. A table of settings names recordings that
        need not be named again, and tells what raw samples and WAV cannot say.
        One recording counts once, however often it is named and under however many names its samples lie there:
        a copy is no second reading.
Source  files/settings.py.
Holds   Raw samples in a folder are opened only where a table names them.
"""

import filecmp
from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path

from tepui.files.recordings import open_recording, recording_files
from tepui.files.settings import SettingsRow, read_settings, with_settings
from tepui.files.sigmf import DATA, META
from tepui.ground.errors import FormatError
from tepui.signals.recording import Recording

ENDINGS = (META, ".wav")


def expanded(paths: Sequence[Path], *, named: Collection[Path] = ()) -> list[Path]:
    """Folders replaced by the recordings in them, each recording once.

    named   places that a table tells about: their samples need no metadata of their own
    raises  FormatError for a folder without any, or with samples whose metadata are lost
    """
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = _within(path, named) or [
            one for folder in sorted(path.iterdir()) if folder.is_dir() for one in _within(folder, named)
        ]
        if not inside:
            raise FormatError(
                f"{path} is a folder without a SigMF or WAV recording in it; raw samples need a table (--settings)."
            )
        found += inside
    once: dict[Path, Path] = {}
    for path in found:
        once.setdefault(_place(path).resolve(), path)
    return list(once.values())


def _within(folder: Path, named: Collection[Path]) -> list[Path]:
    found = sorted(one for one in folder.iterdir() if one.name.endswith(ENDINGS) and one.is_file())
    if any(one.name.endswith(META) for one in found):
        for data in sorted(folder.glob(f"*{DATA}")):
            meta = data.with_name(data.name.removesuffix(DATA) + META)
            if not meta.exists() and _place(data) not in named:
                raise FormatError(
                    f"{data} has no {meta.name} beside it, and nothing tells how it was recorded: put it there, name "
                    "the recording in a table (--settings), or take it out of the folder."
                )
    return found


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
    wanted = expanded(paths, named=by_place) or [row.path for row in rows]
    recordings: list[Recording] = []
    files = [] if settings is None else [settings]
    samples: list[Path] = []
    for path in wanted:
        row = by_place.get(_place(path)) or SettingsRow(path=path)
        recording = open_recording(
            path,
            sample_type=row.sample_type or sample_type,
            rate_hz=row.rate_hz or rate_hz,
            frequency_hz=row.frequency_hz or frequency_hz,
        )
        recording = with_settings(recording, row) if row.settings else recording
        mine = recording_files(path)
        files += mine
        same = next((n for n, other in enumerate(recordings) if _is_copy(recording, mine[-1], other, samples[n])), None)
        if same is not None:
            remark = f"{path} holds the same samples and counts once: a copy is no second reading."
            recordings[same] = replace(recordings[same], remarks=(*recordings[same].remarks, remark))
            continue
        recordings.append(recording)
        samples.append(mine[-1])
    return recordings, files


def _is_copy(one: Recording, data: Path, other: Recording, other_data: Path) -> bool:
    """Whether both are the same recording, sample by sample, tuned alike."""
    alike = one.n_samples == other.n_samples and one.stretches == other.stretches
    return alike and filecmp.cmp(data, other_data, shallow=False)


def _place(path: Path) -> Path:
    """One name for a recording, whichever of its files was named."""
    whole = path.absolute()
    for ending in (META, ".sigmf-data"):
        whole = whole.with_name(whole.name.removesuffix(ending)) if whole.name != ending else whole
    return whole

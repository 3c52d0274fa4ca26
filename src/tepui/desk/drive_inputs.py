"""What ``drive`` is given, opened and reduced: a table's rows, wide recordings, sets of narrow ones.

Theory  A row of the table may name one wide recording or a set of narrow ones. Recordings named beside the table are
        sorted by their setting; those of one setting that are each too narrow for the channel are a set.
Source  jobs/set_grouping.py.
Holds   Raw samples and WAV in a set need a table of settings.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tepui.desk.setup import ensure_kernels
from tepui.desk.spectrum_inputs import expanded, opened
from tepui.files.readings import ReadingRow
from tepui.ground.errors import FormatError, RangeError
from tepui.jobs.drive_series import Measured, SeriesRow
from tepui.jobs.set_sweeps import SetOptions
from tepui.signals.recording import Recording


@dataclass(frozen=True, kw_only=True)
class Group:
    """Recordings that belong to one reading; ``row`` None where no table names them."""

    row: ReadingRow | None
    recordings: tuple[Recording, ...]


@dataclass(frozen=True, kw_only=True)
class Opened:
    """Everything that was named.

    rows   of the table, without recordings
    files  everything opened, for the list of inputs
    """

    rows: tuple[ReadingRow, ...]
    groups: tuple[Group, ...]
    files: tuple[Path, ...]

    @property
    def recordings(self) -> list[Recording]:
        """All of them."""
        return [one for group in self.groups for one in group.recordings]


def open_series(paths: Sequence[Path], rows: Sequence[ReadingRow], *, settings: Path | None) -> Opened:
    """Open whatever the rows and the command line name, each recording once.

    raises  InputError where one cannot be used or is named twice
    """
    seen: dict[str, int] = {}
    places: set[Path] = set()
    files: list[Path] = []

    def open_all(named: Sequence[Path], table: Path | None) -> tuple[Recording, ...]:
        for path in expanded(named):
            if path.absolute() in places:
                raise RangeError(f"{path} is named twice in this series; give each recording once.")
            places.add(path.absolute())
        found, used = opened(named, settings=table, sample_type=None, rate_hz=None, frequency_hz=None)
        files.extend(used)
        return tuple(_numbered(one, seen) for one in found)

    groups = [Group(row=row, recordings=open_all(row.recordings, settings)) for row in rows if row.recordings]
    if paths or (settings is not None and not groups):
        groups.append(Group(row=None, recordings=open_all(paths, settings)))
    return Opened(
        rows=tuple(row for row in rows if not row.recordings),
        groups=tuple(groups),
        files=tuple(dict.fromkeys(files)),
    )


def _numbered(recording: Recording, seen: dict[str, int]) -> Recording:
    """Two of one name get a number."""
    count = seen[recording.name] = seen.get(recording.name, 0) + 1
    return recording if count == 1 else replace(recording, name=f"{recording.name}-{count}")


def reduced(given: Opened, options: SetOptions, *, workers: int | None) -> list[SeriesRow]:
    """Every reading; only where there are recordings is the receiver loaded.

    raises  InputError where a recording or a set cannot be used
    """
    found = [SeriesRow(values=row.values) for row in given.rows]
    if not given.groups:
        return found
    ensure_kernels()
    names: dict[str, int] = {}
    for group in given.groups:
        measured = _measured(group, options, names, workers=workers)
        if group.row is None:
            found += [SeriesRow(recording=one) for one in measured]
        elif len(measured) == 1:
            found.append(SeriesRow(values=group.row.values, recording=measured[0]))
        else:
            raise FormatError(
                f"Line {group.row.line} of the table names {len(group.recordings)} recordings that are no set of "
                "narrow ones at several tunings: give each wide recording a row of its own."
            )
    return found


def _measured(group: Group, options: SetOptions, names: dict[str, int], *, workers: int | None) -> list[Measured]:
    from tepui.jobs.drive_recordings import measure
    from tepui.jobs.drive_sets import measure_narrow
    from tepui.jobs.set_grouping import grouped

    if len(group.recordings) == 1:
        return [measure(group.recordings[0], workers=workers)]
    grouping = grouped(group.recordings, width_hz=options.width_hz)
    found = []
    for name, members in grouping.sets:
        count = names[name] = names.get(name, 0) + 1
        found.append(measure_narrow(name if count == 1 else f"{name}-{count}", members, options))
    return [*found, *(measure(one, workers=workers) for one in grouping.single)]

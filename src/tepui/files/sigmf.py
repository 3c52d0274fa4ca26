"""SigMF recordings: a data file of bare samples beside a metadata file that says what they are.

Theory  Captures split the samples into stretches; a file with headers among the samples is read around them.
Source  [SigMF] 1.x: data files, captures, core:header_bytes and core:trailing_bytes.
Holds   One channel, complex. The checksum core:sha512 is written but not verified on opening: that would read it all.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.files.atomic import written_whole
from tepui.files.rates import require_rate
from tepui.files.sample_file import FileSamples, lay_out, size_of
from tepui.files.sample_types import encode, sample_type_named
from tepui.files.sigmf_metadata import (
    FLAG_SETTINGS,
    LEVEL_SETTINGS,
    Capture,
    Metadata,
    read_metadata,
    require_data_type,
)
from tepui.ground.checks import require_one_of, require_positive
from tepui.ground.errors import FormatError, RangeError, UnfinishedError
from tepui.signals.recording import Recording, Stretch

META, DATA = ".sigmf-meta", ".sigmf-data"
WRITTEN_TYPES = ("ci16_le", "cf32_le", "cu8", "ci8")
WRITTEN_VERSION = "1.0.0"


def sigmf_stem(path: Path) -> Path:
    """The name both files share, without their endings; a path without such an ending is returned as it is."""
    return path.with_name(path.name.removesuffix(META).removesuffix(DATA)) if path.name not in (META, DATA) else path


def sigmf_files(path: Path) -> tuple[Path, Path]:
    """Metadata and data file of the recording at ``path``, be it either of them or their stem."""
    stem = sigmf_stem(path)
    return stem.with_name(stem.name + META), stem.with_name(stem.name + DATA)


def open_sigmf(
    path: Path, *, sample_type: str | None = None, rate_hz: float | None = None, frequency_hz: float | None = None
) -> Recording:
    """Open a SigMF recording; what is given replaces what the metadata say, with a remark.

    raises  FormatError or RangeError, one sentence, for metadata or data that cannot be used
    """
    meta_path, data_path = sigmf_files(path)
    if not meta_path.is_file() and path.name == meta_path.name:
        raise FormatError(f"{path} cannot be found.")
    if not meta_path.is_file():
        raise FormatError(f"{path} has no {meta_path.name} beside it; put it there, or give --type and --rate.")
    metadata = read_metadata(meta_path)
    if metadata.dataset is not None:
        data_path = meta_path.with_name(metadata.dataset)
    if not data_path.is_file():
        raise FormatError(f"{meta_path} has no {data_path.name} beside it; the samples are missing.")
    metadata, replaced = _with_given(metadata, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz)
    if metadata.sample_rate_hz is None:
        raise FormatError(f"{meta_path} has no core:sample_rate; add it, or give --rate.")
    require_rate(metadata.sample_rate_hz, path=meta_path)
    stored_type = sample_type_named(require_data_type(meta_path, metadata.data_type))
    headers = [(0, 0), *((one.start, one.header_bytes) for one in metadata.captures if one.header_bytes)]
    end_byte = size_of(data_path) - metadata.trailing_bytes
    pieces, torn = lay_out(data_path, stored_type, end_byte=end_byte, headers=headers)
    n_samples = pieces[-1].start + pieces[-1].count
    stretches, lost = _stretches(metadata, n_samples, meta_path)
    return Recording(
        name=sigmf_stem(path).name,
        sample_rate_hz=metadata.sample_rate_hz,
        n_samples=n_samples,
        stretches=stretches,
        sample_type=stored_type.name,
        annotations=metadata.annotations,
        remarks=(*metadata.remarks, *replaced, *torn, *lost),
        practice=metadata.practice,
        source=FileSamples(path=data_path, sample_type=stored_type, pieces=pieces),
        utc=metadata.captures[0].utc if metadata.captures and metadata.captures[0].start == 0 else None,
    )


def _with_given(
    metadata: Metadata, *, sample_type: str | None, rate_hz: float | None, frequency_hz: float | None
) -> tuple[Metadata, tuple[str, ...]]:
    remarks = []
    if sample_type is not None:
        given = sample_type_named(sample_type).name
        if metadata.data_type not in (None, given, given.removesuffix("_le")):
            remarks.append(f"The metadata say {metadata.data_type}; the samples were read as {given}, as given.")
        metadata = replace(metadata, data_type=given)
    if rate_hz is not None:
        if metadata.sample_rate_hz not in (None, rate_hz):
            remarks.append(
                f"The metadata say {metadata.sample_rate_hz:.12g} S/s; {rate_hz:.12g} S/s was given and used."
            )
        metadata = replace(metadata, sample_rate_hz=rate_hz)
    if frequency_hz is not None:
        others = {one.frequency_hz for one in metadata.captures} - {None, frequency_hz}
        if others:
            remarks.append(f"The metadata state other tuned frequencies; {frequency_hz:.12g} Hz was given and used.")
        captures = metadata.captures or (_NO_CAPTURE,)
        metadata = replace(metadata, captures=tuple(replace(one, frequency_hz=frequency_hz) for one in captures))
    return metadata, tuple(remarks)


_NO_CAPTURE = Capture(start=0, frequency_hz=None, header_bytes=0, global_index=None, utc=None, settings={})


def _stretches(metadata: Metadata, n_samples: int, meta_path: Path) -> tuple[tuple[Stretch, ...], tuple[str, ...]]:
    captures = metadata.captures or (_NO_CAPTURE,)
    starts = [one.start for one in captures]
    remarks = []
    if starts[0] >= n_samples:
        raise FormatError(
            f"{meta_path}: the first capture starts at sample {starts[0]}, but the data hold {n_samples} samples only."
        )
    if starts[0]:
        remarks.append(f"The first {starts[0]} samples belong to no capture; their tuned frequency is unknown.")
    beyond = sum(start >= n_samples for start in starts)
    if beyond:
        remarks.append(f"{beyond} of {len(starts)} captures start beyond the end of the data and are left out.")
    stretches = []
    for number, (one, following) in enumerate(zip(captures, [*starts[1:], n_samples], strict=True)):
        count = min(following, n_samples) - one.start
        if count > 0:
            stretches.append(
                Stretch(start=one.start, count=count, frequency_hz=one.frequency_hz, settings=one.settings)
            )
        missing = _missing(captures[number - 1], one) if number and count > 0 else 0
        if missing > 0:
            remarks.append(f"{missing} samples were lost before sample {one.start} (core:global_index).")
    return tuple(stretches), tuple(remarks)


def _missing(before: Capture, after: Capture) -> int:
    if before.global_index is None or after.global_index is None:
        return 0
    return (after.global_index - before.global_index) - (after.start - before.start)


@dataclass(frozen=True, kw_only=True)
class WrittenRecording:
    """What was written.

    n_cut   samples with an axis beyond full scale, written as full scale
    sha512  of the data file, in hexadecimal
    """

    meta_path: Path
    data_path: Path
    n_samples: int
    n_cut: int
    sha512: str


def write_sigmf(
    path: Path,
    blocks: Iterable[npt.NDArray[np.complex64]],
    *,
    sample_rate_hz: float,
    sample_type: str = "ci16_le",
    frequency_hz: float | None = None,
    settings: Mapping[str, float | bool] | None = None,
    stretches: Sequence[Stretch] = (),
    annotations: Iterable[Mapping[str, Any]] = (),
    losses: Mapping[int, int] | None = None,
    practice: bool = False,
    utc: str | None = None,
    description: str | None = None,
) -> WrittenRecording:
    """Write a recording block by block; both files appear whole, or neither.

    path          stem, or either file of the pair; an older pair of this name is replaced
    blocks        (n,) complex64 each, full scale 1; only one at a time is held
    frequency_hz, settings  of the whole recording, where ``stretches`` is empty
    stretches     several tuned frequencies or settings; they must cover the samples without a gap
    annotations, losses   looked at once the last block has come, so they may be filled meanwhile
    losses        sample -> how many were lost before it, in a recording of one stretch
    practice      marks samples from the simulated bench
    raises        UnfinishedError where the disk refuses, a sample is no number, or none come;
                  ChoiceError for a type or setting that cannot be written; RangeError for stretches that do not fit
    """
    require_one_of("The written sample type", sample_type, WRITTEN_TYPES, source="tepui")
    require_positive("The sample rate", sample_rate_hz, unit="S/s")
    meta_path, data_path = sigmf_files(path)
    checksum = hashlib.sha512()
    n_samples = n_cut = 0
    with written_whole(meta_path) as meta, written_whole(data_path) as data:
        for block in blocks:
            if not np.isfinite(block).all():
                raise UnfinishedError(f"{data_path} was not written: a sample to be stored is not a finite number.")
            stored, cut = encode(sample_type_named(sample_type), block)
            data.write(stored)
            checksum.update(stored)
            n_samples += len(block)
            n_cut += cut
        if not n_samples:
            raise UnfinishedError(f"{data_path} was not written: not one sample came.")
        written = stretches or (Stretch(start=0, count=n_samples, frequency_hz=frequency_hz, settings=settings or {}),)
        document = {
            "global": {
                "core:datatype": sample_type,
                "core:sample_rate": sample_rate_hz,
                "core:version": WRITTEN_VERSION,
                "core:num_channels": 1,
                "core:sha512": checksum.hexdigest(),
                "core:recorder": "tepui",
                **({"core:description": description} if description else {}),
                "core:extensions": [{"name": "tepui", "version": "1.0.0", "optional": True}],
                "tepui:practice": practice,
            },
            "captures": _with_losses(_captures(written, n_samples=n_samples, utc=utc), losses or {}),
            "annotations": [dict(one) for one in annotations],
        }
        meta.write((json.dumps(document, indent=2, allow_nan=False) + "\n").encode("utf-8"))
        meta_path.unlink(missing_ok=True)  # never new samples under old metadata, even for a moment
    return WrittenRecording(
        meta_path=meta_path, data_path=data_path, n_samples=n_samples, n_cut=n_cut, sha512=checksum.hexdigest()
    )


def _with_losses(captures: list[dict[str, Any]], losses: Mapping[int, int]) -> list[dict[str, Any]]:
    """A capture of its own after every loss, numbered as the receiver counts (core:global_index)."""
    if not losses:
        return captures
    (first,) = captures
    lost = losses.get(0, 0)
    parts = [{**first, "core:global_index": lost}]
    for place in sorted(place for place in losses if place):
        lost += losses[place]
        after = {name: value for name, value in first.items() if name != "core:datetime"}
        parts.append({**after, "core:sample_start": place, "core:global_index": place + lost})
    return parts


def _captures(stretches: Sequence[Stretch], *, n_samples: int, utc: str | None) -> list[dict[str, Any]]:
    captures: list[dict[str, Any]] = []
    end = 0
    for one in stretches:
        if one.start != end:
            raise RangeError(f"The stretch at sample {one.start} must begin where the one before it ends, at {end}.")
        end += one.count
        capture: dict[str, Any] = {"core:sample_start": one.start}
        if one.frequency_hz is not None:
            capture["core:frequency"] = one.frequency_hz
        for name, value in one.settings.items():
            require_one_of("A receiver setting", name, (*LEVEL_SETTINGS, *FLAG_SETTINGS), source="tepui")
            capture[f"tepui:{name}"] = value
        captures.append(capture)
    if end != n_samples:
        raise RangeError(f"The stretches cover {end} samples, but {n_samples} were written.")
    if utc is not None:
        captures[0]["core:datetime"] = utc
    return captures

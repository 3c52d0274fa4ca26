"""Files kept beside the log under the sha256 of their bytes.

Theory  A name made of the content cannot point to other content; a file that is there already is not written again.
        A recording keeps its bytes as they came; what makes it SigMF is the metadata file of the same name beside it.
Source  [SigMF] 1.x: core:dataset names a file of samples that is no .sigmf-data, core:header_bytes and
        core:trailing_bytes read around what is not samples.
Holds   Samples in a form SigMF does not know (WAV of 24 bits, and of 8, whose zero lies elsewhere) are kept as 32-bit
        floats, which hold them exactly.
"""

import hashlib
import json
import re
import shutil
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.files.atomic import written_whole
from tepui.files.recordings import recording_files
from tepui.files.sample_file import FileSamples
from tepui.files.sample_types import SAMPLE_TYPES
from tepui.files.sigmf import DATA, META, write_sigmf
from tepui.ground.errors import FormatError, InputError
from tepui.signals.recording import Recording

BLOCK = 1 << 20
_SUFFIX = re.compile(r"(\.[A-Za-z0-9-]{1,16})$")


@dataclass(frozen=True, kw_only=True)
class Stored:
    """A file in the store: the name it came with, its name there, sha256 and size; ``new`` where it was not there."""

    name: str
    stored_name: str
    sha256: str
    size_bytes: int
    new: bool


def store_path(log: Path) -> Path:
    """The folder of files kept beside the log at ``log``."""
    return log.with_name(log.stem + ".files")


def stored_name(name: str, digest: str) -> str:
    """Name in the store of a file called ``name``: its digest and its ending."""
    if name.endswith((META, DATA)):
        return digest + (META if name.endswith(META) else DATA)
    ending = _SUFFIX.search(name)
    return digest + (ending[1].lower() if ending else "")


def digest_of(path: Path) -> tuple[str, int]:
    """sha256 in hexadecimal and size of a file.

    raises  InputError where it cannot be read
    """
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest(), path.stat().st_size
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror or error}).") from error


def keep_file(store: Path, source: Path, *, name: str | None = None) -> Stored:
    """Copy a file into the store.

    name    of the file, where it differs from the source's own
    raises  InputError where it cannot be read or changes meanwhile; UnfinishedError where the disk refuses
    """
    if not source.is_file():
        raise InputError(f"{source} is no file; name the file to keep.")
    digest, size = digest_of(source)
    told = source.name if name is None else name
    place = store / stored_name(told, digest)
    if place.exists():
        return Stored(name=told, stored_name=place.name, sha256=digest, size_bytes=size, new=False)
    store.mkdir(exist_ok=True)
    seen = hashlib.sha256()
    with source.open("rb") as reading, written_whole(place) as writing:
        while block := reading.read(BLOCK):
            seen.update(block)
            writing.write(block)
        if seen.hexdigest() != digest:
            raise InputError(f"{source} changed while it was read; wait until it is finished and add it again.")
    return Stored(name=told, stored_name=place.name, sha256=digest, size_bytes=size, new=True)


def keep_bytes_as(store: Path, data: bytes, *, name: str, stored_as: str | None = None, in_use: bool = True) -> Stored:
    """Put bytes into the store under the name of their digest, or under ``stored_as``.

    in_use  whether an entry may name what has that name already; what a killed process left is written over
    raises  FormatError where that name is taken by other bytes
    """
    digest = hashlib.sha256(data).hexdigest()
    place = store / (stored_name(name, digest) if stored_as is None else stored_as)
    if place.exists() and (in_use or place.read_bytes() == data):
        if place.read_bytes() != data:
            raise FormatError(
                f"these samples are in the log already with other metadata ({place.name}); edit that entry instead."
            )
        return Stored(name=name, stored_name=place.name, sha256=digest, size_bytes=len(data), new=False)
    store.mkdir(exist_ok=True)
    with written_whole(place) as handle:
        handle.write(data)
    return Stored(name=name, stored_name=place.name, sha256=digest, size_bytes=len(data), new=True)


def keep_recording(
    store: Path, path: Path, recording: Recording, *, known: Collection[str] | None = None
) -> tuple[Stored, Stored]:
    """Keep an opened recording as SigMF.

    known    sha256 of samples that entries name; None where they cannot be told
    returns  its samples and its metadata
    raises   InputError, FormatError, UnfinishedError
    """
    source = recording.source
    assert isinstance(source, FileSamples)
    if source.sample_type != SAMPLE_TYPES.get(source.sample_type.name):
        return _converted(store, path, recording, known)
    samples = keep_file(store, source.path)
    document = _metadata(path, recording, samples)
    stem = samples.sha256
    if samples.stored_name != stem + DATA:
        document["global"]["core:dataset"] = samples.stored_name
    else:
        document["global"].pop("core:dataset", None)
    text = json.dumps(document, indent=2, allow_nan=False) + "\n"
    in_use = known is None or samples.sha256 in known
    return samples, keep_bytes_as(
        store, text.encode(), name=recording.name + META, stored_as=stem + META, in_use=in_use
    )


def _metadata(path: Path, recording: Recording, samples: Stored) -> dict[str, Any]:
    """The recording's own metadata, or what its header and the operator said where it has none."""
    own = next((one for one in recording_files(path) if one.name.endswith(META)), None)
    if own is not None:
        document: dict[str, Any] = json.loads(own.read_text(encoding="utf-8-sig"))
        return document
    source = recording.source
    assert isinstance(source, FileSamples)
    piece, width = source.pieces[0], source.sample_type.n_bytes
    capture: dict[str, Any] = {"core:sample_start": 0}
    if piece.byte:
        capture["core:header_bytes"] = piece.byte
    if recording.centre_hz is not None:
        capture["core:frequency"] = recording.centre_hz
    about: dict[str, Any] = {
        "core:datatype": source.sample_type.name,
        "core:sample_rate": recording.sample_rate_hz,
        "core:version": "1.0.0",
        "core:num_channels": 1,
        "core:recorder": "tepui",
    }
    trailing = samples.size_bytes - piece.byte - piece.count * width
    if trailing:
        about["core:trailing_bytes"] = trailing
    return {"global": about, "captures": [capture], "annotations": []}


def _converted(store: Path, path: Path, recording: Recording, known: Collection[str] | None) -> tuple[Stored, Stored]:
    store.mkdir(exist_ok=True)
    work = store / f".{path.stem}.part-recording"
    try:
        written = write_sigmf(
            work,
            recording.blocks(BLOCK),
            sample_rate_hz=recording.sample_rate_hz,
            sample_type="cf32_le",
            frequency_hz=recording.centre_hz,
            practice=recording.practice,
        )
        samples = keep_file(store, written.data_path, name=recording.name + DATA)
        meta = written.meta_path.read_bytes()
        stem = samples.sha256
        in_use = known is None or samples.sha256 in known
        return samples, keep_bytes_as(store, meta, name=recording.name + META, stored_as=stem + META, in_use=in_use)
    finally:
        for ending in (META, DATA):
            work.with_name(work.name + ending).unlink(missing_ok=True)


def room_for(folder: Path) -> int:
    """Bytes free on the disk that holds a folder."""
    return shutil.disk_usage(folder).free

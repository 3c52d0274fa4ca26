"""One archive of a whole log: a zip file with a manifest that states every other member's size and sha256.

Theory  Members are named from a closed list of shapes, so that no name can lead out of the folder it is unpacked to.
        Nothing is used before its bytes were counted and hashed against the manifest, and the manifest's list must be
        the zip's own, member for member.
Source  the zip format as Python's zipfile documents it; [RFC8259]; FIPS 180-4. The layout is our own.
Holds   Checksums find damage and careless changes; whoever remakes manifest and lines alike is not found out.
        The same log gives the same bytes: times inside are fixed.
"""

import hashlib
import json
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from tepui.files.atomic import written_whole
from tepui.ground.errors import FormatError, InputError, UnfinishedError

FORMAT = 1
MANIFEST, LINES, FOLDER = "manifest.json", "log.jsonl", "files/"
MEMBER = re.compile(r"log\.jsonl|files/[0-9a-f]{64}(\.[a-z0-9-]{1,16})?")
MOST_MANIFEST, MOST_LINES, MOST_MEMBERS = 64 << 20, 1 << 30, 200_000
BLOCK = 1 << 20
FIXED_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can tell
BROKEN = (
    *(zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, struct.error, EOFError, NotImplementedError),
    *(RuntimeError, ValueError, OverflowError, KeyError, IndexError, MemoryError, OSError),
)


@dataclass(frozen=True, kw_only=True)
class Member:
    """Something to pack: its name in the archive, and the file or the bytes it is."""

    name: str
    source: Path | bytes
    sha256: str
    size_bytes: int


def member_of_bytes(name: str, data: bytes) -> Member:
    """A member made of bytes at hand."""
    return Member(name=name, source=data, sha256=hashlib.sha256(data).hexdigest(), size_bytes=len(data))


def write_archive(path: Path, members: Sequence[Member], *, about: Mapping[str, Any]) -> None:
    """Write an archive, whole or not at all.

    about   further words for the manifest
    raises  InputError where a kept file is not what the log says it is; UnfinishedError where the disk refuses
    """
    ordered = sorted(members, key=lambda one: (one.name != LINES, one.name))
    listed = [{"name": one.name, "bytes": one.size_bytes, "sha256": one.sha256} for one in ordered]
    manifest = {"tepui_archive": FORMAT, **about, "members": listed}
    with written_whole(path) as handle, zipfile.ZipFile(handle, "w", allowZip64=True) as archive:
        text = json.dumps(manifest, indent=1, sort_keys=True, allow_nan=False) + "\n"
        _put(archive, member_of_bytes(MANIFEST, text.encode("ascii")))
        for one in ordered:
            _put(archive, one)


def _put(archive: zipfile.ZipFile, member: Member) -> None:
    told = zipfile.ZipInfo(member.name, FIXED_TIME)
    told.create_system, told.external_attr = 3, (stat.S_IFREG | 0o644) << 16
    told.compress_type = zipfile.ZIP_DEFLATED if isinstance(member.source, bytes) else zipfile.ZIP_STORED
    seen, size = hashlib.sha256(), 0
    with archive.open(told, "w", force_zip64=member.size_bytes >= 1 << 31) as writing:
        if isinstance(member.source, bytes):
            writing.write(member.source)
            seen.update(member.source)
            size = len(member.source)
        else:
            try:
                with member.source.open("rb") as reading:
                    while block := reading.read(BLOCK):
                        writing.write(block)
                        seen.update(block)
                        size += len(block)
            except FileNotFoundError as error:
                raise InputError(
                    f"{member.source} is missing, though the log names it; nothing was exported: put the file back."
                ) from error
    if seen.hexdigest() != member.sha256 or size != member.size_bytes:
        raise InputError(
            f"{member.source if isinstance(member.source, Path) else member.name} is not the file that was logged "
            "(its sha256 differs); nothing was exported: put the right file back."
        )


class Archive:
    """An archive opened for reading, its list of members checked."""

    def __init__(self, path: Path) -> None:
        """Open and check.

        raises  FormatError, one sentence, for a file that is none or was changed
        """
        self.path = path
        if path.is_dir():
            raise FormatError(f"{path} is a folder; an archive is a zip file.")
        try:
            self._zip = zipfile.ZipFile(path)
        except FileNotFoundError as error:
            raise FormatError(f"{path} cannot be found.") from error
        except BROKEN as error:
            raise FormatError(f"{path} cannot be read as a zip archive ({_words(error)}).") from error
        try:
            self.manifest = self._read_manifest()
            self.members = self._checked_members()
        except BaseException:
            self._zip.close()
            raise

    def __enter__(self) -> "Archive":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._zip.close()

    def lines(self) -> list[str]:
        """The revisions, a line each.

        raises  FormatError where they are not what the manifest says
        """
        data = bytearray()
        self._stream(LINES, data.extend)
        try:
            return data.decode("ascii").splitlines()
        except UnicodeDecodeError as error:
            raise FormatError(f"{self.path}: {LINES} is not plain text; the archive was changed.") from error

    def unpack(self, name: str, handle: BinaryIO) -> None:
        """Write a member's bytes.

        raises  FormatError where they are not what the manifest says
        """
        self._stream(name, handle.write)

    def verify(self) -> None:
        """Read every member through, so that nothing is begun with an archive that turns out damaged half-way.

        raises  FormatError
        """
        for name in self.members:
            self._stream(name, len)

    def _read_manifest(self) -> dict[str, Any]:
        names = self._zip.namelist()
        if names.count(MANIFEST) != 1:
            raise FormatError(f"{self.path} is a zip file without a {MANIFEST}, so it is no archive of a log.")
        if self._zip.getinfo(MANIFEST).file_size > MOST_MANIFEST or len(names) > MOST_MEMBERS:
            raise FormatError(f"{self.path} lists more than an archive of a log can hold; it was not unpacked.")
        try:
            with self._zip.open(MANIFEST) as reading:
                text = reading.read(MOST_MANIFEST + 1).decode("utf-8")
            manifest = json.loads(text, parse_constant=_refuse_constant)
        except (*BROKEN, RecursionError) as error:
            raise FormatError(f"{self.path}: its {MANIFEST} cannot be read ({_words(error)}).") from error
        if not isinstance(manifest, dict) or "tepui_archive" not in manifest:
            raise FormatError(f"{self.path} is a zip file of something else than a log.")
        if manifest["tepui_archive"] != FORMAT:
            raise FormatError(
                f"{self.path} is of archive format {manifest['tepui_archive']!r:.20}, and this program knows {FORMAT} "
                "only; use the version that wrote it."
            )
        return manifest

    def _checked_members(self) -> dict[str, tuple[int, str]]:
        """Name -> size and sha256, once manifest and zip agree on them."""
        listed = self.manifest.get("members")
        if not isinstance(listed, list) or not all(_is_listed(one) for one in listed):
            raise FormatError(f"{self.path}: its {MANIFEST} does not list name, bytes and sha256 of every member.")
        members = {one["name"]: (one["bytes"], one["sha256"]) for one in listed}
        infos = [info for info in self._zip.infolist() if info.filename != MANIFEST]
        for name in [info.orig_filename for info in infos] + list(members):
            if not MEMBER.fullmatch(name):
                raise FormatError(
                    f"{self.path} holds {name[:60]!r}, a name no archive of a log has; nothing was unpacked."
                )
        names = sorted(info.filename for info in infos)
        if names != sorted(members) or len(members) != len(listed) or LINES not in members:
            raise FormatError(f"{self.path} does not hold what its {MANIFEST} lists; it was changed, and is refused.")
        for info in infos:
            if info.flag_bits & 1 or stat.S_IFMT(info.external_attr >> 16) not in (0, stat.S_IFREG):
                raise FormatError(f"{self.path} holds {info.filename} as a link or encrypted; nothing was unpacked.")
            if info.file_size != members[info.filename][0]:
                raise FormatError(
                    f"{self.path}: {info.filename} is not as long as its {MANIFEST} says; it was changed."
                )
        if members[LINES][0] > MOST_LINES:
            raise FormatError(f"{self.path}: {LINES} is larger than any log; it was not unpacked.")
        return members

    def _stream(self, name: str, put: Any) -> None:
        size, digest = self.members[name]
        seen, count = hashlib.sha256(), 0
        try:
            with self._zip.open(name) as reading:
                while block := reading.read(BLOCK):
                    count += len(block)
                    if count > size:
                        break
                    seen.update(block)
                    put(block)
        except UnfinishedError:
            raise
        except BROKEN as error:
            if isinstance(error, OSError) and error.errno:
                raise
            raise FormatError(f"{self.path}: {name} cannot be unpacked ({_words(error)}); it is damaged.") from error
        if count != size or seen.hexdigest() != digest:
            raise FormatError(
                f"{self.path}: {name} does not have the sha256 that its {MANIFEST} states; it was changed or damaged, "
                "and the archive is refused."
            )


def _is_listed(one: Any) -> bool:
    return (
        isinstance(one, dict)
        and isinstance(one.get("name"), str)
        and isinstance(one.get("sha256"), str)
        and isinstance(one.get("bytes"), int)
        and not isinstance(one.get("bytes"), bool)
        and 0 <= one["bytes"] < 1 << 62
    )


def _words(error: BaseException) -> str:
    return " ".join(str(error).split())[:100] or type(error).__name__


def _refuse_constant(word: str) -> None:
    raise ValueError(word)

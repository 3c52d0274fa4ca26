"""What one bench in the browser knows: its folder, the recordings there, the workshop, and the practice mark.

Theory  The folder is the whole world of a bench: recordings are found in it and put into it, results lie under it, and
        no name from a page leads out of it.
Source  our own design.
Holds   One server owns the folder's results while it runs.
"""

import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.files.atomic import write_text_whole
from tepui.ground.document import utc_now
from tepui.ground.errors import InputError
from tepui.web.chain import Chain

RESULTS = "bench-results"
SUFFIXES = (".sigmf-meta", ".wav", ".raw", ".cu8", ".ci8", ".cs8", ".ci16", ".cs16", ".cf32")
PAIRS = {".sigmf-data": ".sigmf-meta"}
TABLES = (".csv",)
TRACES = (".s1p", ".s2p")
UPLOADED = (*SUFFIXES, *PAIRS, *TABLES, *TRACES, ".toml")
MOST_UPLOAD = 1 << 30
MOST_LISTED = 400
MOST_TABLE = 1 << 16
_DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)  # such names are devices on Windows
_NAME = re.compile(r"[^A-Za-z0-9._+ -]+")


@dataclass(frozen=True, kw_only=True)
class FoundFile:
    """A file of the folder: its name within it, and its size."""

    name: str
    size_bytes: int


@dataclass(frozen=True, kw_only=True)
class BenchState:
    """Everything the pages are made from."""

    folder: Path
    workshop: Workshop
    watching: Watching
    chain: Chain
    practice: bool

    def files(self, suffixes: tuple[str, ...]) -> list[FoundFile]:
        """Files with these endings in the folder, two folders deep; results of the bench are not among them."""
        found = []
        for pattern in ("*", "*/*"):
            for path in sorted(self.folder.glob(pattern)):
                inside = path.relative_to(self.folder)
                if inside.parts[0] in (RESULTS, "pictures") or inside.parts[0].startswith("."):
                    continue
                if path.suffix.lower() in suffixes and path.is_file():
                    data = path.with_suffix(".sigmf-data") if path.suffix == ".sigmf-meta" else path
                    size = data.stat().st_size if data.is_file() else path.stat().st_size
                    found.append(FoundFile(name=inside.as_posix(), size_bytes=size))
                if len(found) >= MOST_LISTED:
                    return found
        return found

    def command(self, words: Sequence[str]) -> str:
        """What to type in the bench's folder for the same."""
        inside = [
            word.removeprefix(str(self.folder)).lstrip("/\\") if word.startswith(str(self.folder)) else word
            for word in words
        ]
        return shlex.join(["tepui", *inside])

    def path_of(self, name: str) -> Path:
        """The file of the folder with this name.

        raises  InputError for a name that is not one of the folder's files
        """
        try:
            path = (self.folder / name).resolve()
            known = path.is_relative_to(self.folder.resolve()) and path.is_file()
        except (OSError, ValueError):  # a name that no file can have
            known = False
        if not known:
            raise InputError(f"{name} is not a file of this bench's folder; choose one from the list.")
        return path

    def place_for(self, name: str) -> Path:
        """Where a file that is handed in goes: its bare name, cleaned, in the folder.

        raises  InputError for an ending that no page reads, or a name that is taken
        """
        bare = _NAME.sub("-", name.replace("\\", "/").rsplit("/", 1)[-1]).strip(". -")
        bare = f"file-{bare}" if _DEVICE.match(bare) else bare
        path = self.folder / bare
        if not bare or path.suffix.lower() not in UPLOADED:
            raise InputError(
                f"{bare or 'A file without a name'} is no recording or table; allowed: {', '.join(UPLOADED)}."
            )
        if path.exists():
            raise InputError(f"{bare} is there already; give it another name first.")
        return path

    def new_place(self, name: str, *, begins: str) -> Path:
        """Where something new of this name goes: its bare name, cleaned, in the folder; made from the time where empty.

        raises  InputError for a name that is taken, or that leaves nothing
        """
        bare = _NAME.sub("-", name.replace("\\", "/").rsplit("/", 1)[-1]).strip(". -")
        if not name:
            bare = f"{begins}-{utc_now().replace(':', '').replace('-', '')}"
        if not bare or bare == RESULTS or _DEVICE.match(bare):
            raise InputError(f"{name} is no name for something new here; use letters and digits.")
        taken = [path for path in (self.folder / bare, self.folder / f"{bare}.sigmf-meta") if path.exists()]
        if taken:
            raise InputError(f"{bare} is there already; give it another name.")
        return self.folder / bare

    def keep_table(self, text: str, *, begins: str) -> str:
        """Keep a table in the folder; its name there."""
        if len(text) > MOST_TABLE:
            raise InputError(f"a table typed in has at most {MOST_TABLE >> 10} KiB; hand a longer one in as a file.")
        path = self.new_place("", begins=begins).with_suffix(".csv")
        write_text_whole(path, text)
        return path.name

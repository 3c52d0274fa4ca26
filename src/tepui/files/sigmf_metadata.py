"""What a SigMF metadata file says, checked field by field.

Theory  A JSON object of three parts: global (one for all samples), captures (from a sample on), annotations.
Source  [SigMF] 1.x, core namespace. Receiver settings come from the extension fields tepui: and rx:.
Holds   One channel of complex samples. Fields that are not named here are left alone; annotations are kept as they are.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from tepui.files.sample_types import SAMPLE_TYPES
from tepui.ground.errors import FormatError

LEVEL_SETTINGS = ("attenuator_db", "frontend_gain_db", "if_gain_db", "gain_db", "setting_dbm")
FLAG_SETTINGS = ("terminated", "practice", "agc")
NAMESPACES = ("tepui", "rx")
LONGEST_NAME = 255  # bytes: NTFS, ext4 and others


@dataclass(frozen=True, kw_only=True)
class Capture:
    """One capture segment: what holds from sample ``start`` on."""

    start: int
    frequency_hz: float | None
    header_bytes: int
    global_index: int | None
    utc: str | None
    settings: Mapping[str, float | bool]


@dataclass(frozen=True, kw_only=True)
class Metadata:
    """A metadata file; None where it is silent."""

    data_type: str | None
    sample_rate_hz: float | None
    dataset: str | None
    trailing_bytes: int
    captures: tuple[Capture, ...]
    annotations: tuple[Mapping[str, Any], ...]
    practice: bool
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Fields:
    """One JSON object and where it stands, so that every refusal can say so."""

    path: Path
    place: str
    values: Mapping[str, Any]

    def _refusal(self, key: str, wanted: str) -> FormatError:
        found = json.dumps(self.values[key])[:60]
        return FormatError(f"{self.path}: {key} in {self.place} must be {wanted} ([SigMF]), not {found}.")

    def number(self, key: str) -> float | None:
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < math.inf:
            raise self._refusal(key, "a finite number")
        return float(value)

    def whole(self, key: str) -> int | None:
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 2.0**63:
            raise self._refusal(key, "a whole number from 0 on")
        if value < 0 or value != int(value):
            raise self._refusal(key, "a whole number from 0 on")
        return int(value)

    def text(self, key: str) -> str | None:
        value = self.values.get(key)
        if value is not None and not isinstance(value, str):
            raise self._refusal(key, "text")
        return value

    def flag(self, key: str) -> bool | None:
        value = self.values.get(key)
        if value is not None and not isinstance(value, bool):
            raise self._refusal(key, "true or false")
        return value

    def objects(self, key: str) -> list["_Fields"]:
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            raise FormatError(f"{self.path}: {key} must be a list of objects ([SigMF]).")
        return [_Fields(self.path, f"{key}[{number}]", one) for number, one in enumerate(value)]


def read_metadata(path: Path) -> Metadata:
    """Read and check a .sigmf-meta file.

    raises  FormatError, one sentence naming the field, for anything that cannot be used
    """
    root = _Fields(path, "the file", _json_object(path))
    stated = root.values.get("global")
    if not isinstance(stated, dict):
        raise FormatError(f"{path} has no global object, so it is not SigMF metadata ([SigMF]).")
    about = _Fields(path, "global", stated)
    _refuse_unusable(about)
    captures = tuple(_capture(one) for one in root.objects("captures"))
    for earlier, later in pairwise(captures):
        if later.start < earlier.start:
            raise FormatError(
                f"{path}: captures must stand in the order of core:sample_start ([SigMF]), "
                f"but {later.start} follows {earlier.start}."
            )
    return Metadata(
        data_type=about.text("core:datatype"),
        sample_rate_hz=about.number("core:sample_rate"),
        dataset=_dataset(about),
        trailing_bytes=about.whole("core:trailing_bytes") or 0,
        captures=captures,
        annotations=tuple(one.values for one in root.objects("annotations")),
        practice=bool(about.flag("tepui:practice")) or any(one.settings.get("practice") for one in captures),
        remarks=_remarks(about),
    )


def _json_object(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is not SigMF metadata ([SigMF]).") from error
    except json.JSONDecodeError as error:
        raise FormatError(
            f"{path} is not valid JSON at line {error.lineno}, column {error.colno}; SigMF metadata must be."
        ) from error
    except RecursionError as error:
        raise FormatError(f"{path} is nested too deeply to be SigMF metadata.") from error
    if not isinstance(content, dict):
        raise FormatError(f"{path} is JSON but no object, so it is not SigMF metadata ([SigMF]).")
    return content


def _refuse_unusable(about: _Fields) -> None:
    channels = about.whole("core:num_channels")
    if channels not in (None, 1):
        raise FormatError(f"{about.path} holds {channels} channels in one file; tepui reads one, so split it first.")
    if about.whole("core:offset"):
        raise FormatError(
            f"{about.path} is a later part of a split recording (core:offset {about.whole('core:offset')}); "
            "join the parts, or take core:offset out and renumber the captures."
        )
    if about.flag("core:metadata_only"):
        raise FormatError(f"{about.path} says that it comes without samples (core:metadata_only); the data are needed.")


def require_data_type(path: Path, name: str | None) -> str:
    """The stated sample type, if it is one that can be read.

    raises  FormatError
    """
    if name is None:
        raise FormatError(f"{path} has no core:datatype; add it, or give --type.")
    if name.startswith("r"):
        raise FormatError(f"{path} holds real samples ({name}); tepui needs complex ones, I and Q, such as ci16_le.")
    if name not in SAMPLE_TYPES and f"{name}_le" not in SAMPLE_TYPES:
        raise FormatError(
            f"{path}: core:datatype {name} is not one of {', '.join(SAMPLE_TYPES)} ([SigMF]); "
            "correct it, or give --type."
        )
    return name


def _dataset(about: _Fields) -> str | None:
    name = about.text("core:dataset")
    if name is not None and (name in ("", ".", "..") or any(mark in name for mark in '/\\:*?"<>|')):
        raise FormatError(f"{about.path}: core:dataset must be a file name without a folder ([SigMF]), not {name!r}.")
    if name is not None and len(name.encode("utf-8", "replace")) > LONGEST_NAME:
        raise FormatError(
            f"{about.path}: core:dataset has {len(name)} characters; a file's name has at most {LONGEST_NAME} bytes "
            f"(NTFS, ext4 and others): {name[:20]}..."
        )
    return name


def _remarks(about: _Fields) -> tuple[str, ...]:
    stated = about.values.get("core:extensions", [])
    names = [
        str(one.get("name"))
        for one in (stated if isinstance(stated, list) else [])
        if isinstance(one, dict) and one.get("optional") is False
    ]
    return tuple(
        f"The metadata call the extension {name} necessary; tepui does not know it and reads the samples without it."
        for name in names
        if name.split(":")[0] not in NAMESPACES
    )


def _capture(one: _Fields) -> Capture:
    return Capture(
        start=one.whole("core:sample_start") or 0,
        frequency_hz=one.number("core:frequency"),
        header_bytes=one.whole("core:header_bytes") or 0,
        global_index=one.whole("core:global_index"),
        utc=one.text("core:datetime"),
        settings=_settings(one),
    )


def _settings(one: _Fields) -> dict[str, float | bool]:
    settings: dict[str, float | bool] = {}
    for name in (*LEVEL_SETTINGS, *FLAG_SETTINGS):
        read = one.number if name in LEVEL_SETTINGS else one.flag
        found = [value for value in (read(f"{space}:{name}") for space in NAMESPACES) if value is not None]
        if not found:
            continue
        if found[0] != found[-1]:
            raise FormatError(f"{one.path}: {one.place} states {name} twice, as {found[0]} and {found[-1]}.")
        settings[name] = found[0]
    return settings

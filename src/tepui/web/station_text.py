"""What pages take out of a station file's text without judging it: names of stages and instruments, the job line.

Theory  The verbs check the file; a page shows what it can of a file that may be half written.
Source  our own design.
Holds   Text that is TOML; anything else has no stages.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.ground.errors import InputError
from tepui.ground.quantity import quantity_value


@dataclass(frozen=True, kw_only=True)
class Job:
    """The job line at the desk's edge: whose station, and its channel in words."""

    call: str
    name: str
    channel: str


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


def _listed(text: str, key: str) -> list[dict[str, Any]]:
    entries = _read(text).get(key)
    return [entry for entry in entries if isinstance(entry, dict)] if isinstance(entries, list) else []


def stages_of(text: str) -> list[tuple[str, str]]:
    """Name and kind of every stage, in order."""
    return [(str(entry.get("name", "")), str(entry.get("kind", ""))) for entry in _listed(text, "stage")]


def instruments_of(text: str) -> list[str]:
    """Names of the instruments."""
    return [str(entry["name"]) for entry in _listed(text, "instrument") if "name" in entry]


def pads_of(text: str, instrument: str) -> float | None:
    """Attenuation that the file states ahead of an instrument; None where it states none that can be read. [dB]"""
    for entry in _listed(text, "instrument"):
        if entry.get("name") == instrument:
            told = entry.get("pads", "0 dB")
            try:
                return quantity_value(str(told.get("value", "") if isinstance(told, dict) else told), kind="ratio")
            except InputError:
                return None
    return None


def far_of(text: str) -> list[dict[str, str]]:
    """Call and locator of every far station."""
    return [{key: str(entry.get(key, "")) for key in ("call", "locator")} for entry in _listed(text, "far")]


def own_side(text: str) -> dict[str, str]:
    """What the file says of our side of a contact."""
    told = _read(text)
    site, channel = told.get("station"), told.get("channel")
    found: dict[str, str] = {}
    if isinstance(site, dict):
        found |= {"own_call": str(site.get("call", "")), "own_locator": str(site.get("locator", ""))}
    if isinstance(channel, dict):
        found["frequency"] = str(channel.get("centre", ""))
    return found


def job_of(text: str, *, fallback: str) -> Job:
    """The job line; the folder's name where there is no station file."""
    told = _read(text)
    station, channel = told.get("station"), told.get("channel")
    if not isinstance(station, dict):
        return Job(call=fallback, name="", channel="the bench on this machine")
    parts = []
    if isinstance(channel, dict):
        if "centre" in channel:
            parts.append(str(channel["centre"]))
        if "width" in channel:
            parts.append(f"{channel['width']} wide")
        parts += [str(channel[key]) for key in ("fft", "constellation", "code_rate") if key in channel]
    return Job(call=str(station.get("call", fallback)), name=str(station.get("name", "")), channel=", ".join(parts))


def reading_line(given: Mapping[str, str]) -> str:
    """A reading as the verb ``levels`` takes it, from the fields of its form."""
    on = f" on {given['instrument']}" if given.get("instrument") else ""
    pads = given.get("pads", "")
    if pads:
        on += f" through {pads}" + ("" if any(letter.isalpha() for letter in pads) else " dB")
    shown = given.get("shown", "")
    unit = "" if any(letter.isalpha() for letter in shown) else " dBm"
    doubt = given.get("doubt", "")
    spread = "" if not doubt else f" ± {doubt}" + ("" if any(letter.isalpha() for letter in doubt) else " dB")
    return f"{given.get('point', '')}{on} = {shown}{unit}{spread}"


def paths_of(text: str) -> list[str]:
    """Calls of the far stations with a place, in order: the paths there are."""
    return [
        str(one["call"]) for one in _listed(text, "far") if "call" in one and {"locator", "coordinates"} & one.keys()
    ]


def sites_of(text: str) -> list[str]:
    """Names of the places beside the stations."""
    return [str(one["name"]) for one in _listed(text, "site") if "name" in one]


def named_files(text: str, folder: Path) -> list[Path]:
    """Files that the station file names, as far as its text can be read."""
    told = _read(text)
    plan = told.get("path")
    names = [one.get(key) for one in _listed(text, "stage") for key in ("pattern", "response")]
    names += [plan.get(key) for key in ("terrain", "rules")] if isinstance(plan, dict) else []
    return [folder / name for name in names if isinstance(name, str) and name]

"""The transmitters of a map, from a table: each with its own place, height, power and beam, and what feeds it.

Theory  Comma- or semicolon-separated text with a heading. name, place, height_m and eirp_dbm are needed; azimuth_deg
        with beam_width_deg or a pattern file; delay_us after the others; a repeater tells fed_by, kind, feed_gain_dbi,
        feed_noise_db and feed_height_m.
Source  tepui's own. [RFC4180] for the text.
Holds   Each name once. kind is transposer or regenerative. Pattern files are meant from the table's folder.
"""

from pathlib import Path
from typing import TYPE_CHECKING

from tepui.chain.antenna.pattern import Pattern, beam
from tepui.chain.antenna.places import parse_place
from tepui.files.pattern import read_pattern
from tepui.files.separated import bare_number, checked_heading, named_cells, separated_rows
from tepui.files.within import named_file
from tepui.ground.errors import FormatError, InputError
from tepui.prediction.map_combine import Feeding

if TYPE_CHECKING:  # the kernels of maps are loaded when a file is read, not before
    from tepui.prediction.coverage import MapSite

NEEDED = ("name", "place", "height_m", "eirp_dbm")
FEED = ("fed_by", "kind", "feed_gain_dbi", "feed_noise_db", "feed_height_m")
COLUMNS = (*NEEDED, "azimuth_deg", "beam_width_deg", "pattern", "delay_us", *FEED)
KINDS = ("transposer", "regenerative")
KIND = "list of transmitters"


def read_transmitters(path: Path) -> "tuple[MapSite, ...]":
    """The transmitters of a table.

    raises  FormatError naming the line
    """
    rows = separated_rows(path, kind=KIND)
    if len(rows) < 2:
        raise FormatError(f"{path} lists no transmitter; the heading begins with {','.join(NEEDED)}.")
    heading = checked_heading(path, rows[0][0], rows[0][1], COLUMNS, kind=KIND)
    for name in NEEDED:
        if name not in heading:
            raise FormatError(f"{path}, line {rows[0][0]}: a {KIND} needs the column {name}.")
    found: dict[str, MapSite] = {}
    for line, cells in rows[1:]:
        site = _site(path, line, named_cells(path, line, heading, cells))
        if site.name in found:
            raise FormatError(f"{path}, line {line}: {site.name} is told a second time; each transmitter has one row.")
        found[site.name] = site
    return tuple(found.values())


def _site(path: Path, line: int, told: dict[str, str]) -> "MapSite":
    from tepui.prediction.coverage import MapSite

    for name in NEEDED:
        if name not in told:
            raise FormatError(f"{path}, line {line}: {name} is empty, and every transmitter needs it.")
    try:
        return MapSite(
            name=told["name"],
            place=parse_place(told["place"]),
            height_m=bare_number(path, line, "height_m", told["height_m"]),
            eirp_dbm=bare_number(path, line, "eirp_dbm", told["eirp_dbm"]),
            pattern=_pattern(path, line, told),
            azimuth_deg=bare_number(path, line, "azimuth_deg", told.get("azimuth_deg", "0")),
            delay_s=1e-6 * bare_number(path, line, "delay_us", told.get("delay_us", "0")),
            feeding=_feeding(path, line, told),
        )
    except FormatError as problem:
        said = str(problem)
        raise problem if said.startswith(str(path)) else FormatError(f"{path}, line {line}: {said}") from problem
    except InputError as problem:
        raise FormatError(f"{path}, line {line}: {problem}") from problem


def _pattern(path: Path, line: int, told: dict[str, str]) -> Pattern | None:
    if "pattern" in told and "beam_width_deg" in told:
        raise FormatError(f"{path}, line {line}: give either pattern or beam_width_deg, not both.")
    if "pattern" in told:
        return read_pattern(named_file(path, told["pattern"]))
    if "beam_width_deg" in told:
        return beam(width_deg=bare_number(path, line, "beam_width_deg", told["beam_width_deg"]))
    return None


def _feeding(path: Path, line: int, told: dict[str, str]) -> Feeding | None:
    if not any(name in told for name in FEED):
        return None
    missing = [name for name in FEED if name not in told]
    if missing:
        raise FormatError(f"{path}, line {line}: a repeater tells {', '.join(FEED)}; missing: {', '.join(missing)}.")
    if told["kind"] not in KINDS:
        raise FormatError(f"{path}, line {line}: kind must be {' or '.join(KINDS)}, not {told['kind']}.")
    height = bare_number(path, line, "feed_height_m", told["feed_height_m"])
    if height <= 0:
        raise FormatError(f"{path}, line {line}: feed_height_m must be above zero, not {height:g}.")
    return Feeding(
        fed_by=told["fed_by"],
        kind=told["kind"],
        gain_dbi=bare_number(path, line, "feed_gain_dbi", told["feed_gain_dbi"]),
        noise_db=bare_number(path, line, "feed_noise_db", told["feed_noise_db"]),
        height_m=height,
    )

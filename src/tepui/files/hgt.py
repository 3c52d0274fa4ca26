"""SRTM tiles: big-endian 16-bit heights of one degree square, told by name and size.

Theory  1201 x 1201 samples are 3 arc seconds apart, 3601 x 3601 one; the size alone tells. The name is the place of
        the south-west sample; rows run from the north, -32768 is a void.
Source  [SRTM] "SRTM Topography" documentation, version 2.1, sections 2 and 4.
Holds   Names like N36W085.hgt. Byte order is judged by the heights: the wrong one makes most of them absurd.
"""

import re
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import FormatError
from tepui.signals.elevation import ElevationTile, degree_spacing_m, geographic

SIDES = {2 * n * n: n for n in (1201, 3601)}
VOID = -32768
NAME = re.compile(r"([NS])(\d{2})([EW])(\d{3})", re.IGNORECASE)
LOWEST_M, HIGHEST_M = -500, 9000
ABSURD_SHARE = 0.02
ROUND_SHARE = 0.9


def hgt_corner(path: Path) -> tuple[int, int]:
    """Latitude and longitude of the south-west sample, from the name.

    raises  FormatError
    """
    match = NAME.match(path.stem)
    if not match:
        raise FormatError(f"{path} is not named like an SRTM tile; the name is its south-west corner, N36W085.hgt.")
    lat, lon = int(match[2]), int(match[4])
    lat, lon = (-lat if match[1] in "Ss" else lat), (-lon if match[3] in "Ww" else lon)
    if not (-90 <= lat <= 89 and -180 <= lon <= 179):
        raise FormatError(f"{path} is named after a corner that does not exist, {lat} and {lon} degrees.")
    return lat, lon


def read_hgt(path: Path, *, middle_deg: float | None = None) -> ElevationTile:
    """One tile, checked whole.

    middle_deg  latitude of what is asked of it, where its columns stand closer to the north; None takes its own

    raises  FormatError where name, size or byte order are wrong
    """
    lat, lon = hgt_corner(path)
    size = path.stat().st_size
    if size not in SIDES:
        expected = " or ".join(f"{one} bytes ({side} x {side})" for one, side in SIDES.items())
        kind = "is cut short" if size < max(SIDES) else "is too long"
        raise FormatError(f"{path} has {size} bytes and {kind}: an SRTM tile has {expected}; fetch it again.")
    side = SIDES[size]
    raw = np.fromfile(path, ">i2").reshape(side, side)
    _check_order(path, raw)
    height_m = np.where(raw == VOID, np.float32(np.nan), raw.astype(np.float32))
    step = 1.0 / (side - 1)
    return ElevationTile(
        name=path.name,
        height_m=height_m,
        locate=geographic(north_deg=lat + 1.0, west_deg=float(lon), lat_step_deg=step, lon_step_deg=step),
        spacing_m=degree_spacing_m(
            latitude_deg=lat + 0.5 if middle_deg is None else middle_deg, lat_step_deg=step, lon_step_deg=step
        ),
    )


def _check_order(path: Path, raw: npt.NDArray[np.int16]) -> None:
    """Refuse heights no ground has, as the other byte order makes them."""
    thinned = raw[::7, ::7].astype(np.int32)
    known = thinned[(thinned != VOID) & (thinned != 0)]
    if known.size == 0:
        return
    absurd = float(np.mean((known < LOWEST_M) | (known > HIGHEST_M)))
    swapped = known.astype(np.int16).byteswap().astype(np.int32)
    rounds = float(np.mean(known % 256 == 0)) > ROUND_SHARE and np.all((swapped > LOWEST_M) & (swapped < HIGHEST_M))
    if absurd > ABSURD_SHARE or rounds:
        raise FormatError(
            f"{path} holds heights from {known.min()} to {known.max()} m; its bytes are in the wrong order (SRTM is "
            "big-endian) or it is no SRTM tile."
        )

"""A place as an operator writes it: a locator, decimal degrees, or degrees with minutes and seconds.

Theory  A locator halves its box with every pair: 20 x 10 degrees, then 2 x 1, 5' x 2.5', 30" x 15", 1.25" x 0.625".
        The station may stand anywhere in the box, so its middle is uncertain by the box over sqrt(12) in each axis.
Source  IARU Region 1 technical recommendation of 1980 (Maidenhead), extended pairs as in use since; [ISO6709] for the
        order latitude, longitude.
Holds   Four to ten characters. Latitude -90 to 90, longitude -180 to 180 degrees; no datum but WGS84.
"""

import math
import re
from dataclasses import dataclass

from tepui.ground.errors import FormatError, RangeError

# Divisions of each pair of characters: count, whether letters, and what the pair is called.
PAIRS = ((18, True, "A to R"), (10, False, "0 to 9"), (24, True, "A to X"), (10, False, "0 to 9"), (24, True, "A to X"))
_NUMBER = r"[+-]?\d{1,3}(?:\.\d+)?"
_DECIMAL = re.compile(rf"(?P<lat>{_NUMBER})°?\s*[,; ]\s*(?P<lon>{_NUMBER})°?")
_ANGLE = r"(\d{1,3})\s*[°:d ]\s*(\d{1,2}(?:\.\d+)?)\s*(?:['′:m ]\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:\"|″|''|s)?)?)?\s*"
_DMS = re.compile(rf"{_ANGLE}([NS])\s*[,; ]?\s*{_ANGLE}([EW])", re.IGNORECASE)
_HEMISPHERE = re.compile(r"(\d{1,2}(?:\.\d+)?)°?\s*([NS])\s*[,; ]?\s*(\d{1,3}(?:\.\d+)?)°?\s*([EW])", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Place:
    """A point on the ellipsoid and how far it may be off.

    box_lat_deg, box_lon_deg  size of the box that holds the station; 0 for coordinates
    text                      as written
    """

    latitude_deg: float
    longitude_deg: float
    box_lat_deg: float = 0.0
    box_lon_deg: float = 0.0
    text: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude_deg) and -90 <= self.latitude_deg <= 90):
            raise RangeError(f'"{self.text}": latitude must lie between -90 and 90 degrees, not {self.latitude_deg:g}.')
        if not (math.isfinite(self.longitude_deg) and -180 <= self.longitude_deg <= 180):
            raise RangeError(
                f'"{self.text}": longitude must lie between -180 and 180 degrees, not {self.longitude_deg:g}.'
            )


def place_from_locator(text: str) -> Place:
    """The middle of a locator's box.

    raises  FormatError, naming the character at fault

    >>> place_from_locator("HI45kt").latitude_deg
    -4.1875
    """
    word = text.strip()
    if len(word) not in (4, 6, 8, 10):
        raise FormatError(f'"{text}" is no locator: it has 4, 6, 8 or 10 characters, not {len(word)}.')
    lon, lat, width, height = -180.0, -90.0, 360.0, 180.0
    for number in range(len(word) // 2):
        count, letters, allowed = PAIRS[number]
        steps = []
        for place in (2 * number, 2 * number + 1):
            steps.append(_step(text, word[place], place, count=count, letters=letters, allowed=allowed))
        width, height = width / count, height / count
        lon, lat = lon + steps[0] * width, lat + steps[1] * height
    return Place(
        latitude_deg=lat + height / 2,
        longitude_deg=lon + width / 2,
        box_lat_deg=height,
        box_lon_deg=width,
        text=word,
    )


def _step(text: str, character: str, place: int, *, count: int, letters: bool, allowed: str) -> int:
    value = ord(character.upper()) - ord("A") if letters else ord(character) - ord("0")
    right = character.isascii() and (character.isalpha() if letters else character.isdigit())
    if not right or not 0 <= value < count:
        raise FormatError(f'"{text}" is no locator: character {place + 1} must be {allowed}, not {character}.')
    return value


def locator_of(place: Place, *, characters: int = 6) -> str:
    """The locator whose box holds a place."""
    lon, lat = (place.longitude_deg + 180) % 360 / 360, min(max(place.latitude_deg + 90, 0), 180 - 1e-9) / 180
    word = ""
    for number in range(characters // 2):
        count, letters, _ = PAIRS[number]
        lon, lat = lon * count, lat * count
        for value in (int(lon), int(lat)):
            word += chr(ord("A" if number == 0 else "a") + value) if letters else str(value)
        lon, lat = lon - int(lon), lat - int(lat)
    return word


def parse_place(text: str) -> Place:
    """A place from a locator, "52.2083, 4.3" or 52°12'30"N 4°18'E.

    raises  FormatError or RangeError: one sentence with what is allowed
    """
    word = text.strip().replace("−", "-")
    if re.fullmatch(r"[A-Za-z]{2}.*", word):
        return place_from_locator(word)
    match = _DECIMAL.fullmatch(word)
    if match:
        return Place(latitude_deg=float(match["lat"]), longitude_deg=float(match["lon"]), text=text)
    match = _HEMISPHERE.fullmatch(word)
    if match:
        lat, lon = float(match[1]), float(match[3])
        return _signed(text, lat, match[2], lon, match[4])
    match = _DMS.fullmatch(word)
    if match:
        lat, lon = _degrees(text, *match.groups()[0:3]), _degrees(text, *match.groups()[4:7])
        return _signed(text, lat, match[4], lon, match[8])
    raise FormatError(
        f'"{text}" is no place: write a locator such as HI45kt, latitude and longitude such as "52.2083, 4.3", '
        "or 52°12'30\"N 4°18'0\"E."
    )


def _signed(text: str, lat: float, north: str, lon: float, east: str) -> Place:
    return Place(latitude_deg=-lat if north in "Ss" else lat, longitude_deg=-lon if east in "Ww" else lon, text=text)


def _degrees(text: str, whole: str, minutes: str, seconds: str | None) -> float:
    parts = float(minutes), float(seconds or 0)
    if max(parts) >= 60:
        raise FormatError(f'"{text}": minutes and seconds run from 0 to below 60, not {max(parts):g}.')
    return float(whole) + parts[0] / 60 + parts[1] / 3600

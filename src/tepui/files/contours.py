"""Lines of equal margin as GeoJSON, so that any map program can show them.

Theory  A line joins the places where a band of the map passes a threshold; coordinates are longitude and latitude.
Source  [RFC7946] GeoJSON; contourpy for the lines.
Holds   Pixels that hold nothing end a line.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.places import Place

Floats = npt.NDArray[np.float64]
DECIMALS = 6


def contours_text(
    band: npt.NDArray[np.float32],
    levels: Mapping[str, float],
    *,
    places: Callable[[Floats, Floats], tuple[Floats, Floats]],
    properties: Mapping[str, Any],
    points: Sequence[tuple[str, str, Place]] = (),
) -> str:
    """A collection with one feature a level, and one a point.

    levels  name -> value of the band on its line
    places  rows and columns in pixels -> latitude and longitude
    points  name, kind and place of transmitters and stations
    """
    from contourpy import contour_generator

    generator = contour_generator(z=np.ma.masked_invalid(band.astype(np.float64)))
    features = []
    for name, level in levels.items():
        lines = []
        for line in generator.lines(level):
            ends = np.asarray(line)
            lat, lon = places(ends[:, 1], ends[:, 0])
            lines.append(np.round(np.stack([lon, lat], axis=1), DECIMALS).tolist())
        if lines:
            geometry = {"type": "MultiLineString", "coordinates": lines}
            said = {**properties, "mode": name, "cn_db": level}
            features.append({"type": "Feature", "properties": said, "geometry": geometry})
    for name, kind, place in points:
        where = [round(place.longitude_deg, DECIMALS), round(place.latitude_deg, DECIMALS)]
        geometry = {"type": "Point", "coordinates": where}
        features.append({"type": "Feature", "properties": {"name": name, "kind": kind}, "geometry": geometry})
    return json.dumps({"type": "FeatureCollection", "features": features}, allow_nan=False) + "\n"

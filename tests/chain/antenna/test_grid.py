"""The transverse Mercator grid against PROJ."""

import numpy as np
import pytest

from tepui.chain.antenna.geodesic import way_between
from tepui.chain.antenna.grid import from_grid, scale_at, to_grid, zone_of
from tepui.chain.antenna.places import Place
from tepui.ground.errors import RangeError

warp = pytest.importorskip("rasterio.warp")


# PROJ through rasterio, to a millimetre, both hemispheres and up to 4 degrees from the meridian.
@pytest.mark.parametrize(("lat", "lon"), [(52.2, 4.3), (-33.5, -70.6), (0.0, 0.0), (69.0, 19.9), (-4.2, -31.1)])
def test_tool_proj_gives_the_same_grid(lat, lon):
    zone = zone_of(latitude_deg=lat, longitude_deg=lon)
    rng = np.random.default_rng(5)
    lats, lons = lat + rng.uniform(-1, 1, 20), lon + rng.uniform(-1.5, 1.5, 20)
    east, north = to_grid(zone, lats, lons)
    theirs = warp.transform("EPSG:4326", f"EPSG:{zone.epsg}", lons, lats)
    assert east == pytest.approx(np.array(theirs[0]), abs=1e-3)
    assert north == pytest.approx(np.array(theirs[1]), abs=1e-3)
    back_lat, back_lon = from_grid(zone, east, north)
    assert back_lat == pytest.approx(lats, abs=1e-9)
    assert back_lon == pytest.approx(lons, abs=1e-9)


def test_law_the_scale_is_that_of_lengths():
    zone = zone_of(latitude_deg=47.0, longitude_deg=11.0)
    for lon in (9.0, 10.3, 11.8):
        a = Place(latitude_deg=47.0, longitude_deg=lon, text="a")
        b = Place(latitude_deg=47.01, longitude_deg=lon, text="b")
        east, north = to_grid(zone, np.array([47.0, 47.01]), np.array([lon, lon]))
        length = float(np.hypot(np.diff(east), np.diff(north))[0])
        assert length / way_between(a, b).distance.value == pytest.approx(scale_at(float(east[0])), abs=2e-6)


def test_the_poles_are_refused():
    with pytest.raises(RangeError, match="latitude of a map must lie between -80 and 84"):
        zone_of(latitude_deg=88.0, longitude_deg=0.0)

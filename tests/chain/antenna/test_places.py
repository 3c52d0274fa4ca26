"""Locators, coordinates and geodesics."""

import pytest

from tepui.chain.antenna.geodesic import magnetic_bearing_deg, place_at, points_between, way_between
from tepui.chain.antenna.places import Place, locator_of, parse_place, place_from_locator
from tepui.ground.errors import InputError


# Own arithmetic from the published grid: HI = -40 E, -10 N; 45 = 8 and 5 degrees on; kt = 50' and 47.5' on.
def test_limit_middle_of_a_locator():
    place = place_from_locator("HI45kt")
    assert place.longitude_deg == pytest.approx(-40 + 8 + 10.5 / 12)
    assert place.latitude_deg == pytest.approx(-10 + 5 + 19.5 / 24)
    assert (place.box_lon_deg, place.box_lat_deg) == pytest.approx((1 / 12, 1 / 24))


@pytest.mark.parametrize("text", ["HI45", "hi45KT", "HI45kt07", "HI45kt07ax"])
def test_law_a_locator_is_found_again_from_its_middle(text):
    place = place_from_locator(text)
    assert locator_of(place, characters=len(text)).lower() == text.lower()
    assert place.box_lat_deg == pytest.approx(place.box_lon_deg / 2)


@pytest.mark.parametrize(
    "text",
    ["52.2083333, 4.3", "52.2083333 4.3", "52°12'30\"N 4°18'0\"E", "52 12 30 N, 4 18 0 E", "52:12:30N 4:18:00E",
     "52.2083333 N 4.3 E", "52°12.5'N 4°18'E"],
)  # fmt: skip
def test_limit_ways_of_writing_one_place(text):
    place = parse_place(text)
    assert (place.latitude_deg, place.longitude_deg) == pytest.approx((52.2083333, 4.3), abs=1e-6)
    assert place.box_lat_deg == 0.0


def test_limit_south_and_west_are_negative():
    place = parse_place("33°30'0\"S 70°36'0\"W")
    assert (place.latitude_deg, place.longitude_deg) == pytest.approx((-33.5, -70.6))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("ZZ99", "character 1 must be A to R, not Z"),
        ("HI4", "4, 6, 8 or 10 characters, not 3"),
        ("HI45zz", "character 5 must be A to X, not z"),
        ("HIxxkt", "character 3 must be 0 to 9, not x"),
        ("95, 4", "latitude must lie between -90 and 90 degrees, not 95"),
        ("52, 181", "longitude must lie between -180 and 180"),
        ("52°72'N 4°E", "is no place"),
        ("52°72'30\"N 4°18'0\"E", "minutes and seconds run from 0 to below 60, not 72"),
        ("somewhere", "is no locator"),
        ("52,2083", "is no place"),
        ("", "is no place: write a locator"),
    ],
)
def test_what_is_no_place_is_refused(text, sentence):
    with pytest.raises(InputError, match=sentence):
        parse_place(text)


# Geodesic worked by the library's own documented example: JFK 40.6 -73.8 to LHR 51.6 -0.5, 5551.759 km.
def test_tool_documented_geodesic():
    way = way_between(
        Place(latitude_deg=40.6, longitude_deg=-73.8, text="a"), Place(latitude_deg=51.6, longitude_deg=-0.5, text="b")
    )
    assert way.distance.value == pytest.approx(5551.759e3, abs=1.0)
    assert way.distance.std == 0.0


# Scenario of two stations, 1 %: 46.26 km, 53.1 degrees out, 233.0 back; each box leaves a few kilometres.
def test_limit_way_between_two_locators():
    way = way_between(parse_place("HI45kt"), parse_place("HI46ob"))
    assert way.distance.value == pytest.approx(46.26e3, rel=0.01)
    assert way.bearing_out.value == pytest.approx(53.1, rel=0.01)
    assert way.bearing_back.value == pytest.approx(233.0, rel=0.01)
    assert 3e3 < way.distance.std < 4e3


# Monte Carlo over both boxes gives the spread that the formula states.
def test_law_the_box_spreads_as_its_uniform_distribution():
    import numpy as np

    start, end = parse_place("HI45kt"), parse_place("HI46ob")
    rng = np.random.default_rng(7)

    def anywhere(place):
        return Place(
            latitude_deg=place.latitude_deg + place.box_lat_deg * (rng.random() - 0.5),
            longitude_deg=place.longitude_deg + place.box_lon_deg * (rng.random() - 0.5),
            text="x",
        )

    ways = [way_between(anywhere(start), anywhere(end)) for _ in range(400)]
    stated = way_between(start, end)
    assert np.std([way.distance.value for way in ways]) == pytest.approx(stated.distance.std, rel=0.12)
    assert np.std([way.bearing_out.value for way in ways]) == pytest.approx(stated.bearing_out.std, rel=0.12)


def test_one_place_twice_is_refused():
    with pytest.raises(InputError, match="are the same place; a path needs two"):
        way_between(parse_place("HI45kt"), parse_place("hi45kt"))


def test_law_points_lie_on_the_way():
    start, end = parse_place("52, 4"), parse_place("52.3, 4.6")
    distance_m, lat, lon = points_between(start, end, n=5)
    assert (lat[0], lon[0], lat[-1], lon[-1]) == pytest.approx((52, 4, 52.3, 4.6))
    there = place_at(start, bearing_deg=way_between(start, end).bearing_out.value, distance_m=float(distance_m[2]))
    assert (there.latitude_deg, there.longitude_deg) == pytest.approx((lat[2], lon[2]))


def test_limit_east_declination_makes_the_compass_show_less():
    assert magnetic_bearing_deg(2.0, declination_deg=5.0) == 357.0

"""Where the ends are and what stands between them: distance, bearings, clearance, obstacle, the height that clears."""

from typing import Any

import numpy as np

from tepui.chain.antenna.geodesic import magnetic_bearing_deg
from tepui.chain.propagation.edges import radio_horizon_m, rise_of_one_m, rise_to_clear_m
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding, Table
from tepui.jobs.path_question import PathQuestion
from tepui.jobs.statements import estimated, exact, unknown

GEODESIC = "Karney 2013 (WGS84)"
VIEW = "[P.526-15] 4.1; 0.6 of the first Fresnel zone [P.530], from memory"
TABLE_ROWS = 500
PICTURE_ROWS, PICTURE_LEAST = 2000, 200


def geometry_findings(question: PathQuestion) -> list[Finding]:
    """Distance, bearings, and the view of the profile."""
    about = f"path:{question.name}"
    return [*_way(about, question), *_view(about, question)]


def _way(about: str, question: PathQuestion) -> list[Finding]:
    way = question.way
    if way is None:
        length = question.case.profile.length_m
        return [exact(about, "distance_m", length, "m", source=question.case.profile.source, standing="given")]
    boxes = (
        f"The locators' boxes alone leave ± {way.distance.std / 1e3:.1f} km (standard uncertainty)."
        if way.distance.std
        else ""
    )
    found = [
        estimated(about, "distance_m", way.distance, "m", source=GEODESIC, standing="computed", least=0.0, remark=boxes)
    ]
    if way.distance.std:
        found.append(exact(about, "locator_doubt_m", way.distance.std, "m", source="[GUM] 4.3.7", standing="computed",
                           remark="Standard uncertainty of the distance from the boxes of the locators."))  # fmt: skip
    for key, bearing in (("bearing_out_deg", way.bearing_out), ("bearing_back_deg", way.bearing_back)):
        found.append(estimated(about, key, bearing, "°", source=GEODESIC, standing="computed", remark="True."))
        if question.declination_deg is not None:
            compass = magnetic_bearing_deg(bearing.value, declination_deg=question.declination_deg)
            turned = Estimate(value=compass, std=bearing.std, contributions=bearing.contributions)
            name = key.replace("bearing", "bearing_magnetic")
            remark = f"Declination {question.declination_deg:g}° as given, east positive."
            found.append(estimated(about, name, turned, "°", source=GEODESIC, standing="computed", remark=remark))
    return found


def _view(about: str, question: PathQuestion) -> list[Finding]:
    view, case = question.view, question.case
    worst = view.worst
    radius_m = 1e3 * case.median_radius_km
    visible = Finding(about=about, key="path_visible", value=view.visible, standing="computed", source=VIEW)
    horizon = radio_horizon_m(case.tx_height_m, earth_radius_m=radius_m) + radio_horizon_m(
        case.rx_height_m, earth_radius_m=radius_m
    )
    numbers = (
        ("fresnel_clearance", view.clearance_share, "1", "Least room below the line over the first Fresnel radius."),
        ("obstacle_distance_m", float(view.distance_m[worst]), "m", "Where the profile stands most in the way."),
        ("obstacle_height_m", view.obstacle_m, "m", "Above the straight line, bulge counted; below zero is free."),
        ("earth_bulge_m", float(view.bulge_m[worst]), "m", "At the obstacle."),
        ("fresnel_radius_m", float(view.fresnel_m[worst]), "m", "First zone, at the obstacle."),
        ("radio_horizon_m", horizon, "m", "Both horizons added, over a smooth Earth."),
        ("clear_rise_m", rise_to_clear_m(view), "m", "Both masts higher by this clear 0.6 of the first zone."),
        ("clear_rise_tx_m", rise_of_one_m(view, at_transmitter=True), "m", "The transmitter's mast alone."),
        ("clear_rise_rx_m", rise_of_one_m(view, at_transmitter=False), "m", "The receiver's mast alone."),
    )
    if len(case.profile.distance_m) == 2:
        remark = "Two points are no profile; give the heights between the ends."
        return [visible, unknown(about, "fresnel_clearance", "1", source=VIEW, remark=remark)]
    return [
        visible,
        *(exact(about, key, value, unit, source=VIEW, standing="computed", remark=text) for key, value, unit, text in
          numbers),
    ]  # fmt: skip


def profile_picture(question: PathQuestion, finding: Finding) -> dict[str, Any]:
    """The profile as the drawing takes it; ``finding`` stands beside it."""
    view, case = question.view, question.case
    n, length_m = len(view.distance_m), case.profile.length_m
    places = sorted({*range(0, n, -(-n // PICTURE_ROWS)), n - 1, view.worst})
    worst_m = view.distance_m[view.worst]
    at_m = np.unique(np.concatenate([view.distance_m[places], np.linspace(0.0, length_m, PICTURE_LEAST)]))
    share = at_m * (length_m - at_m) / (worst_m * (length_m - worst_m))  # of what bulge and zone are at the obstacle
    above = "above the line" if view.obstacle_m >= 0 else "below the line"
    both, one, other = (
        rise_to_clear_m(view),
        rise_of_one_m(view, at_transmitter=True),
        rise_of_one_m(view, at_transmitter=False),
    )
    lines = [
        f"obstacle {abs(view.obstacle_m):.0f} m {above},",
        f"at {view.distance_m[view.worst] / 1e3:.1f} km; clearance {view.clearance_share:.2f}",
        "of the first Fresnel zone",
    ]
    lines += (
        ["nothing need be raised"]
        if both == 0
        else [f"clear with both masts {both:.0f} m higher,", f"or {one:.0f} m here alone, {other:.0f} m there"]
    )
    return {
        "distance_m": at_m,
        "ground_m": np.interp(at_m, view.distance_m, view.ground_m),
        "bulge_m": share * view.bulge_m[view.worst],
        "line_m": np.interp(at_m, view.distance_m, view.line_m),
        "fresnel_m": np.sqrt(share) * view.fresnel_m[view.worst],
        "worst": int(np.searchsorted(at_m, worst_m)),
        "visible": view.visible,
        "name": question.name,
        "ends": (f"{case.tx_height_m:g} m", f"{case.rx_height_m:g} m"),
        "finding": finding,
        "lines": lines,
        "foot": f"{case.frequency_hz / 1e6:g} MHz, {case.model}, Earth radius {case.median_radius_km:.0f} km; "
        f"{case.profile.source}. Heights are drawn many times too large.",
    }


def profile_table(question: PathQuestion) -> Table:
    """The profile as drawn: ground with bulge, line and zone; thinned to 500 points, the obstacle kept."""
    view = question.view
    n = len(view.distance_m)
    step = -(-n // TABLE_ROWS)
    places = sorted({*range(0, n, step), n - 1, view.worst})
    rows = tuple(
        (
            float(view.distance_m[i]),
            float(view.ground_m[i]),
            float(view.bulge_m[i]),
            float(view.line_m[i]),
            float(view.fresnel_m[i]),
        )
        for i in places
    )
    columns = (("distance_m", "m"), ("ground_m", "m"), ("earth_bulge_m", "m"), ("line_m", "m"), ("fresnel_m", "m"))
    return Table(name="path_profile", columns=columns, rows=rows)

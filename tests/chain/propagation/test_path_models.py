"""The three recommendations against their published validation sets, and the laws they must keep."""

import math
from dataclasses import replace

import numpy as np
import pytest

from propagation_cases import p452_cases, p526_cases, p1812_cases
from tepui.chain.propagation import path_kernels as k
from tepui.chain.propagation.models import PathCase, duct_share, path_loss, zones_along
from tepui.ground.errors import InputError
from tepui.signals.terrain import Profile

P526, P1812, P452 = list(p526_cases()), list(p1812_cases()), list(p452_cases())


# ITU-R WP 3K examples of the delta-Bullington method; the set asks 0.01 dB.
@pytest.mark.parametrize(("case", "row"), P526, ids=[row["case"] for _, row in P526])
def test_published_p526_terms(case, row):
    loss = path_loss(case)
    for column, place in (
        ("Lbulla_db", k.BULL_ACTUAL),
        ("Lbulls_db", k.BULL_SMOOTH),
        ("Ldsph_db", k.SPHERICAL),
        ("Ld_db", k.DIFFRACTION_50),
    ):
        assert loss.term(place) == pytest.approx(float(row[column]), abs=0.01), column


# P.1812-8 reference validation set; asked 0.01 dB, printed to ten digits.
P1812_TERMS = {
    "Lbfs": k.FREE, "Lb0p": k.LOS_P, "Lb0beta": k.LOS_B, "Ld50": k.DIFFRACTION_50, "Ldp": k.DIFFRACTION_P,
    "Lba": k.DUCTING, "Lbs": k.SCATTER, "Lbc": k.COMBINED, "Lb_db": k.TOTAL, "hm_m": k.H_M, "hte_m": k.H_TE,
    "hre_m": k.H_RE, "beta0_pct": k.BETA_0, "theta_t_mrad": k.THETA_T, "theta_mrad": k.THETA, "dlt_km": k.D_LT,
    "dlr_km": k.D_LR, "Fi": k.F_I, "Fj": k.F_J, "Fk": k.F_K, "Lbda": k.BDA, "Lbam": k.BAM,
}  # fmt: skip


@pytest.mark.parametrize(("case", "row"), P1812, ids=[row["case"] for _, row in P1812])
def test_published_p1812_terms(case, row):
    loss = path_loss(case)
    for column, place in P1812_TERMS.items():
        assert loss.term(place) == pytest.approx(float(row[column]), abs=1e-5), column
    assert loss.zones.sea_fraction == pytest.approx(float(row["omega"]), abs=1e-9)
    assert loss.zones.land_km == pytest.approx(float(row["dtm_km"]), abs=1e-6)
    assert loss.zones.inland_km == pytest.approx(float(row["dlm_km"]), abs=1e-6)


# P.452-18 reference validation set, 0.1 to 50 GHz, 0.01 to 50 % of time; printed to eight decimals.
P452_TERMS = {
    "Lbfsg": k.FREE, "Lb0p": k.LOS_P, "Lb0b": k.LOS_B, "Ldsph": k.SPHERICAL, "Ld50": k.DIFFRACTION_50,
    "Ldp": k.DIFFRACTION_P, "Lba": k.DUCTING, "Lbs": k.SCATTER, "Lb": k.TOTAL, "b0": k.BETA_0, "hm": k.H_M,
}  # fmt: skip


@pytest.mark.parametrize("name", sorted({row["profile"] for _, row in P452}))
def test_published_p452_terms(name):
    cases = [(case, row) for case, row in P452 if row["profile"] == name]
    assert len(cases) == 35
    for case, row in cases:
        loss = path_loss(case)
        for column, place in P452_TERMS.items():
            assert loss.term(place) == pytest.approx(float(row[column]), abs=1e-3), (column, row["f_GHz"], row["p"])
        assert loss.zones.sea_fraction == pytest.approx(float(row["omega"]), abs=1e-6)


# ITU worksheet value carried in the P.452 reference test set: latitude 50.965, land 34.5 km, inland 6 km.
def test_published_share_of_ducts():
    from tepui.chain.propagation.models import Zones

    zones = Zones(sea_fraction=0.4, land_km=34.5, inland_km=6.0)
    assert duct_share(zones, latitude_deg=50.965)[0] == pytest.approx(3.28273138906244, rel=1e-12)


# [P.526] 3.2: with no ground in the way, two antennas on high masts lose what free space loses, 4 pi d / lambda.
def test_limit_high_masts_over_smooth_earth_are_free():
    case = flat(length_m=10e3, tx_height_m=300, rx_height_m=300)
    loss = path_loss(case)
    assert loss.loss_db == pytest.approx(20 * math.log10(4 * math.pi * 10e3 / (299792458 / 1e9)), abs=1e-9)
    assert loss.term(k.DIFFRACTION_50) == 0.0


def flat(*, length_m=40e3, n=101, model="p526", **changes):
    distance_m = np.linspace(0, length_m, n)
    profile = Profile(distance_m=distance_m, height_m=np.zeros(n), source="smooth Earth")
    parts = {"frequency_hz": 1e9, "tx_height_m": 30.0, "rx_height_m": 30.0, **changes}
    return PathCase(profile=profile, model=model, **parts)


def turned(case):
    profile = case.profile
    clutter_m = None if profile.clutter_m is None else profile.clutter_m[::-1]
    back = Profile(
        distance_m=profile.length_m - profile.distance_m[::-1],
        height_m=profile.height_m[::-1],
        clutter_m=clutter_m,
        zone=None if profile.zone is None else profile.zone[::-1],
        source=profile.source,
    )
    return replace(case, profile=back, tx_height_m=case.rx_height_m, rx_height_m=case.tx_height_m)


# Reciprocity: passive paths lose the same both ways.
@pytest.mark.parametrize("case", [P526[0][0], P526[7][0], flat(), flat(model="p1812"), flat(model="p452")])
def test_law_the_way_back_loses_the_same(case):
    assert path_loss(turned(case)).loss_db == pytest.approx(path_loss(case).loss_db, abs=1e-9)


@pytest.mark.parametrize("model", ["p1812", "p452"])
def test_law_a_rarer_share_of_time_loses_less(model):
    losses = [path_loss(flat(model=model, time_share=share)).loss_db for share in (0.01, 0.05, 0.2, 0.5)]
    assert losses == sorted(losses)
    assert losses[0] < losses[-1]


# Standard normal: 95 % of locations need 1.645 standard deviations more ([P.1812-8] 4.9; 5.5 dB for DTT planning).
def test_published_locations_cost_standard_deviations():
    half = path_loss(flat(model="p1812")).loss_db
    most = path_loss(flat(model="p1812", location_share=0.95)).loss_db
    assert most - half == pytest.approx(1.6449 * 5.5, abs=1e-3)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"frequency_hz": 10e9, "model": "p1812"},
            "frequency must lie between 0.03 and 6 GHz .*, not 10",
        ),
        ({"frequency_hz": 60e9, "model": "p452"}, "between 0.1 and 50 GHz"),
        ({"tx_height_m": 0.0}, "transmit antenna height above ground must be a number above zero in m, not 0"),
        ({"rx_height_m": 0.5, "model": "p1812"}, "between 1 and 3000 m"),
        ({"time_share": 0.6}, "time must lie between .* and 50 %"),
        ({"length_m": 100.0, "model": "p1812"}, "path length must lie between 0.25 and 3000 km"),
        ({"model": "hata"}, "model must be free-space, knife-edge, p526, p1812 or p452"),
        ({"sea_fraction": 1.5}, "sea fraction must lie between 0 and 1"),
        ({"n_0": -1.0}, "N0 must lie between 200 and 450"),
        ({"pressure_hpa": -5.0}, "pressure must lie between 500 and 1100 hPa"),
        ({"temperature_k": 0.0}, "temperature must lie between -60 and 60 degC"),
        ({"coast_tx_m": -1.0}, "distance of the transmitter to the coast must lie between 0"),
    ],
)
def test_outside_the_model_is_refused(changes, sentence):
    with pytest.raises(InputError, match=sentence):
        flat(**changes)


def test_limit_two_points_make_a_path():
    short = flat(length_m=5e3, n=2)
    assert math.isfinite(path_loss(short).loss_db)
    assert zones_along(short).land_km == 5.0

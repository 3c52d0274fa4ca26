"""Ladder elements, couplings and the coupled-resonator response against printed tables and worked figures."""

import math

import numpy as np
import pytest

from tepui.chain.filters.coupled import BandpassDesign, loss_db, scattering
from tepui.chain.filters.ladder import (
    couplings,
    external_q,
    ideal_loss_db,
    ladder_values,
    midband_loss_db,
    width_ratio_3db,
)
from tepui.ground.errors import RangeError
from tepui.tables.load import load_table

LADDERS = [row for row in load_table("chebyshev_g") if int(row["n"]) <= 9]
COUPLINGS = list(load_table("kq_values"))


# Matthaei, Young, Jones 1964, table 4.05-2 (values in table chebyshev_g; four digits).
@pytest.mark.parametrize("row", LADDERS, ids=lambda row: f"{row['ripple_db_0_is_butterworth']} dB n={row['n']}")
def test_published_ladder_elements(row):
    n = int(row["n"])
    found = ladder_values(n_poles=n, ripple_db=float(row["ripple_db_0_is_butterworth"]))
    printed = [float(row[f"g{k}"]) for k in range(n + 2)]
    assert found == pytest.approx(printed, abs=1.01e-4)


# Two published rod filters and the 3 dB form of Zverev (table kq_values).
@pytest.mark.parametrize("row", COUPLINGS, ids=lambda row: f"{row['ripple_db_0_is_butterworth']} dB n={row['n']}")
def test_published_normalised_couplings(row):
    n, ripple = int(row["n"]), float(row["ripple_db_0_is_butterworth"])
    g = ladder_values(n_poles=n, ripple_db=ripple)
    ratio = width_ratio_3db(n_poles=n, ripple_db=ripple)
    assert ratio == pytest.approx(float(row["w3db_over_wripple"]), abs=2e-5)
    assert external_q(g, fraction=1.0)[0] == pytest.approx(float(row["q1_ripple"]), abs=1e-4)
    assert external_q(g, fraction=1.0)[0] * ratio == pytest.approx(float(row["q1_3db"]), abs=1.5e-4)
    normalised = couplings(g, fraction=1.0)
    for k, value in enumerate(normalised, start=1):
        printed = row.get(f"k{k}{k + 1}_ripple", "")
        if printed:
            assert value == pytest.approx(float(printed), abs=1e-4)


# Scenario of a 2346 MHz filter of 40 MHz, 0.1 dB, Q 1200: Qe 60.5, k12 0.0157, loss 0.68 dB, 100 and 87 dB.
def test_published_scenario_of_the_13_cm_filter():
    design = BandpassDesign(centre_hz=2346e6, width_hz=40e6, n_poles=3, ripple_db=0.1, unloaded_q=1200)
    assert external_q(design.elements, fraction=design.fraction)[0] == pytest.approx(60.5, abs=0.05)
    assert couplings(design.elements, fraction=design.fraction)[0] == pytest.approx(0.0157, abs=5e-5)
    assert design.midband_loss_db == pytest.approx(0.68, abs=0.005)
    assert loss_db(design, [1488e6, 1768e6]) == pytest.approx([100, 87], abs=0.5)


# Coupling-matrix figures after Hong and Lancaster 2001, computed independently: 1262 MHz, 20 MHz, 0.1 dB, three poles.
def test_published_coupled_resonators_without_loss():
    design = BandpassDesign(centre_hz=1262e6, width_hz=20e6, n_poles=3, ripple_db=0.1, unloaded_q=1e5)
    through, back = scattering(design, [1257e6, 1267e6, 1242e6, 1222e6])
    assert 20 * np.log10(np.abs(through))[2:] == pytest.approx([-12.47, -31.86], abs=0.006)
    assert 20 * np.log10(np.abs(back))[:2] == pytest.approx([-16.43, -16.43], abs=0.01)


# Same filter with Q 1500: Cohn 0.5866 dB, coupling matrix 0.585 dB (independent computation).
def test_published_midband_loss():
    design = BandpassDesign(centre_hz=1262e6, width_hz=20e6, n_poles=3, ripple_db=0.1, unloaded_q=1500)
    assert midband_loss_db(design.elements, fraction=design.fraction, unloaded_q=1500) == pytest.approx(
        0.5866, abs=1e-4
    )
    assert loss_db(design, [1262e6])[0] == pytest.approx(0.585, abs=5e-4)


def test_law_closed_form_and_coupled_resonators_agree_without_loss():
    # Coupling inverters are frequency-independent, so both are exact for a narrow band.
    design = BandpassDesign(centre_hz=1e9, width_hz=1e7, n_poles=5, ripple_db=0.2, unloaded_q=1e5)
    frequency = np.linspace(0.95e9, 1.05e9, 41)
    closed = ideal_loss_db(frequency / 1e9 - 1e9 / frequency, n_poles=5, ripple_db=0.2, fraction=design.fraction)
    far = closed > 1.0
    assert loss_db(design, frequency)[far] == pytest.approx(closed[far], abs=0.05)


def test_law_energy_does_not_grow():
    design = BandpassDesign(centre_hz=1e9, width_hz=2e7, n_poles=4, ripple_db=0.5, unloaded_q=500)
    through, back = scattering(design, np.linspace(0.9e9, 1.1e9, 201))
    assert np.all(np.abs(through) ** 2 + np.abs(back) ** 2 <= 1 + 1e-12)


def test_limit_width_at_the_3_db_points():
    design = BandpassDesign(centre_hz=1e9, width_hz=1e7, n_poles=3, ripple_db=0.1, unloaded_q=1e5, width_at="3 dB")
    edge = 0.5e7 + math.sqrt(1e18 + 0.25e14) - 1e9  # f/f0 - f0/f = w at the upper edge
    assert loss_db(design, [1e9 + edge])[0] == pytest.approx(3.01, abs=0.05)


def test_a_width_beyond_the_centre_is_refused():
    with pytest.raises(RangeError, match=r"The filter's width, 2000 MHz, must be below its centre, 1000 MHz\."):
        BandpassDesign(centre_hz=1e9, width_hz=2e9, n_poles=3, ripple_db=0.1, unloaded_q=1000)

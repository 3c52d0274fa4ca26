"""Attenuation of air against the published examples of P.676-13."""

import pytest

from tepui.chain.propagation.gases import gas_attenuation_db_km
from tepui.ground.errors import RangeError
from tepui.tables.load import load_table


# ITU-R validation examples for P.676-13 annex 1 (table p676_gamma), dry air and water vapour apart.
@pytest.mark.parametrize("row", list(load_table("p676_gamma")), ids=lambda row: row["f_ghz"])
def test_published_specific_attenuation(row):
    dry, wet = gas_attenuation_db_km(frequency_hz=float(row["f_ghz"]) * 1e9)
    assert dry == pytest.approx(float(row["gamma_oxygen_db_km"]), rel=1e-9)
    assert wet == pytest.approx(float(row["gamma_water_db_km"]), rel=1e-9)


def test_law_no_vapour_no_loss_by_it():
    assert gas_attenuation_db_km(frequency_hz=22e9, vapour_g_m3=0.0)[1] == 0.0


def test_outside_the_source_is_refused():
    with pytest.raises(RangeError, match=r"between 0\.03 and 350 GHz"):
        gas_attenuation_db_km(frequency_hz=400e9)

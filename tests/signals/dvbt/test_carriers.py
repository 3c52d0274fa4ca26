"""Pilot, TPS and data positions, and what the pilots carry."""

import numpy as np
import pytest
from scipy.signal import max_len_seq

from tepui.ground.errors import ChoiceError
from tepui.signals.dvbt.carriers import (
    continual_carriers,
    data_carriers,
    pilot_carriers,
    pilot_values,
    reference_sequence,
    scattered_carriers,
    tps_carriers,
)
from tepui.tables.load import load_table

SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}


# [EN300744] 4.4 Table 4 (table dvbt_ofdm): K, data, continual, TPS and scattered counts a symbol.
@pytest.mark.parametrize("name", ["2K", "4K", "8K"])
def test_published_counts(name):
    n_fft = SIZES[name]
    row = next(row for row in load_table("dvbt_ofdm") if row["mode"] == name)
    assert len(continual_carriers(n_fft)) == int(row["continual_pilots"])
    assert len(tps_carriers(n_fft)) == int(row["tps_carriers"])
    assert len(reference_sequence(n_fft)) == int(row["carriers_K"])
    for phase in range(4):
        assert len(data_carriers(n_fft, phase)) == int(row["data_carriers"])
        alone = len(pilot_carriers(n_fft, phase)) - len(continual_carriers(n_fft))
        assert alone == int(row["scattered_pilots_not_coincident_per_symbol"])


@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
@pytest.mark.parametrize("phase", range(4))
def test_law_every_carrier_has_one_use(n_fft, phase):
    used = np.concatenate([data_carriers(n_fft, phase), pilot_carriers(n_fft, phase), tps_carriers(n_fft)])
    assert np.array_equal(np.sort(used), np.arange(len(reference_sequence(n_fft))))
    for positions in (data_carriers(n_fft, phase), pilot_carriers(n_fft, phase), tps_carriers(n_fft)):
        assert np.all(np.diff(positions) > 0)


# [EN300744] 4.5.3: k = 3 (l mod 4) + 12 p, worked by hand for 2K.
def test_published_scattered_positions():
    assert scattered_carriers(2048, 1)[:3].tolist() == [3, 15, 27]
    assert scattered_carriers(2048, 0)[-1] == 1704
    assert scattered_carriers(2048, 3)[-1] == 1701


# [EN300744] 4.5.2 prints the beginning of the sequence.
def test_published_start_of_the_reference_sequence():
    assert "".join(map(str, reference_sequence(2048)[:13])) == "1111111111100"


# scipy 1.17 signal.max_len_seq, the generator X^11 + X^2 + 1 over its whole period.
def test_tool_reference_sequence():
    period = max_len_seq(11, state=np.ones(11, np.int8), taps=[2])[0]
    assert len(period) == 2047
    assert np.array_equal(reference_sequence(8192), np.resize(period, 6817))


# [EN300744] 4.5.2 and 4.5.3: Re = 4/3 x 2 (1/2 - w_k); w_0 = 1.
def test_published_pilot_values():
    values = pilot_values(2048)
    assert values[0] == pytest.approx(-4 / 3)
    assert values[11] == pytest.approx(4 / 3)
    assert np.allclose(np.abs(values), 4 / 3)


def test_law_arrays_are_shared_and_read_only():
    for array in (data_carriers(2048, 0), pilot_carriers(2048, 0), pilot_values(2048), reference_sequence(2048),
                  continual_carriers(2048), tps_carriers(2048), scattered_carriers(2048, 0)):  # fmt: skip
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1
    assert data_carriers(2048, 0) is data_carriers(2048, 0)


def test_an_unknown_size_or_phase_is_refused():
    with pytest.raises(ChoiceError, match="n_fft must be 2048, 4096 or 8192"):
        continual_carriers(1024)
    with pytest.raises(ChoiceError, match="phase must be 0, 1, 2 or 3"):
        data_carriers(2048, 4)

import numpy as np
import pytest
from evidence_signals import shaped_noise

from tepui.evidence.floor import Floor
from tepui.evidence.masks import compare_with_mask, published_mask
from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.mask import Mask
from tepui.signals.spectrum import spectrum_of_recording

WIDTH_HZ = 6.656e6


def spectrum_of(density, resolution_hz=4e3, n=600_000, seed=1):
    return spectrum_of_recording(
        shaped_noise(density, n=n, rate_hz=16e6, seed=seed),
        resolution_bandwidth_hz=resolution_hz,
        window="blackman-harris",
        overlap=0.75,
    )


def boxed(outside_db):
    def density(frequency_hz):
        return np.where(np.abs(frequency_hz) <= WIDTH_HZ / 2, 1e-9, 1e-9 * 10 ** (outside_db / 10))

    return density


def level_mask(level_db, convention):
    return Mask(
        name="level",
        offset_hz=[-8e6, 8e6],
        level_db=[level_db] * 2,
        convention=convention,
        bandwidth_hz=4e3,
        source="test",
    )


def compared(spectrum, mask, floor=None):
    return compare_with_mask(spectrum, mask, centre_offset_hz=0.0, occupied_width_hz=WIDTH_HZ, floor=floor)


# EN 302 296 V1.1.1 (table dvbt_masks, source in its rows): 8 MHz non-critical, -73 dBc in 4 kHz at 4.2 MHz;
# below 25 W the same in absolute levels, which at 44 dBm = 25 W is the same mask.
def test_published_masks():
    mask = published_mask("EN302296_noncritical_ge25W", channel_width_hz=8e6)
    assert float(mask.limit_db(4.2e6)) == -73
    assert float(mask.limit_db(-12e6)) == -110
    assert (mask.convention, mask.bandwidth_hz) == ("total_power", 4e3)
    small = published_mask("EN302296_noncritical_lt25W", channel_width_hz=8e6, power_dbm=44.0)
    assert small.level_db == pytest.approx(mask.level_db, abs=0.01)
    assert float(published_mask("EN300744_adjacent_analogue_G_PAL", channel_width_hz=8e6).limit_db(-4.94e6)) == -69.9


# Solved by hand: a flat 6.656 MHz channel holds 10 lg(6656 / 4) = 32.21 dB more power than 4 kHz of it, so a plateau
# 50 dB below the density stands at -82.21 dB of the total power and at -50 dB of the trace's highest value.
def test_limit_the_two_conventions_stand_32_db_apart():
    spectrum = spectrum_of(boxed(-50.0))
    total = compared(spectrum, level_mask(-80.0, "total_power"))
    trace = compared(spectrum, level_mask(-40.0, "trace_maximum"))
    assert total.margin_db.value == pytest.approx(2.21, abs=4 * total.margin_db.std)
    assert total.margin_db.low <= 2.21 <= total.margin_db.high
    assert trace.margin_db.value == pytest.approx(10.0, abs=1.5)
    assert total.level_db == pytest.approx(total.limit_db - total.margin_db.value)
    assert WIDTH_HZ / 2 < abs(total.offset_hz) <= total.compared_hz <= 8e6


def test_limit_a_finer_spectrum_counts_the_same_power():
    fine = compared(spectrum_of(boxed(-50.0), resolution_hz=1e3), level_mask(-80.0, "total_power"))
    assert fine.margin_db.low <= 2.21 <= fine.margin_db.high


def test_law_where_the_floor_limits_it_is_said():
    floor = Floor(density=1e-14, std=1e-16, at_most=False, method="known")
    spectrum = spectrum_of(boxed(-50.0))
    assert compared(spectrum, level_mask(-90.0, "total_power"), floor).floor_limited
    assert not compared(
        spectrum, level_mask(-70.0, "total_power"), Floor(density=1e-16, std=1e-18, at_most=False, method="known")
    ).floor_limited


def test_messages():
    with pytest.raises(ChoiceError, match=r"no mask GE06_noncritical for a channel of 2 MHz"):
        published_mask("GE06_noncritical", channel_width_hz=2e6)
    with pytest.raises(RangeError, match="give the mean output power"):
        published_mask("EN302296_critical_lt25W", channel_width_hz=8e6)
    with pytest.raises(RangeError, match="counts power in 4000 Hz"):
        compared(spectrum_of(boxed(-50.0), resolution_hz=20e3), level_mask(-80.0, "total_power"))
    near = Mask(
        name="near", offset_hz=[-1e6, 1e6], level_db=[0, 0], convention="total_power", bandwidth_hz=4e3, source="t"
    )
    with pytest.raises(RangeError, match="nothing outside the channel to hold against the mask near"):
        compared(spectrum_of(boxed(-50.0)), near)

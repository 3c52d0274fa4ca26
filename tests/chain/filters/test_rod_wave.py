import numpy as np
import pytest

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_box import RodBox
from tepui.chain.filters.rod_design import design_rods
from tepui.chain.filters.rod_screws import reentrant_hz
from tepui.chain.filters.rod_wave import wave_factors
from tepui.ground.errors import RangeError


def pair(*, structure="interdigital", spacing_m, length_m, gap_m=7.2e-3, plates_m=25e-3, diameter_m=8e-3):
    return RodBox(
        structure=structure, diameter_m=diameter_m, plates_m=plates_m, spacings_m=[spacing_m], wall_m=18.75e-3,
        length_m=length_m, gap_m=gap_m, taps_m=(3e-3, 3e-3), load_f=np.full(2, 0.33e-12), unloaded_q=1e6,
    )  # fmt: skip


# benchmarks/check_filter_fields.py (fields on a grid): couplings of boxes drawn by the TEM model alone, over
# those of that model, at the frequency of the field's own pass band (cells of 1.1, 0.75 and 1.1 mm). We hold 6 %.
@pytest.mark.parametrize(
    ("box", "frequency_hz", "field"),
    [
        (pair(spacing_m=34.78e-3, length_m=50.04e-3), 1268e6, 1.060),
        (pair(spacing_m=32.72e-3, length_m=25.73e-3), 2256e6, 1.244),
        (pair(structure="combline", spacing_m=29.06e-3, length_m=49.75e-3), 1276e6, 0.666 * 2.12),
    ],
    ids=("1296 MHz", "2320 MHz", "combline"),
)
def test_tool_couplings_of_fields_on_a_grid(box, frequency_hz, field):
    assert wave_factors(box, np.array([frequency_hz]))[0, 0] == pytest.approx(field, rel=0.06)


# Plates near against the wave: only the TEM field goes from rod to rod.
def test_limit_near_plates_leave_the_tem_field():
    small = pair(spacing_m=2.5e-3, length_m=55e-3, gap_m=1e-3, plates_m=2e-3, diameter_m=0.6e-3)
    assert wave_factors(small, np.array([1296e6]))[0, 0] == pytest.approx(1, abs=0.01)


# Three quarters of a wave on a bare rod; loaded, the odd resonances move apart.
def test_law_the_next_pass_band_lies_near_three_times_the_centre():
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    for structure in ("interdigital", "combline"):
        made = design_rods(goal, structure=structure, diameter_m=8e-3, plates_m=25e-3, unloaded_q=1e7)
        assert 3.0 < reentrant_hz(made.box) / goal.centre_hz < 3.6
        assert made.box.length_m < 0.92 * 57.8e-3
        low, high = made.reach_hz
        assert low < goal.centre_hz - 2 * made.centre_std_hz
        assert high > goal.centre_hz + 2 * made.centre_std_hz


def test_comb_line_near_a_quarter_wave_is_refused():
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    with pytest.raises(RangeError, match="couplings of comb-line rods cancel"):
        design_rods(goal, structure="combline", diameter_m=8e-3, plates_m=25e-3, unloaded_q=1e7, angle_deg=88.0)

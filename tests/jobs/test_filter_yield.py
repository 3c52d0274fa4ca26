import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering
from tepui.chain.filters.rod_design import design_rods
from tepui.chain.filters.yield_kernels import worst_in_band
from tepui.jobs.filter_yield import drawn_parameters, extracted_parameters, share_meeting, yield_slopes


def test_law_the_kernel_is_the_chain_matrix():
    rng = np.random.default_rng(4)
    for n in (2, 3, 5, 7):
        w, qu = 0.02, 900.0
        goal = FilterGoal(centre_hz=1e9, width_hz=w * 1e9, poles=n, ripple_db=0.1)
        shift = rng.uniform(-0.3, 0.3, (1, n))
        place = np.linspace(-1, 1, 41)
        f = goal.centre_hz * (place * w / 2 + np.sqrt(1 + (place * w / 2) ** 2))
        made = CoupledFilter(
            resonator_hz=goal.centre_hz * (1 + shift[0] * w), couplings=goal.couplings, q_first=goal.external_q,
            q_last=1.2 * goal.external_q, unloaded_q=qu,
        )  # fmt: skip
        s = np.abs(coupled_scattering(made, f)) ** 2
        out = np.zeros((1, 2), np.float32)
        load = np.array([[1 / goal.external_q, 1 / 1.2 / goal.external_q]], np.float32) / np.float32(w)
        coupling = np.ascontiguousarray(goal.couplings[None, :] / w, np.float32)
        worst_in_band(shift.astype(np.float32), coupling, load, np.float32(1 / qu / w), place.astype(np.float32), out)
        assert abs(10 * np.log10(out[0, 0] / s[:, 1, 0].min())) < 0.1  # a resonator off by 0.3 w is 0.6 % off in f/f_i
        assert abs(out[0, 1] - s[:, 0, 0].max()) < 0.02


def test_law_slopes_stand_for_full_analyses_of_the_dimensions():
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    design = design_rods(goal, structure="interdigital", diameter_m=8e-3, plates_m=25e-3, unloaded_q=1200)
    slopes = yield_slopes(design, drilling_m=0.1e-3)
    box = design.box
    rng = np.random.default_rng(2)
    for _ in range(8):
        by_name = dict(zip(slopes.names, rng.standard_normal(len(slopes.names)) * slopes.tolerance_m / 2, strict=True))
        centres = box.centres_m + [by_name[f"position {n}"] for n in (1, 2, 3)]
        moved = box.changed(
            spacings_m=np.diff(centres), wall_m=float(centres[0]), diameter_m=box.diameter_m + by_name["diameter"],
            plates_m=box.plates_m + by_name["plates"],
            taps_m=(box.taps_m[0] + by_name["tap 1"], box.taps_m[1] + by_name["tap 2"]),
        )  # fmt: skip
        parts = np.array([0.0 if name.startswith("length") else by_name[name] for name in slopes.names])
        linear = slopes.centre + parts @ slopes.slope
        full = extracted_parameters(design, moved)
        assert np.abs(linear[:3] - full[:3]).max() < 0.01  # of the width
        assert np.abs(linear[3:] - full[3:]).max() < 0.01


def test_law_screws_mend_frequencies_and_only_these():
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    design = design_rods(goal, structure="interdigital", diameter_m=8e-3, plates_m=25e-3, unloaded_q=1200)
    coarse = drawn_parameters(yield_slopes(design, drilling_m=0.3e-3), 2000)
    before, after = (share_meeting(design, coarse, tuned=tuned) for tuned in (False, True))
    assert before < after
    assert after > 0.9
    assert share_meeting(design, coarse, tuned=True, workers=1) == after

import numpy as np
import pytest

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering
from tepui.evidence.filter_model import Sweep
from tepui.evidence.filter_scalar import mirrored, scalar_fit

WIDTH = 30e6


def traced(rng, poles, *, backwards=False):
    """|S21| of a detuned filter with 0.05 dB of scatter and a floor near -54 dB, and its shifts over the width."""
    goal = FilterGoal(centre_hz=1296e6, width_hz=WIDTH, poles=poles, ripple_db=0.1)
    shift = rng.uniform(-0.25, 0.25, poles)
    couplings = goal.couplings * rng.uniform(0.9, 1.1, poles - 1)
    loads = goal.external_q * rng.uniform(0.9, 1.1, 2)
    step = -1 if backwards else 1
    made = CoupledFilter(
        resonator_hz=1296e6 + shift[::step] * WIDTH, couplings=couplings[::step], q_first=loads[::step][0],
        q_last=loads[::step][1], unloaded_q=1000.0,
    )  # fmt: skip
    f = np.linspace(1236e6, 1356e6, 201)
    s21 = np.abs(coupled_scattering(made, f)[:, 1, 0]) * 10 ** (0.05 * rng.standard_normal(201) / 20)
    s21 = np.abs(s21 + 2e-3 * (rng.standard_normal(201) + 1j * rng.standard_normal(201)))
    return Sweep(frequency_hz=f, rows={"s21": s21 + 0j}, centre_hz=1296e6, width_hz=WIDTH), goal, shift


@pytest.mark.parametrize("poles", [2, 3, 4])
def test_law_the_true_rods_or_their_mirror_image_lie_inside(poles):
    rng = np.random.default_rng(7)
    for _ in range(4):
        sweep, goal, shift = traced(rng, poles)
        fit = scalar_fit(sweep, goal, unloaded_q=1000.0)
        assert fit.trusted
        low, high = np.array([fit.interval(place)[1:] for place in range(poles)]).T
        inside = [((low <= one) & (one <= high)).all() for one in (shift, shift[::-1])]
        assert any(inside)


# The size of S21 is that of the filter seen from its other port.
def test_law_a_filter_and_its_mirror_image_are_one_answer():
    answers = []
    for backwards in (False, True):
        sweep, goal, _ = traced(np.random.default_rng(3), 3, backwards=backwards)
        answers.append(scalar_fit(sweep, goal, unloaded_q=1000.0).solutions[0])
    one, two = answers
    apart = min(np.abs(one - two).max(), np.abs(one - mirrored(two, 3)).max())
    assert apart < 0.03


def test_law_a_wrong_unloaded_q_is_noticed():
    sweep, goal, _ = traced(np.random.default_rng(5), 3)
    assert not scalar_fit(sweep, goal, unloaded_q=150.0).trusted

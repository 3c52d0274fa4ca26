import numpy as np
import pytest

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering, tuned
from tepui.evidence.filter_extraction import extract
from tepui.evidence.filter_model import Model, Sweep
from tepui.ground.errors import RangeError

NOISE = 10 ** (-50 / 20)


def detuned(rng, poles, *, ripple_db=0.1):
    """A filter off by up to half a width and 15 % of every coupling and load."""
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=poles, ripple_db=ripple_db)
    ideal = tuned(goal)
    return goal, CoupledFilter(
        resonator_hz=ideal.resonator_hz + rng.uniform(-0.5, 0.5, poles) * goal.width_hz,
        couplings=ideal.couplings * rng.uniform(0.85, 1.15, poles - 1),
        q_first=ideal.q_first * rng.uniform(0.85, 1.15),
        q_last=ideal.q_last * rng.uniform(0.85, 1.15),
        unloaded_q=rng.uniform(600, 2500),
    )


def swept(rng, goal, made, *, rows=("s11", "s21", "s22"), noise=NOISE):
    """201 points over four widths with lines at the ports and white noise."""
    f = goal.centre_hz + np.linspace(-2, 2, 201) * goal.width_hz
    s = coupled_scattering(made, f)
    turned = [np.exp(1j * (rng.uniform(-3, 3) - 2 * np.pi * f * rng.uniform(0, 2e-9))) for _ in range(2)]
    at = {"s11": (0, 0), "s21": (1, 0), "s22": (1, 1)}
    white = [rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f)) for _ in rows]
    seen = {
        name: s[:, at[name][0], at[name][1]] * turned[at[name][0]] * turned[at[name][1]] + noise * one / np.sqrt(2)
        for name, one in zip(rows, white, strict=True)
    }
    return Sweep(frequency_hz=f, rows=seen, centre_hz=goal.centre_hz, width_hz=goal.width_hz)


# The truth is the model's own; the 1000 cases of benchmarks/extraction_cases.py are the full run of this.
@pytest.mark.parametrize(
    ("rows", "most_poles", "share"), [(("s11", "s21", "s22"), 5, 0.005), (("s11", "s21"), 4, 0.02)]
)
def test_law_detuned_filters_are_found_and_their_doubts_hold(rows, most_poles, share):
    rng = np.random.default_rng(3)
    held = []
    for case in range(24):
        goal, made = detuned(rng, 2 + case % (most_poles - 1))
        found = extract(swept(rng, goal, made, rows=rows), goal.poles)
        error = np.array([one.value for one in found.resonator_hz]) - made.resonator_hz
        assert np.abs(error).max() < share * goal.width_hz
        held += [abs(e) < 2 * one.std for e, one in zip(error, found.resonator_hz, strict=True)]
        held += [abs(k - one.value) < 2 * one.std for k, one in zip(made.couplings, found.couplings, strict=True)]
        assert found.trusted
    assert np.mean(held) > 0.88


def test_law_slopes_are_those_of_the_model():
    rng = np.random.default_rng(5)
    goal, made = detuned(rng, 4)
    model = Model(swept(rng, goal, made), 4)
    v = 0.1 * rng.standard_normal(model.size)
    v[4:7], v[7:9], v[9] = np.log(0.02), np.log(45.0), 0.03
    exact = model.jacobian(v)
    for place in range(model.size):
        step = np.zeros(model.size)
        step[place] = 1e-6
        numeric = (model.residual(v + step) - model.residual(v - step)) / 2e-6
        assert exact[:, place] == pytest.approx(numeric, abs=1e-6)


def test_law_a_single_port_finds_the_filter_too():
    rng = np.random.default_rng(8)
    goal, made = detuned(rng, 3)
    found = extract(swept(rng, goal, made, rows=("s11",)), 3)
    error = np.array([one.value for one in found.resonator_hz]) - made.resonator_hz
    assert np.abs(error).max() < 0.03 * goal.width_hz


def test_law_the_wrong_number_of_resonators_is_not_trusted():
    rng = np.random.default_rng(9)
    goal, made = detuned(rng, 4)
    assert not extract(swept(rng, goal, made), 3).trusted


def test_few_points_are_refused():
    rng = np.random.default_rng(2)
    goal, made = detuned(rng, 3)
    whole = swept(rng, goal, made)
    few = Sweep(
        frequency_hz=whole.frequency_hz[::20],
        rows={name: row[::20] for name, row in whole.rows.items()},
        centre_hz=goal.centre_hz,
        width_hz=goal.width_hz,
    )
    with pytest.raises(RangeError, match="11 points are too few for 3 resonators"):
        extract(few, 3)

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from tepui.evidence.stitch_fit import _step_within


# Outside the project: scipy's bounded least squares, on random problems some of whose unknowns end at their limits.
@pytest.mark.parametrize("seed", range(8))
def test_step_within_limits_is_that_of_bounded_least_squares(seed):
    rng = np.random.default_rng(seed)
    rows, seen = rng.standard_normal((40, 6)), rng.standard_normal(40)
    least = np.full(6, -np.inf)
    least[[1, 4]] = 0.1
    normal, right = rows.T @ rows, rows.T @ seen
    step, more = _step_within(normal, right, least)
    assert step == pytest.approx(lsq_linear(rows, seen, bounds=(least, np.inf), tol=1e-12).x, abs=1e-5)
    beyond = np.linalg.solve(normal, right) < least  # the tail of these alone is narrower than it was
    assert (more[beyond] > 0).all()
    assert (more[~beyond] == 0).all()

"""Field and generator of the Reed-Solomon code."""

import numpy as np

from tepui.signals.dvbt.outer_code import exponentials, generator_polynomial, logarithms, multiply


# galois 0.4.11: generator_poly of its ReedSolomon code (255, 239) with c = 0 and alpha = 2 over GF(2**8) with the
# irreducible polynomial 0x11D.
def test_tool_generator_polynomial():
    assert generator_polynomial().tolist() == [
        1, 59, 13, 104, 189, 68, 209, 30, 8, 163, 65, 41, 229, 98, 50, 36, 59]  # fmt: skip


def test_law_logarithms_undo_exponentials():
    exp, log = exponentials(), logarithms()
    assert sorted(exp[:255].tolist()) == list(range(1, 256))
    assert np.array_equal(exp[log[1:]], np.arange(1, 256))
    assert np.array_equal(exp[:255], exp[255:])


# [EN300744] 4.3.2: p(x) = x^8 + x^4 + x^3 + x^2 + 1, so x^8 = 0x1D; long multiplication as the reference.
def test_limit_products_by_long_multiplication():
    rng = np.random.default_rng(7)
    for a, b in rng.integers(0, 256, (300, 2)).tolist():
        product = 0
        for bit in range(8):
            if b >> bit & 1:
                product ^= a << bit
        for bit in range(14, 7, -1):
            if product >> bit & 1:
                product ^= 0x11D << (bit - 8)
        assert multiply(a, b) == product

"""The inner decoder with real numbers and no cuts: slow and plain, the yardstick for the fast one.

Theory  Viterbi's algorithm: of the two paths into a state the likelier survives; the likeliest path at the end,
        followed backwards, gives the bits.
Source  [EN300744] V1.6.2 clause 4.3.3 for the trellis; the algorithm is common knowledge.
Holds   Soft values as log-likelihood ratios of any scale, positive for 0, zero where nothing is known.
"""

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.inner_code import CONSTRAINT_LENGTH, G1, G2, puncturing

N_STATES = 2 ** (CONSTRAINT_LENGTH - 1)


def decode_reference(soft: npt.NDArray[np.floating], code_rate: Fraction) -> npt.NDArray[np.uint8]:
    """Bits of independent streams, decoded side by side.

    soft     (n_streams, n_coded), n_coded a whole number of puncturing periods; every start and end state is free
    returns  (n_streams, n_bits) of 0 and 1
    """
    sent, period = puncturing(code_rate), code_rate.numerator
    n_streams, n_steps = len(soft), soft.shape[1] // len(sent) * period
    pairs = np.zeros((n_steps, 2, n_streams), np.float32)
    for position, (step, output) in enumerate(sent):
        pairs[step::period, output] = soft[:, position :: len(sent)].T
    new_state = np.arange(N_STATES)
    branches = []  # for an oldest bit of 0 and of 1: the state before, and the signs of X and Y
    for oldest in (0, 1):
        register = 2 * new_state + oldest  # seven bits, the newest on top
        signs = [1 - 2 * (np.bitwise_count(register & generator) & 1).astype(np.float32) for generator in (G1, G2)]
        branches.append((register % N_STATES, np.stack(signs, axis=1)))
    likelihood = np.zeros((N_STATES, n_streams), np.float32)
    came_from_one = np.empty((n_steps, N_STATES, n_streams), np.bool_)
    for step in range(n_steps):
        zero, one = (likelihood[before] + signs @ pairs[step] for before, signs in branches)
        came_from_one[step] = one > zero
        likelihood = np.maximum(zero, one)
        likelihood -= likelihood.max(axis=0)
    state = likelihood.argmax(axis=0)
    bits = np.empty((n_steps, n_streams), np.uint8)
    streams = np.arange(n_streams)
    for step in range(n_steps - 1, -1, -1):
        bits[step] = state >> (CONSTRAINT_LENGTH - 2)
        state = (2 * state + came_from_one[step, state, streams]) % N_STATES
    return np.ascontiguousarray(bits.T)

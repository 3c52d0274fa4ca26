"""How far a reception is above the carrier to noise ratio its mode requires.

Theory  The soft bits of a cell of signal-to-noise ratio s carry I(s) bits, the capacity of bit-interleaved modulation.
        A decoder fed by carriers of many ratios does what it would do on an even channel that carries as much: noise
        may grow by a until the mean of I(s / a) over the carriers is what an even channel carries at the required
        ratio. On an even channel a is the ratio less the required one. Boosted pilots put the carrier to noise ratio
        0.335 dB above that of the data cells.
Source  G. Caire, G. Taricco, E. Biglieri, IEEE Trans. Inf. Theory 44 (1998) for the capacity; [EN300744] annex A, table
        A.1 for what is required (table dvbt_required_cn, the edition named there); effective ratios by mutual
        information: common practice (no published source).
Holds   Uniform constellations, errors that are Gaussian on each carrier, and a receiver that weighs carriers rightly.
        Lines and distortion are taken to grow with the noise.
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tepui.ground.doubt import Estimate, estimate
from tepui.signals.dvbt.mapping import levels
from tepui.tables.load import load_table

Floats = npt.NDArray[np.float64]
EDITION = "V1.6.1"
PILOTS_DB = 10 * math.log10(1.0803)  # mean power of a carrier over that of a data cell, 2K; 8K 1.0800
ROUNDING_STD_DB = 0.1 / math.sqrt(12)  # the table prints tenths
# Of the margin by capacity in an uneven channel: at least, and of what the unevenness costs. Held by the table's own
# Rayleigh column for all modes, and by two paths through the whole receiver (five modes, -1 to -6 dB).
CAPACITY_STD_DB, CAPACITY_SHARE = 0.15, 0.15
UNEVEN = 0.02  # variance of the carriers' noise relative to its mean squared, from which a channel is not flat; ours
LEAST_LOOKS = 8  # cells of a carrier from which its own noise is told; ours
NODES = 40
GRID_DB = np.arange(-20.0, 45.25, 0.25)
REACH_DB = 400.0  # no ratio is farther: errors are floored at 1e-30
# Gray labels of one axis from the outermost positive level down, as [EN300744] 4.3.5 draws them; sign bit first
LABELS = {
    1: ((0,), (1,)),
    2: ((0, 0), (0, 1), (1, 1), (1, 0)),
    4: ((0, 0, 0), (0, 0, 1), (0, 1, 1), (0, 1, 0), (1, 1, 0), (1, 1, 1), (1, 0, 1), (1, 0, 0)),
}


def capacity(constellation: str, snr: Floats) -> Floats:
    """Bits that the soft bits of one cell carry at signal-to-noise ratios Es / N0. (n,) -> (n,)

    Both axes alike: for each bit of an axis 1 - E[log2(sum over levels of p(y|x) / sum over those with the bit sent)],
    the mean over noise by Gauss-Hermite quadrature.
    """
    up = np.sort(levels(constellation))
    level = np.concatenate([up[::-1], -up])
    labels = np.array(LABELS[up.size])
    node, weight = np.polynomial.hermite.hermgauss(NODES)
    total = np.zeros(snr.size)
    for place, one in enumerate(snr):
        deviation = math.sqrt(0.5 / one)
        received = level[:, None] + math.sqrt(2) * deviation * node[None, :]
        distance = (received[:, :, None] - level[None, None, :]) ** 2 / (2 * deviation**2)
        near = np.exp(distance.min(axis=2, keepdims=True) - distance)
        every = near.sum(axis=2)
        loss = 0.0
        for bit in labels.T:
            same = bit[:, None] == bit[None, :]
            right = (near * same[:, None, :]).sum(axis=2)
            ratio = np.log2(every / np.maximum(right, 1e-300))
            loss += float((ratio * weight).sum()) / (level.size * math.sqrt(math.pi))
        total[place] = 2 * (labels.shape[1] - loss)
    return total


@lru_cache(maxsize=3)
def _curve(constellation: str) -> Floats:
    return capacity(constellation, 10 ** (GRID_DB / 10))


def noise_margin_db(constellation: str, snr_carrier: Floats, weights: Floats, *, required_db: float) -> float:
    """How far noise may grow until carriers of these ratios carry what an even channel carries at one ratio. [dB]

    snr_carrier, weights  (n,): ratio and number of cells of each carrier
    required_db           ratio of the data cells that is required of an even channel
    """
    curve = _curve(constellation)
    level_db = 10 * np.log10(np.maximum(snr_carrier, 1e-6))
    share = weights / weights.sum()
    wanted = float(np.interp(required_db, GRID_DB, curve))

    def lacking(margin_db: float) -> float:
        return float(np.interp(level_db - margin_db, GRID_DB, curve) @ share) - wanted

    low, high = -REACH_DB, REACH_DB
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if lacking(middle) > 0 else (low, middle)
    return 0.5 * (low + high)


def required_cn_db(constellation: str, code_rate: Fraction) -> float:
    """C/N that the mode requires in a Gaussian channel, bit error rate 2e-4 after Viterbi. [dB]"""
    text = load_table("dvbt_required_cn").cell(
        "required_cn_db",
        constellation=constellation,
        code_rate=str(code_rate),
        channel_model="Gaussian",
        edition=EDITION,
    )
    return float(text)


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Margin over the required C/N. [dB]

    uneven  told by capacity over the carriers, not by MER
    """

    margin: Estimate
    required_db: float
    uneven: bool


def margin_over_required(
    *,
    constellation: str,
    code_rate: Fraction,
    mer: Estimate,
    error_carrier: Floats,
    count_carrier: npt.NDArray[np.int64],
    hit: bool,
) -> Margin:
    """Margin over what the mode requires.

    error_carrier, count_carrier  (K,) summed error power of each carrier's cells, mean cell power one, and their number
    hit  some carrier is hit by a line
    """
    required = required_cn_db(constellation, code_rate)
    seen = count_carrier >= LEAST_LOOKS
    enough = 2 * int(seen.sum()) > int((count_carrier > 0).sum())
    uneven = enough and (hit or unevenness(error_carrier, count_carrier) > UNEVEN)
    value, method = mer.value + PILOTS_DB - required, 0.0
    if uneven:
        count = count_carrier[seen].astype(float)
        # the mean of one over a chi-square mean of n cells is n / (n - 1) too large
        snr = (count - 1) / np.maximum(error_carrier[seen], 1e-30)
        value = noise_margin_db(constellation, snr, count, required_db=required - PILOTS_DB)
        mean_db = 10 * math.log10(float((snr * count).sum() / count.sum()))
        method = max(CAPACITY_STD_DB, CAPACITY_SHARE * (mean_db + PILOTS_DB - required - value))
    parts = estimate(value, mer=mer.std, table=ROUNDING_STD_DB, capacity=method)
    return Margin(margin=parts, required_db=required, uneven=uneven)


def unevenness(error_carrier: Floats, count_carrier: npt.NDArray[np.int64]) -> float:
    """Variance of the carriers' noise over its mean squared, beyond what so few cells make."""
    seen = count_carrier > 1
    if not seen.any():
        return 0.0
    mean = error_carrier[seen] / count_carrier[seen]
    usual = float(mean.mean())
    expected = float((1.0 / count_carrier[seen]).mean())
    return float(np.var(mean)) / max(usual * usual, 1e-300) - expected

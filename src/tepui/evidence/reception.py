"""What a reception proves: MER, error rates, carrier, clock and echoes as estimates with their doubt.

Theory  The error power of n independent cells is known to 1 / sqrt(n) of itself. An error rate's interval is exact for
        independent errors; the Viterbi decoder's come in bursts, so fewer of them are independent. Echoes are taken
        out of the measured channel one by one, the strongest first, each at the delay where it is largest.
Source  [TR101290] 9.14 to 9.18; C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) for the interval; J. A. Hoegbom,
        Astron. Astrophys. Suppl. 15 (1974) for taking out components one by one; R. DerSimonian, N. Laird, Control.
        Clin. Trials 7 (1986) for the mean of rounds that differ.
Holds   A steady channel for echoes; two paths nearer than 1.5 elementary periods are seen as one.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft
from scipy.special import betaincinv

from tepui.ground.doubt import Estimate, estimate

Floats = npt.NDArray[np.float64]
# What remains between this receiver and a data-aided one with ideal knowledge, seen on recordings of an independent
# modulator and on a hundred seeded signals (benchmarks/coverage_reception.py): common phase and channel estimation,
# arithmetic. Standard uncertainty. [dB]
METHOD_STD_DB = 0.02
PILOT_STD_DB = 0.04  # by the pilots alone, and what grows with the noise: on seeded signals from 0 to 35 dB
PILOT_SHARE = 0.05
BURST_BITS = 5.0
LEAST_ECHO_DB = -40.0
MOST_ECHOES = 16


def mer(*, power: float, error_carrier: Floats, count_carrier: npt.NDArray[np.int64]) -> Estimate:
    """Modulation error ratio over all data cells judged. [dB]

    power          summed power of the points sent
    error_carrier  (K,) summed error power of each carrier, count_carrier (K,) cells in it
    """
    seen = count_carrier > 0
    total = float(error_carrier[seen].sum())
    scatter = float(np.sqrt((error_carrier[seen] ** 2 / count_carrier[seen]).sum())) / total
    return estimate(10 * np.log10(power / total), noise=4.343 * scatter, method=METHOD_STD_DB)


def mer_of_pilots(error: float) -> Estimate:
    """Modulation error ratio from the error that the pilots' scatter gives a data cell of power one. [dB]

    The channel that the scatter is set against holds a little of the noise itself, more so the weaker the signal.
    """
    return estimate(-10 * float(np.log10(error)), method=PILOT_STD_DB, channel=4.343 * PILOT_SHARE * error)


def hit_carriers(
    *, error_carrier: Floats, count_carrier: npt.NDArray[np.int64], channel: Floats
) -> npt.NDArray[np.bool_]:
    """Carriers whose error stands far above their neighbours': hit by a line, or by another narrow signal.

    channel  (K,) power of the channel, so that a notch is not taken for a hit
    """
    seen = count_carrier > 0
    mean = np.where(seen, error_carrier / np.maximum(count_carrier, 1), 0.0) * channel
    usual = float(np.median(mean[seen])) if seen.any() else 1.0
    limit = usual * (2.5 + 8.0 / np.sqrt(np.maximum(count_carrier, 1)))
    return np.asarray(seen & (mean > limit))


@dataclass(frozen=True, kw_only=True)
class Rate:
    """An error rate and its 95 % interval; ``errors`` of 0 leaves an upper bound only."""

    value: float
    low: float
    high: float
    errors: int


def error_rate(errors: int, bits: int, *, burst: float = 1.0) -> Rate:
    """Error rate with the exact binomial interval, errors counted as bursts of ``burst`` bits.

    >>> round(error_rate(0, 3000).high, 4)
    0.001
    """
    groups, trials = errors / burst, bits / burst
    low = float(betaincinv(groups, trials - groups + 1, 0.025)) if errors else 0.0
    high = float(betaincinv(groups + 1, trials - groups, 0.975 if errors else 0.95)) if errors < bits else 1.0
    value = errors / bits
    return Rate(value=value, low=min(low, value), high=max(high, value), errors=errors)


def weighted(values: Floats, stds: Floats, weights: Floats) -> Estimate:
    """Mean of a quantity over rounds of different length; their scatter beyond the doubt of each counts as drift.

    Each round counts by the inverse of its variance, the drift's share of it included: where nothing drifts a short
    round counts little, and the more drifts, the more evenly time counts.

    values, stds, weights  (n,); ``weights`` the lengths
    """
    if values.size < 2:
        return estimate(float(values[0]), noise=float(stds[0]))
    plain = 1 / np.maximum(stds, 1e-30) ** 2
    mean = float((plain * values).sum() / plain.sum())
    apart = float((plain * (values - mean) ** 2).sum()) - (values.size - 1)
    drift = np.sqrt(max(apart / float(plain.sum() - (plain**2).sum() / plain.sum()), 0.0))
    drifts = drift * np.sqrt(weights.mean() / weights)
    share = 1 / (np.maximum(stds, 1e-30) ** 2 + drifts**2)
    share /= share.sum()
    return estimate(
        float((share * values).sum()),
        noise=float(np.sqrt((share**2 * stds**2).sum())),
        drift=float(np.sqrt((share**2 * drifts**2).sum())),
    )


@dataclass(frozen=True, kw_only=True)
class EchoPath:
    """One path: delay after the strongest in elementary periods, level below it."""

    delay: float
    level_db: float


def paths_of(channel: npt.NDArray[np.complex128], *, n_fft: int, noise: float) -> tuple[EchoPath, ...]:
    """Paths in a channel known on all carriers, the main one first.

    channel  (K,) mean over time
    noise    variance of one of its values
    """
    n = channel.size
    weights = np.hanning(n + 2)[1:-1]
    weights /= weights.sum()
    size = 1 << int(np.ceil(np.log2(4 * n)))
    centred = np.asarray(np.arange(n) - (n - 1) / 2, dtype=np.float64)
    left = channel.copy()
    found: list[tuple[float, complex]] = []
    floor = noise * float((weights**2).sum())
    for _ in range(MOST_ECHOES):
        response = scipy.fft.ifft(left * weights, size) * size
        place = int(np.argmax(np.abs(response)))
        delay = ((place + size // 2) % size - size // 2) * n_fft / size
        delay = _sharpened(left * weights, centred, delay, n_fft=n_fft)
        turn = np.exp(-2j * np.pi * centred * delay / n_fft)
        gain = complex((left * weights) @ np.conj(turn))
        strongest = abs(found[0][1]) ** 2 if found else abs(gain) ** 2
        level = abs(gain) ** 2
        if found and (level < strongest * 10 ** (LEAST_ECHO_DB / 10) or level < 12 * floor):
            break
        left = left - gain * turn
        if all(abs(delay - other) >= 1.5 for other, _ in found):
            found.append((delay, gain))
    main = found[0]
    return tuple(
        EchoPath(delay=delay - main[0], level_db=20 * float(np.log10(abs(gain) / abs(main[1]))))
        for delay, gain in found
    )


def _sharpened(weighted_channel: npt.NDArray[np.complex128], centred: Floats, delay: float, *, n_fft: int) -> float:
    """The delay near a first guess at which the weighted channel adds up to most."""
    step = 0.25
    for _ in range(3):
        tries = delay + step * np.array([-1.0, 0.0, 1.0])
        sizes = np.abs(np.exp(2j * np.pi * np.outer(tries, centred) / n_fft) @ weighted_channel) ** 2
        bend = sizes[0] - 2 * sizes[1] + sizes[2]
        move = 0.5 * (sizes[0] - sizes[2]) / bend if bend < 0 else 0.0
        delay += float(np.clip(move, -1, 1)) * step
        step /= 4
    return delay

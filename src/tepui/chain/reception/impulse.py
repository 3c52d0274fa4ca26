"""The impulse response seen by the pilots, where the FFT window should stand, and the echoes.

Theory  Carriers three apart see delays without ambiguity over a third of the useful symbol. The window may start
        anywhere between the last path's beginning and the first path's guard's end.
Source  [EN300744] clause 4.4 (guard interval); F. J. Harris 1978 for the window's side-lobes.
Holds   Delay spread below N/3; what reaches over the guard is placed to spoil the least.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

LEAST_PATH_DB = -35.0
ABOVE_NOISE = 20.0
COMB = 3
WINDOW_STEP = 0.5  # elementary periods
SPOILT = 5e-7  # of the power, each of the two ways: 60 dB down a symbol counts as whole


@dataclass(frozen=True, kw_only=True)
class Response:
    """Power over delay from the channel on a comb of carriers.

    delay    (n,) delays counted from the timebase's centre, ascending, elementary periods
    power    (n,) power at each, the strongest being 1
    noise    level that only noise reaches, on the same scale
    span     delays beyond which it repeats
    """

    delay: npt.NDArray[np.float64]
    power: npt.NDArray[np.float64]
    noise: float
    span: float

    def paths(self) -> npt.NDArray[np.bool_]:
        """Where a path's power stands above noise and above -35 dB of the strongest."""
        return np.asarray(self.power > max(self.noise * ABOVE_NOISE, 10 ** (LEAST_PATH_DB / 10)))


def response_of_grid(channel: npt.NDArray[np.complex128], *, n_fft: int, comb: int = COMB) -> Response:
    """Impulse response from the channel on every ``comb``-th carrier, Hann-weighted.

    channel  (n_grid,) from the lowest carrier up
    """
    n = channel.size
    size = 1 << int(np.ceil(np.log2(n * 1.5)))
    weights = np.hanning(n + 2)[1:-1]
    taps = scipy.fft.fftshift(scipy.fft.ifft(channel * weights, size))
    power = np.abs(taps) ** 2
    peak = float(power.max()) or 1.0
    span = n_fft / comb
    delay = np.asarray((np.arange(size) - size // 2) * (span / size), dtype=np.float64)
    return Response(delay=delay, power=power / peak, noise=float(np.median(power)) / peak / np.log(2), span=span)


def place_window(response: Response, *, arc: tuple[float, float], n_guard: int, centre: float) -> tuple[float, float]:
    """Start of the FFT window, and the delay to centre on, both after the beginning of the guard.

    A path that begins after the window, or whose next symbol begins before the window's end, spoils the symbol by its
    power times what is missed. The window stands in the middle of where that is least.

    arc      first and last delay of the paths, as the response counts them
    centre   the delay the response was counted from
    returns  (window, centre): the window as above; the centre midway between first and last path
    """
    delay, power = _paths_along(response, arc=arc)
    n_fft = response.span * COMB
    starts = np.arange(delay[0], delay[-1] + n_guard + WINDOW_STEP, WINDOW_STEP)
    late = delay[None, :] - starts[:, None]
    missed = np.maximum(np.maximum(late, -late - n_guard), 0.0) @ power
    best = int(np.argmin(missed))
    good = missed <= missed[best] + SPOILT * n_fft * float(power.sum())
    low, high = best - int(np.argmin(good[best::-1])) + 1, best + int(np.argmin(good[best:])) - 1
    low, high = (low if not good[: best + 1].all() else 0), (high if not good[best:].all() else starts.size - 1)
    return float(0.5 * (starts[low] + starts[high])) + centre, 0.5 * (arc[0] + arc[1]) + centre


def extent(response: Response) -> tuple[float, float]:
    """First and last delay of the paths, counted from their middle; zero twice where noise hides every path."""
    held = response.delay[response.paths()]
    if not held.size:
        return 0.0, 0.0
    return float(held[0]), float(held[-1])


def arcs(response: Response, *, most: int = 3) -> list[tuple[float, float]]:
    """Stretches of delay that may hold all paths, the shortest first.

    The response repeats after its span, so which of two far paths comes first is not told by it: every wide gap on the
    circle may be where the paths begin and end.
    """
    places = np.flatnonzero(response.paths())
    size = response.delay.size
    step = response.span / size
    gaps = np.diff(np.concatenate([places, [places[0] + size]]))
    found: list[tuple[float, float]] = []
    for gap in np.argsort(-gaps, kind="stable")[:most]:
        if found and gaps[gap] < 0.06 * size:
            break
        begin = places[(gap + 1) % places.size]
        first = response.delay[begin]
        last = first + (size - int(gaps[gap])) * step
        turn = np.round(0.5 * (first + last) / response.span) * response.span
        found.append((float(first - turn), float(last - turn)))
    return found


def _paths_along(
    response: Response, *, arc: tuple[float, float]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Delays along an arc and the power of what peaks there, (n,) each: the flanks of a path are the window's."""
    step = response.span / response.delay.size
    count = max(1, round((arc[1] - arc[0]) / step) + 1)
    begin = int(np.round((arc[0] - response.delay[0]) / step))
    places = (begin + np.arange(count)) % response.delay.size
    peaks = (
        response.paths()
        & (response.power >= np.roll(response.power, 1))
        & (response.power > np.roll(response.power, -1))
    )
    power = np.where(peaks[places], response.power[places], 0.0)
    return np.asarray(arc[0] + step * np.arange(count), dtype=np.float64), np.asarray(power, dtype=np.float64)

"""The impulse response seen by the pilots, where the FFT window should stand, and the echoes.

Theory  Carriers three apart see delays without ambiguity over a third of the useful symbol. The window may start
        anywhere between the last path's beginning and the first path's guard's end.
Source  [EN300744] clause 4.4 (guard interval); F. J. Harris 1978 for the window's side-lobes.
Holds   Delay spread below N/3. Spread over more than the guard is placed to lose the least power.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

LEAST_PATH_DB = -35.0
ABOVE_NOISE = 20.0


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


def response_of_grid(channel: npt.NDArray[np.complex128], *, n_fft: int, comb: int = 3) -> Response:
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

    arc      first and last delay of the paths, as the response counts them
    centre   the delay the response was counted from
    returns  (window, centre): the window midway between its limits; the centre midway between first and last path
    """
    first, last = arc[0] + centre, arc[1] + centre
    middle = 0.5 * (first + last)
    if last - first > n_guard:
        first, last = _heaviest(response, arc=arc, n_guard=n_guard)
        first, last = first + centre, last + centre
    window = (first + last + n_guard) / 2
    return float(np.clip(window, last, first + n_guard)), middle


def extent(response: Response) -> tuple[float, float]:
    """First and last delay of the paths, where the response is already counted from their middle."""
    held = response.delay[response.paths()]
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


def _heaviest(response: Response, *, arc: tuple[float, float], n_guard: int) -> tuple[float, float]:
    """The part of an arc, a guard long, that holds most power."""
    step = response.span / response.delay.size
    count = max(1, int((arc[1] - arc[0]) / step) + 1)
    begin = int(np.round((arc[0] - response.delay[0]) / step))
    places = (begin + np.arange(count)) % response.delay.size
    power = np.where(response.paths()[places], response.power[places], 0.0)
    width = min(count, max(1, int(n_guard / step)))
    sums = np.concatenate([[0.0], np.cumsum(power)])
    start = int(np.argmax(sums[width:] - sums[:-width]))
    held = start + np.flatnonzero(power[start : start + width])
    return arc[0] + held[0] * step, arc[0] + held[-1] * step

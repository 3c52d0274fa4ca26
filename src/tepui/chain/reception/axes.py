"""Sums that tell of unequal axes, a leaking carrier and the boost of the pilots, kept symbol by symbol.

Theory  An IQ modulator of unequal axes sends x + b x*: carrier -k appears conjugated on k. Its leaking carrier adds a
        constant to the centre carrier. Both stand still against the signal; a receiver's own image and line turn with
        the phase that the receiver takes out, so sums are kept per symbol, with that phase beside them. On scattered
        pilots' carriers the channel is seen from pilots and from data: their ratio is the boost.
Source  [TR101290] 9.18 for the quantities; common practice (no published source) for carriers mirrored about the
        centre.
Holds   Cells whose points are known. A carrier hit by a line is left out. Where the centre carrier is a continual
        pilot (4K, 8K) its channel is taken from its neighbours, and only while the channel stands still.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.axes_kernels import image_sums
from tepui.ground.tasks import map_tasks
from tepui.signals.dvbt.carriers import continual_carriers, pilot_values
from tepui.signals.dvbt.mode import Mode

Cells = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]
HIT_RATIO = 2.5  # as evidence/reception.py: error power over the usual that makes a carrier hit
NEIGHBOURS = 12  # on either side, from which the channel of a carrier is told
CHECKED = 10  # carriers on either side on which that is tried, to know its error
LEAST_STEADY = 8
ROWS = 64
MOST_CELLS = 1 << 20  # of one run of symbols: the axes are then known to -60 dB of a cell's error; ours


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A run of symbols whose points are known.

    cells    (n, K); inverse (1 or n, K) one over the channel; index (n, n_data) points sent
    fit      (K,) channel fitted to each carrier's own data cells, looks (K,) to how many
    error    (K,) mean squared error of each carrier, equalised
    phase    pilot pattern of the first; ``turn`` (n,) phase that was taken out of each symbol
    steady   one channel serves all
    """

    cells: Cells
    inverse: Cells
    index: npt.NDArray[np.uint8]
    fit: npt.NDArray[np.complex128]
    looks: npt.NDArray[np.int64]
    error: Floats
    phase: int
    turn: Floats
    steady: bool


@dataclass
class AxesSums:
    """What was summed so far; lists hold one array for each run of symbols, an entry for each symbol.

    image, image_power  against the mirrored carriers, see axes_kernels.py
    centre, centre_sent equalised cell of the centre carrier, and what was sent on it
    channel_std         relative standard uncertainty of the centre's channel: None where it is found with the leak
    turn                phase that was taken out [rad]
    pilot_sums          over scattered pilots' carriers: a, q, a^2, a q, q^2; a = Re(pilot channel, data channel*),
                        q the power of the data channel
    """

    image: list[npt.NDArray[np.complex128]] = field(default_factory=list)
    image_power: list[Floats] = field(default_factory=list)
    centre: list[npt.NDArray[np.complex128]] = field(default_factory=list)
    centre_sent: list[npt.NDArray[np.complex128]] = field(default_factory=list)
    channel_std: list[float | None] = field(default_factory=list)
    turn: list[Floats] = field(default_factory=list)
    centre_turn: list[Floats] = field(default_factory=list)
    pilot_sums: Floats = field(default_factory=lambda: np.zeros(5))

    def add(
        self, part: Judged, *, mode: Mode, points: Cells, carriers: npt.NDArray[np.int32], workers: int | None = None
    ) -> None:
        """Take a run of symbols in, of a long one the first MOST_CELLS cells; the rest as in quality.Alphabet."""
        part = _shortened(part, max(ROWS, MOST_CELLS // mode.n_carriers))
        kept = _unhit(part)
        size = np.abs(part.inverse)
        weight = np.where(size > 0, kept / np.maximum(size, 1e-30) ** 2, 0.0)
        weight = np.ascontiguousarray(weight / max(float(weight.mean()), 1e-30), dtype=np.float32)
        n = part.cells.shape[0]
        image, power = np.zeros(n, complex), np.zeros(n)

        def summed(start: int) -> None:
            rows = slice(start, start + ROWS)
            image_sums(
                part.cells[rows],
                part.inverse if part.inverse.shape[0] == 1 else part.inverse[rows],
                weight if weight.shape[0] == 1 else weight[rows],
                part.index[rows],
                carriers,
                (part.phase + start) % 4,
                points,
                image[rows],
                power[rows],
            )

        map_tasks(summed, range(0, n, ROWS), workers=workers)
        if part.steady and n >= LEAST_STEADY:
            # a carrier's own fit takes one of its degrees of freedom
            image *= float(np.mean(part.looks[kept] / np.maximum(part.looks[kept] - 1, 1)))
            self._add_pilots(part, kept, mode=mode)
        self.image.append(image)
        self.image_power.append(power)
        self.turn.append(part.turn)
        self._add_centre(part, mode=mode, points=points, carriers=carriers)

    def _add_centre(self, part: Judged, *, mode: Mode, points: Cells, carriers: npt.NDArray[np.int32]) -> None:
        centre = (mode.n_carriers - 1) // 2
        n = part.cells.shape[0]
        sent = np.full(n, pilot_values(mode.n_fft)[centre], complex)
        for phase in range(4):
            place = int(np.searchsorted(carriers[phase], centre))
            if place < carriers.shape[1] and carriers[phase][place] == centre:
                rows = np.arange((phase - part.phase) % 4, n, 4)
                sent[rows] = points[part.index[rows, place]]
        cell = part.cells[:, centre].astype(complex)
        std: float | None = None
        if centre in continual_carriers(mode.n_fft):
            if not (part.steady and n >= LEAST_STEADY):
                return
            channel, std = channel_from_neighbours(part, centre=centre, mode=mode)
            if std is None:
                return
            equal = cell / channel
        else:
            equal = cell * part.inverse[:, centre]
        self.centre.append(equal)
        self.centre_sent.append(sent)
        self.channel_std.append(std)
        self.centre_turn.append(part.turn)

    def _add_pilots(self, part: Judged, kept: npt.NDArray[np.bool_], *, mode: Mode) -> None:
        values = pilot_values(mode.n_fft)
        always = continual_carriers(mode.n_fft)
        n_carriers = part.cells.shape[1]
        for phase in range(4):
            rows = part.cells[(phase - part.phase) % 4 :: 4]
            if rows.shape[0] == 0:
                continue
            scattered = np.arange(3 * phase, n_carriers, 12)
            pilot = rows[:, 3 * phase :: 12].mean(axis=0, dtype=complex) / values[scattered]
            usable = kept[scattered] & (part.looks[scattered] >= 2) & ~np.isin(scattered, always)
            carrier = scattered[usable]
            data = part.fit[carrier]
            a = (np.conj(data) * pilot[usable]).real
            q = np.abs(data) ** 2 * (1 - part.error[carrier] / part.looks[carrier])
            self.pilot_sums += (a.sum(), q.sum(), (a * a).sum(), (a * q).sum(), (q * q).sum())


def _shortened(part: Judged, count: int) -> Judged:
    rows = slice(0, count)
    return replace(
        part,
        cells=part.cells[rows],
        inverse=part.inverse if part.inverse.shape[0] == 1 else part.inverse[rows],
        index=part.index[rows],
        turn=part.turn[rows],
    )


def _unhit(part: Judged) -> npt.NDArray[np.bool_]:
    """Carriers that carry data and that no line has hit. (K,)"""
    seen = part.looks > 1
    power = np.abs(part.fit) ** 2 if part.steady else 1 / np.maximum(np.mean(np.abs(part.inverse) ** 2, axis=0), 1e-30)
    scatter = part.error * power
    usual = float(np.median(scatter[seen])) if seen.any() else 0.0
    limit = usual * (HIT_RATIO + 8.0 / np.sqrt(np.maximum(part.looks, 1)))
    return np.asarray(seen & (scatter <= limit))


def channel_from_neighbours(part: Judged, *, centre: int, mode: Mode) -> tuple[complex, float | None]:
    """Channel of one carrier as its neighbours' data cells tell it, and the relative standard uncertainty of that.

    The same is tried on carriers nearby whose channel is known; how far it is off there is the uncertainty.
    returns  None in place of the uncertainty where too few carriers are known
    """
    carriers = np.arange(max(0, centre - NEIGHBOURS - CHECKED), min(mode.n_carriers, centre + NEIGHBOURS + CHECKED + 1))
    known = carriers[(part.looks[carriers] > 1) & (np.abs(part.fit[carriers]) > 0)]
    if known.size < NEIGHBOURS:
        return 0j, None
    power = float(np.mean(np.abs(part.fit[known]) ** 2))
    noise = float(np.mean(part.error[known] * np.abs(part.fit[known]) ** 2 / part.looks[known]))

    def told(place: int) -> complex:
        near = known[(np.abs(known - place) <= NEIGHBOURS) & (known != place)]
        density = 1.05 * float(mode.guard)
        among = np.sinc(density * (near[:, None] - near[None, :])) + np.eye(near.size) * max(noise / power, 1e-12)
        weights = np.linalg.solve(among, np.sinc(density * (near - place)))
        return complex(weights @ part.fit[near])

    tried = known[np.abs(known - centre) <= CHECKED]
    off = np.array([told(int(place)) - part.fit[place] for place in tried])
    channel = told(centre)
    if abs(channel) == 0:
        return 0j, None
    return channel, float(np.sqrt(np.mean(np.abs(off) ** 2)) / abs(channel))

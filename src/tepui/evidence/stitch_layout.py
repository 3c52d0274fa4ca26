"""The unknowns behind stitching, and what two recordings both saw: cells of frequency, gains, filter shape, floors.

Theory  D = g_s e_r h(x) T(f) + (F + d_r) u: in every cell of frequency T is free; unknown are the gain of each setting,
        what each recording departs from it, the coefficients of h, the floor F in steps^2, what a recording's own floor
        departs from it, and how much of T is the noise of the receiver's input.
Source  Splines: de Boor 1978. Cells of 1/96 of the sample rate: this program's own.
Holds   Recordings of one sample rate on one grid of frequencies.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import BSpline

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch_set import Setting, bins_a_cell, setting_of
from tepui.ground.doubt import Estimate

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

KNOTS = 10  # inner pieces of the filter's shape
MODEL_STD, EDGE_STD = 0.003, 0.02  # relative, what the model leaves, in the middle of a band and at its edge
LOST_CELLS = 10  # cells over which what rounding leaves unknown is one and the same
HANN_BINS_AS_ONE = 1 + 2 * ((2 / 3) ** 2 + (1 / 6) ** 2)  # Hann bins are correlated with their neighbours
TUNER_OFF_HZ = 50e3


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Every cell as each recording saw it, in a row by rising cell.

    who, cell        (n,) recording, and number of the cell, from 0
    x                (n,) distance from the tuned frequency, over the rate
    density          (n,) mean over the cell; n_averages (n,) how many averages that is worth
    outside          (n,) whether only distortion and noise are seen there
    """

    who: Places
    cell: Places
    x: Floats
    density: Floats
    n_averages: Floats
    outside: npt.NDArray[np.bool_]
    n_cells: int


def is_outside(frequency_hz: Floats, *, centre_hz: float, occupied_width_hz: float) -> npt.NDArray[np.bool_]:
    """Whether only distortion and noise are seen there; the tuner may be off a little. (n,)"""
    return np.asarray(np.abs(frequency_hz - centre_hz) > occupied_width_hz / 2 + TUNER_OFF_HZ)


def cells_seen(
    spectra: Sequence[NarrowSpectrum], *, centre_hz: float, occupied_width_hz: float
) -> tuple[Seen, int, int]:
    """Cells of whole numbers of bins; returns also bins a cell and the first cell's number."""
    m = bins_a_cell(spectra[0])
    first_cell = min(one.first_bin // m for one in spectra)
    rows = []
    for who, one in enumerate(spectra):
        start = -one.first_bin % m
        count = (len(one.density) - start) // m
        density = one.density[start : start + count * m].reshape(count, m).mean(axis=1)
        whole = one.usable[start : start + count * m].reshape(count, m).all(axis=1)
        number = (one.first_bin + start) // m + np.arange(count) - first_cell
        middle_hz = one.frequency_hz[start : start + count * m].reshape(count, m).mean(axis=1)
        n = one.n_averages * max(1.0, m / HANN_BINS_AS_ONE)
        rows.append(
            np.stack(
                [np.full(count, who), number, (middle_hz - one.tuned_hz) / one.rate_hz, density, np.full(count, n)]
            )[:, whole]
        )
    together = np.concatenate(rows, axis=1)
    who, number, x, density, n = together[:, np.argsort(together[1], kind="stable")]
    cell = number.astype(np.intp)
    middle_hz = ((cell + first_cell) * m + (m - 1) / 2) * spectra[0].bin_hz
    seen = Seen(
        who=who.astype(np.intp),
        cell=cell,
        x=x,
        density=density,
        n_averages=n,
        outside=is_outside(middle_hz, centre_hz=centre_hz, occupied_width_hz=occupied_width_hz),
        n_cells=int(cell.max()) + 1,
    )
    return seen, m, first_cell


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where each unknown stands: gains of settings, of recordings, of distortion in each recording, coefficients of the
    shape, the floor, what each recording's own floor departs from it, and the noise of the receiver's input."""

    settings: tuple[Setting, ...]
    setting_index: Places
    n_recordings: int
    knots: Floats
    x_limit: float
    occupied_width_hz: float

    @property
    def n_shape(self) -> int:
        """Coefficients of the filter's shape."""
        return len(self.knots) - 4

    @property
    def n_gains(self) -> int:
        """Gains of settings and recordings, and of the distortion in each."""
        return len(self.settings) + 2 * self.n_recordings

    @property
    def n_log(self) -> int:
        """How many of the unknowns are logarithms of gains."""
        return self.n_gains + self.n_shape

    @property
    def n(self) -> int:
        """All unknowns."""
        return self.n_log + 2 + self.n_recordings

    @property
    def n_noise(self) -> int:
        """Which of them is the noise of the receiver's input, in steps^2 at the first setting's gain."""
        return self.n_log + 1 + self.n_recordings

    def shape(self, x: Floats) -> Floats:
        """Values of the shape's splines, less those at x = 0: (n, n_shape)."""
        at = BSpline.design_matrix(np.clip(x, -self.x_limit, self.x_limit), self.knots, 3).toarray()
        zero = BSpline.design_matrix(np.zeros(1), self.knots, 3).toarray()
        return np.asarray(at - zero)

    def gain_rows(self, who: Places, outside: npt.NDArray[np.bool_]) -> Floats:
        """Derivatives of log gain, (n, n_gains), at places outside the channel or in it."""
        rows, n_settings, places = np.zeros((len(who), self.n_gains)), len(self.settings), np.arange(len(who))
        rows[places, self.setting_index[who]] = 1
        rows[places, n_settings + who] = 1
        rows[places[outside], n_settings + self.n_recordings + who[outside]] = 1
        return rows


def layout_of(spectra: Sequence[NarrowSpectrum], seen: Seen, *, occupied_width_hz: float) -> Layout:
    """The unknowns of a set; a recording that names no setting has one of its own."""
    keys = [setting_of(one) or (("recording", float(i)),) for i, one in enumerate(spectra)]
    settings = tuple(dict.fromkeys(keys))
    limit = float(np.abs(seen.x).max()) * 1.001
    inner = np.linspace(-limit, limit, KNOTS + 1)
    return Layout(
        settings=settings,
        setting_index=np.array([settings.index(key) for key in keys], dtype=np.intp),
        n_recordings=len(spectra),
        knots=np.concatenate([[-limit] * 3, inner, [limit] * 3]),
        x_limit=limit,
        occupied_width_hz=occupied_width_hz,
    )


@dataclass(frozen=True, kw_only=True)
class KnownShape:
    """Shape of the receiver's filters as noise alone showed it.

    x        (n,) distance from the tuned frequency, over the rate
    log      (n,) natural logarithm of the power gain, from any zero
    weight   (n,) one over its variance
    """

    x: Floats
    log: Floats
    weight: Floats


@dataclass(frozen=True, kw_only=True)
class Elsewhere:
    """What else than the recordings tells of a stitching; None where nothing does.

    floor   of the same converter, in steps^2: other sweeps, or a terminated input
    shape   of the receiver's filters: noise alone
    noise   of the receiver's input, in steps^2 at the first setting's gain
    """

    floor: Estimate | None = None
    shape: KnownShape | None = None
    noise: Estimate | None = None


def floor_units(spectra: Sequence[NarrowSpectrum]) -> tuple[Floats, Floats]:
    """Density of one step^2 in each recording, and what its rounding adds beyond the ideal figure, in steps^2."""
    unit = np.array([one.unit_density for one in spectra])
    extra = np.array([one.converter.rounding - IDEAL_LSB2 if one.converter.step else 0.0 for one in spectra])
    return unit, extra


def model_std(x: Floats, limit: float) -> Floats:
    """What the model may miss at distances x from the tuned frequency (over the rate), relative: most at the edges."""
    return np.asarray(MODEL_STD + EDGE_STD * (np.abs(x) / limit) ** 8)

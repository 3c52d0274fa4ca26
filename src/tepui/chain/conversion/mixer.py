"""How strong each mixing product is: typical tables, a diode ring, or the operator's own table, each with its doubt.

Theory  Levels are relative to the wanted product at the output. A product of n-th order in the signal falls (n - 1) dB
        with each dB less drive: level + (n - 1)(dP - dP0), dP the signal over the oscillator. A Gaussian signal adds
        10 lg n! dB. The oscillator's line is its drive less the isolation; the signal's leak its drive less that
        port's isolation, its harmonics those of the modulator by the same leak, joined as powers with the mixer's own.
Source  Table mixer_spurs_typical (rows say whose: application notes; B. Henderson 1983; a computed ring), table
        mixer_typical_values for loss and isolation; harmonics of a modulator and isolation of the signal: guesses.
Holds   Diode mixers below overload. Products no table has are taken from the ring model with more doubt. +-10 dB is
        what tables and models of mixers are good for: none of them knows the part on the bench.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.ring import RingMixer, ring_products_dbm
from tepui.chain.conversion.shape import gaussian_excess_db
from tepui.ground.checks import require_between, require_one_of
from tepui.tables.load import load_table

Floats = npt.NDArray[np.float64]
TABLES = {
    "typical": "double-balanced level 7",
    "single-balanced rf": "single-balanced RF on 180 port",
    "single-balanced lo": "single-balanced LO on 180 port",
}
MODELS = (*TABLES, "ring", "own table")
TABLE_DOUBT_DB, FILLED_DOUBT_DB, OWN_DOUBT_DB = 10.0, 15.0, 5.0
MOST_ORDER = 15
HARMONIC_STEP_DB = 5.0  # each harmonic of the modulator below the one before: a guess


@dataclass(frozen=True, kw_only=True)
class MixerDrive:
    """Levels at the mixer; a doubt is the half width of 95 %.

    signal_dbm       mean level of the modulator's signal at the input
    lo_isolation_db  oscillator to output; if_isolation_db signal to output
    harmonic_db      second harmonic of what comes from the modulator, relative to it
    """

    signal_dbm: float
    lo_dbm: float
    loss_db: float
    loss_doubt_db: float
    lo_isolation_db: float
    lo_isolation_doubt_db: float
    if_isolation_db: float
    if_isolation_doubt_db: float
    harmonic_db: float
    harmonic_doubt_db: float = 10.0

    def __post_init__(self) -> None:
        require_between("signal into the mixer", self.signal_dbm, -60, 20, unit="dBm", source="the range of mixers")
        require_between("oscillator drive", self.lo_dbm, -10, 30, unit="dBm", source="the range of diode rings")
        require_between("conversion loss", self.loss_db, -30, 40, unit="dB", source="the range of mixers")
        require_between("lo isolation", self.lo_isolation_db, 0, 90, unit="dB", source="the range of mixers")
        require_between("if isolation", self.if_isolation_db, 0, 90, unit="dB", source="the range of mixers")
        require_between("harmonics", self.harmonic_db, -120, 0, unit="dB", source="a level below the signal")

    @property
    def wanted_dbm(self) -> float:
        """Wanted product at the output. [dBm]"""
        return self.signal_dbm - self.loss_db

    @property
    def lo_line_db(self) -> float:
        """Oscillator's line over the wanted product at the output. [dB]"""
        return self.lo_dbm - self.lo_isolation_db - self.wanted_dbm


@dataclass(frozen=True, kw_only=True, eq=False)
class ProductLevels:
    """Level of each product over the wanted one, before any filter.

    level_db, doubt_db  (16, 16): row |m| of the oscillator, column |n| of the signal; doubt is half of 95 %
    model, source       which one ran, for the reader
    """

    level_db: Floats
    doubt_db: Floats
    model: str
    source: str


def product_levels(
    drive: MixerDrive,
    *,
    model: str = "typical",
    own: Mapping[tuple[int, int], tuple[float, float | None]] | None = None,
) -> ProductLevels:
    """Levels of all products to order 15.

    model   one of MODELS
    own     (|m|, |n|) -> level for single tones at this drive, and its doubt or None; needed for "own table"
    raises  ChoiceError, RangeError
    """
    require_one_of("mixer", model, MODELS, source="the models there are")
    level, doubt = _ring(drive)
    if model in TABLES:
        _from_table(level, doubt, drive, TABLES[model])
    for (m, n), (own_db, own_doubt) in (own or {}).items():
        require_between("m and n of a mixer table", max(m, n), 0, MOST_ORDER, unit="", source="this program's limit")
        level[m, n], doubt[m, n] = own_db, OWN_DOUBT_DB if own_doubt is None else own_doubt
    level += np.array([gaussian_excess_db(n) for n in range(MOST_ORDER + 1)])[None, :]
    _leaks(level, doubt, drive, own or {})
    level[1, 1] = doubt[1, 1] = 0.0
    level.flags.writeable = doubt.flags.writeable = False
    return ProductLevels(level_db=level, doubt_db=doubt, model=model, source=_source(model))


def _source(model: str) -> str:
    if model == "ring":
        return "diode ring with 10 % spread and 3 % balun error (chain/conversion/ring.py)"
    if model == "own table":
        return "the operator's own mixer table, the rest from the diode ring"
    return f"table mixer_spurs_typical, {TABLES[model]}, the rest from the diode ring"


def _ring(drive: MixerDrive) -> tuple[Floats, Floats]:
    products = ring_products_dbm(RingMixer(), lo_dbm=drive.lo_dbm, signal_dbm=drive.signal_dbm, reach=MOST_ORDER)
    level = products[:, MOST_ORDER:] - products[1, MOST_ORDER + 1]
    doubt = np.full(level.shape, FILLED_DOUBT_DB)
    doubt[1::2, 1::2] = TABLE_DOUBT_DB  # odd by odd products do not live on imbalance
    return level.copy(), doubt


def _from_table(level: Floats, doubt: Floats, drive: MixerDrive, name: str) -> None:
    for row in load_table("mixer_spurs_typical"):
        if row["mixer"] != name:
            continue
        m, n = int(row["n_lo"]), int(row["m_signal"])
        less = (drive.signal_dbm - drive.lo_dbm) - (float(row["signal_dbm"]) - float(row["lo_dbm"]))
        level[m, n] = float(row["level_dbc_vs_1x1"]) + (n - 1) * less
        doubt[m, n] = TABLE_DOUBT_DB


def _leaks(level: Floats, doubt: Floats, drive: MixerDrive, own: Mapping[tuple[int, int], object]) -> None:
    """Put in the lines of the oscillator and what leaks of the signal, where no own table has them."""
    lines = level[:, 0] - level[1, 0] + drive.lo_line_db
    for m in range(1, MOST_ORDER + 1):
        if (m, 0) not in own:
            level[m, 0] = lines[m]
            doubt[m, 0] = math.hypot(drive.lo_isolation_doubt_db, drive.loss_doubt_db, 0 if m == 1 else TABLE_DOUBT_DB)
    leak = drive.loss_db - drive.if_isolation_db
    for n in range(1, MOST_ORDER + 1):
        if (0, n) in own:
            continue
        harmonic = 0.0 if n == 1 else drive.harmonic_db - HARMONIC_STEP_DB * (n - 2)
        through = leak + harmonic
        level[0, n] = through if n == 1 else 10 * math.log10(10 ** (through / 10) + 10 ** (level[0, n] / 10))
        parts = (drive.if_isolation_doubt_db, drive.loss_doubt_db, 0.0 if n == 1 else drive.harmonic_doubt_db)
        doubt[0, n] = math.hypot(*parts)

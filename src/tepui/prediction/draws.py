"""Draws of what is not known, each unknown by its own name.

Theory  Every unknown has a stream of standard normal numbers from one seed and its name, so that a draw does not depend
        on what else there is: a stage that adds nothing changes no other number. Readings are taken in by Matheron's
        rule: a draw of all unknowns, moved by the Kalman gain times what is left between reading and draw.
Source  J.-P. Chiles and P. Delfiner, Geostatistics, for conditioning by Kriging (from memory); [GUM-S1] 7 for the use.
Holds   ``DRAWS`` draws: the ends of 95 % are good to 0.04 standard uncertainties.
"""

import zlib
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tepui.prediction.readings import LevelReading, Model

Floats = npt.NDArray[np.float64]
DRAWS = 4000
SEED = 62


def normal(name: str) -> Floats:
    """Standard normal draws of one unknown, in pairs of either sign. (DRAWS,)"""
    half = _generator(name).standard_normal(DRAWS // 2)
    return np.concatenate([half, -half])


def uniform(name: str) -> Floats:
    """Draws between 0 and 1 of one unknown. (DRAWS,)"""
    return np.asarray(_generator(name).random(DRAWS))


def _generator(name: str) -> np.random.Generator:
    return np.random.default_rng([SEED, zlib.crc32(name.encode())])


def drawn_levels(model: Model, readings: Sequence[LevelReading]) -> Floats:
    """Levels behind all stages with all that they have in common. (DRAWS, stages) [dBm]

    model     before any reading, its unknowns independent
    readings  those that stand
    """
    names = [*(f"gain of {link.name}" for link in model.links), *(f"offset of {name}" for name in model.instruments)]
    std = np.sqrt(np.diag(model.covariance))
    drawn = model.mean + np.stack([normal(name) for name in names], axis=1) * std
    if readings:
        h = np.stack([model.row(one.point, one.instrument) for one in readings])
        noise = np.array([one.std_db for one in readings])
        gain = np.linalg.solve(h @ model.covariance @ h.T + np.diag(noise**2), h @ model.covariance).T
        texts = [f"{one.point} {one.instrument} {one.level_dbm}" for one in readings]
        errors = np.stack([normal(f"reading {text} {texts[:n].count(text)}") for n, text in enumerate(texts)], axis=1)
        read = np.array([one.level_dbm for one in readings]) + errors * noise
        drawn = drawn + (read - drawn @ h.T) @ gain.T
    return np.asarray(np.cumsum(drawn[:, : len(model.links)], axis=1))

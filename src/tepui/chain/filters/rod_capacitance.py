"""Static capacitance of round rods in a row between two plates, with or without side walls.

Theory  A line charge between plates at y = 0 and h has the potential (1 / 4 pi eps) ln[(cosh u - cos v+) / (cosh u -
        cos v-)], u = pi dx / h, v+- = pi (y +- y0) / h; side walls are images at -x and 2 W k +- x with changing sign.
        The charge on each circle is sought at equal angles; the logarithm's singular part is integrated exactly
        (R. Kussmaul, E. Martensen; R. Kress, Linear Integral Equations, 12.3, from memory).
Source  own boundary-element solution; checked on table coupled_round_rods.
Holds   Rods centred between the plates and not touching: a gap of at least a tenth of the diameter.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
POINTS = 24
DECAYED = 3.5  # plate distances after which an image no longer counts: exp(-3.5 pi) = 2e-5


def rod_capacitance(
    centres_m: Sequence[float] | Floats, *, diameter_m: float, plates_m: float, walls_m: tuple[float, float] | None
) -> Floats:
    """Capacitance per length over eps0 between every rod and the box: the Maxwell matrix. (n, n)

    centres_m  along the row;  plates_m  distance of the plates;  walls_m  where the side walls stand, None without
    raises     RangeError where rods touch each other, a plate or a wall
    """
    centres = np.asarray(centres_m, dtype=np.float64)
    _require_room(centres, diameter_m, plates_m, walls_m)
    count, half = len(centres), POINTS // 2
    angle = 2 * np.pi * (np.arange(POINTS) + 0.5) / POINTS
    radius = diameter_m / 2
    across, up = radius * np.cos(angle), radius * np.sin(angle)
    x = (centres[:, None] + across).ravel()
    y = np.tile(plates_m / 2 + up, count)
    seen = np.concatenate([np.arange(half) + POINTS * rod for rod in range(count)])
    kernel = _direct(x[seen], y[seen], x, y, plates_m)
    for place, sign in _images(x, walls_m, plates_m):
        kernel += sign * _plain(x[seen], y[seen], place, y, plates_m)
    kernel *= 2 * np.pi / POINTS
    singular = _log_weights(angle)[:half] - 2 * np.pi / POINTS * _log_parts(angle)[:half]
    for rod in range(count):
        kernel[rod * half : (rod + 1) * half, rod * POINTS : (rod + 1) * POINTS] -= singular / (4 * np.pi)
    folded = kernel.reshape(count * half, count, POINTS)
    system = (folded[:, :, :half] + folded[:, :, half:][:, :, ::-1]).reshape(count * half, count * half)
    drive = np.kron(np.eye(count), np.ones((half, 1)))
    charge = np.linalg.solve(system, drive) * 4 * np.pi / POINTS
    matrix = charge.reshape(count, half, count).sum(axis=1)
    return np.asarray((matrix + matrix.T) / 2)


def _require_room(centres: Floats, diameter_m: float, plates_m: float, walls_m: tuple[float, float] | None) -> None:
    if not 0 < diameter_m < 0.9 * plates_m:
        raise RangeError(
            f"rods of {diameter_m * 1e3:g} mm between plates {plates_m * 1e3:g} mm apart leave no room; the rod must "
            "be thinner than 0.9 of that distance."
        )
    least = np.diff(centres).min(initial=np.inf)
    if least < 1.1 * diameter_m:
        raise RangeError(
            f"rod centres {least * 1e3:.3g} mm apart leave no gap between rods of {diameter_m * 1e3:g} mm; "
            f"{1.1e3 * diameter_m:.3g} mm is the least this model holds for."
        )
    if walls_m is not None and min(centres[0] - walls_m[0], walls_m[1] - centres[-1]) < 0.55 * diameter_m:
        raise RangeError("an end rod touches its side wall; move the wall out.")


def _plain(x: Floats, y: Floats, x0: Floats, y0: Floats, plates_m: float) -> Floats:
    """4 pi times the potential of unit line charges elsewhere, over 4 pi."""
    u = np.cosh(np.pi * (x[:, None] - x0) / plates_m)
    plus = np.cos(np.pi * (y[:, None] + y0) / plates_m)
    minus = np.cos(np.pi * (y[:, None] - y0) / plates_m)
    return np.asarray(np.log((u - plus) / (u - minus)) / (4 * np.pi))


def _direct(x: Floats, y: Floats, x0: Floats, y0: Floats, plates_m: float) -> Floats:
    """The same on the rods themselves; where source and point coincide, 1 stands for the chord's square."""
    u = np.pi * (x[:, None] - x0) / plates_m
    v = np.pi * (y[:, None] - y0) / plates_m
    near = 2 * (np.sinh(u / 2) ** 2 + np.sin(v / 2) ** 2)
    same = near == 0
    span = np.ptp(y0) / 2 / np.cos(np.pi * (1 / POINTS + 0.5 - round(POINTS / 4) * 2 / POINTS))
    near[same] = (np.pi * span / plates_m) ** 2 / 2
    plus = np.cos(np.pi * (y[:, None] + y0) / plates_m)
    return np.asarray(np.log((np.cosh(u) - plus) / near) / (4 * np.pi))


def _log_parts(angle: Floats) -> Floats:
    """ln(4 sin^2) of half the angle between points, 0 on the diagonal. (n, n)"""
    chord = 4 * np.sin((angle[:, None] - angle) / 2) ** 2
    np.fill_diagonal(chord, 1.0)
    return np.asarray(np.log(chord))


def _log_weights(angle: Floats) -> Floats:
    """Exact weights of ln(4 sin^2((t - s) / 2)) for trigonometric polynomials. (n, n)"""
    half = len(angle) // 2
    away = angle[:, None] - angle
    order = np.arange(1, half)
    series = (np.cos(away[..., None] * order) / order).sum(axis=-1)
    return np.asarray(-2 * np.pi / half * series - np.pi / half**2 * np.cos(half * away))


def _images(x: Floats, walls_m: tuple[float, float] | None, plates_m: float) -> list[tuple[Floats, int]]:
    """Mirrored sources that are near enough to count, each with its sign."""
    if walls_m is None:
        return []
    left, right = walls_m
    width = right - left
    reach = DECAYED * plates_m
    found: list[tuple[Floats, int]] = []
    for turn in range(-int(reach / (2 * width)) - 1, int(reach / (2 * width)) + 2):
        for place, sign in ((x + 2 * turn * width, 1), (2 * left - x + 2 * turn * width, -1)):
            if turn == 0 and sign == 1:
                continue
            if place.max() > left - reach and place.min() < right + reach:
                found.append((place, sign))
    return found

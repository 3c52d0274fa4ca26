"""Who will see the picture: loss over an area, cut into tasks that may run anywhere and be kept when done.

Theory  Each pixel has its own profile, or radials to every pixel of the edge stand for those between them. A task is
        some rows or some radials; it holds all it needs, so that it runs in a thread, in another process, or on
        another machine.
Source  [P.526], [P.1812-8], [P.452-18] through chain/propagation; own design for the tasks.
Holds   Radials know bare ground and P.526 only. Clutter and sea cost time, for every term is worked out.
"""

import hashlib
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.pattern import Pattern
from tepui.chain.antenna.places import Place
from tepui.chain.propagation.models import PathCase, kernel_inputs, zones_along
from tepui.ground.errors import RangeError
from tepui.prediction.map_combine import Feeding
from tepui.prediction.map_grid import MapGrid
from tepui.signals.terrain import ZONES, Profile

ROWS_PER_TASK, RADIALS_PER_TASK = 32, 256
KERNELS_VERSION = 2
LEAST_APART_M = 1.0
COARSEST = 7  # the nearest pixels are served by every 128th radial
Singles = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class MapSite:
    """A transmitter on the map.

    height_m     above ground;  azimuth_deg  of its antenna's axis, true
    delay_s      by which it sends later than the others
    feeding      how a repeater gets its signal; None where the picture is made here
    """

    name: str
    place: Place
    height_m: float
    eirp_dbm: float
    pattern: Pattern | None = None
    azimuth_deg: float = 0.0
    delay_s: float = 0.0
    feeding: Feeding | None = None


@dataclass(frozen=True, kw_only=True)
class MapConditions:
    """How a map is worked out; ``radial`` lets radials stand for the pixels between them (P.526 only)."""

    model: str
    frequency_hz: float
    rx_height_m: float
    radial: bool
    reach_m: float
    time_share: float = 0.5
    location_share: float = 0.5
    location_std_db: float = 5.5
    vertical: bool = False
    delta_n: float = 45.0
    n_0: float = 325.0
    earth_radius_m: float | None = None

    def __post_init__(self) -> None:
        if self.radial and self.model != "p526":
            raise RangeError("A radial map is worked out by p526 only; leave --radial out, or take --model p526.")
        if self.model not in ("p526", "p1812", "p452"):
            raise RangeError(f"A map is worked out by p526, p1812 or p452, not {self.model}.")


@dataclass(frozen=True, kw_only=True, eq=False)
class MapTask:
    """Some rows or some radials of one map, with all they need."""

    radial: bool
    first: int
    count: int
    height_m: Singles
    row: float
    column: float
    pixel_km: float
    reach_km: float
    tx_height_m: float
    rx_height_m: float
    latitude_deg: float
    inputs: Floats
    key: str
    clutter_m: Singles
    zone: Codes


def map_tasks_for(grid: MapGrid, site: MapSite, conditions: MapConditions) -> list[MapTask]:
    """The tasks of one transmitter's map, in order.

    raises  RangeError where the transmitter stands outside, or conditions are outside the model
    """
    row, column = grid.pixel_of(site.place)
    rows, columns = grid.height_m.shape
    if not (0 <= row <= rows - 1 and 0 <= column <= columns - 1):
        raise RangeError(f"{site.name} stands outside the map; enlarge --reach.")
    if conditions.radial and not grid.bare:
        raise RangeError("Radials know bare land only; leave --radial out where clutter or sea is told.")
    inputs = _inputs(site, conditions)
    total = 2 * (rows + columns - 2) if conditions.radial else rows
    step = RADIALS_PER_TASK if conditions.radial else ROWS_PER_TASK
    digest = hashlib.sha256(grid.height_m.tobytes())
    digest.update(grid.clutter_m.tobytes() + grid.land.tobytes())
    digest.update(f"{KERNELS_VERSION} {conditions} {row} {column} {site.height_m} {grid.pixel_m}".encode())
    key = digest.hexdigest()[:16]
    return [
        MapTask(
            radial=conditions.radial,
            first=first,
            count=min(step, total - first),
            height_m=grid.height_m,
            row=row,
            column=column,
            pixel_km=grid.pixel_m / grid.scale / 1e3,
            reach_km=conditions.reach_m / 1e3,
            tx_height_m=site.height_m,
            rx_height_m=conditions.rx_height_m,
            latitude_deg=abs(site.place.latitude_deg),
            inputs=inputs,
            key=key,
            clutter_m=grid.clutter_m,
            zone=grid.land,
        )
        for first in range(0, total, step)
    ]


def _inputs(site: MapSite, conditions: MapConditions) -> Floats:
    """The kernel's row of numbers, from a path that stands for all of them."""
    profile = Profile(distance_m=np.array([0.0, 1e4, 2e4]), height_m=np.zeros(3), source="map")
    case = _case(profile, site, conditions, rx_height_m=conditions.rx_height_m)
    return kernel_inputs(case, zones_along(case))


def _case(profile: Profile, site: MapSite, conditions: MapConditions, *, rx_height_m: float) -> PathCase:
    return PathCase(
        profile=profile,
        model=conditions.model,
        frequency_hz=conditions.frequency_hz,
        tx_height_m=site.height_m,
        rx_height_m=rx_height_m,
        time_share=conditions.time_share,
        location_share=conditions.location_share,
        location_std_db=conditions.location_std_db,
        vertical=conditions.vertical,
        earth_radius_m=conditions.earth_radius_m,
        delta_n=conditions.delta_n,
        n_0=conditions.n_0,
        latitude_deg=site.place.latitude_deg,
    )


def edge_pixels(rows: int, columns: int) -> Floats:
    """Row and column of every pixel of the edge, clockwise from the north-west: (2 (rows + columns - 2), 2)."""
    across, down = np.arange(columns - 1.0), np.arange(rows - 1.0)
    top = np.stack([np.zeros_like(across), across], axis=1)
    right = np.stack([down, np.full_like(down, columns - 1)], axis=1)
    bottom = np.stack([np.full_like(across, rows - 1), columns - 1 - across], axis=1)
    left = np.stack([rows - 1 - down, np.zeros_like(down)], axis=1)
    return np.concatenate([top, right, bottom, left])


def radial_begins(ends: Floats, *, first: int, row: float, column: float) -> npt.NDArray[np.int64]:
    """The step from which each radial is wanted: near the transmitter every second, fourth ... one is enough. (n,)

    A radial whose number divides by 2^k serves pixels from 1/2^(k+1) of its way on.
    """
    number = first + np.arange(len(ends))
    divides = np.full(len(ends), COARSEST)
    for k in range(COARSEST - 1, -1, -1):
        divides[number % 2 ** (k + 1) != 0] = k
    length = np.hypot(ends[:, 0] - row, ends[:, 1] - column)
    begins = np.floor(length / 2.0 ** (divides + 1)).astype(np.int64) - 2
    begins[divides == COARSEST] = 1
    return np.maximum(begins, 1)


def run_map_task(task: MapTask) -> Singles:
    """Loss of a task's rows, or of its radials step by step."""
    from tepui.chain.propagation.coverage_kernels import map_covered_rows, map_rows
    from tepui.chain.propagation.radial_kernels import map_radials

    rows, columns = task.height_m.shape
    most = math.ceil(math.hypot(rows, columns)) + 2
    inverse = np.zeros(most)
    inverse[1:] = 1.0 / np.arange(1, most)
    root = np.sqrt(inverse)
    given = np.array(task.inputs)
    grid = np.ascontiguousarray(task.height_m)
    if task.radial:
        loss = np.empty((task.count, most - 1), np.float32)
        ends = np.ascontiguousarray(edge_pixels(rows, columns)[task.first : task.first + task.count])
        begins = radial_begins(ends, first=task.first, row=task.row, column=task.column)
        map_radials(
            grid,
            task.row,
            task.column,
            task.pixel_km,
            task.tx_height_m,
            task.rx_height_m,
            given,
            root,
            ends,
            begins,
            loss,
        )
        return loss
    loss = np.empty((task.count, columns), np.float32)
    if task.clutter_m.shape[0] > 1 or task.zone.shape[0] > 1:
        map_covered_rows(
            grid, np.ascontiguousarray(task.clutter_m), np.ascontiguousarray(task.zone), task.row, task.column,
            task.pixel_km, task.reach_km, task.tx_height_m, task.rx_height_m, task.latitude_deg, given, most,
            task.first, loss,
        )  # fmt: skip
        return loss
    map_rows(
        grid, task.row, task.column, task.pixel_km, task.reach_km, task.tx_height_m, task.rx_height_m,
        task.latitude_deg, given, inverse, root, task.first, loss,
    )  # fmt: skip
    return loss


def assembled(tasks: list[MapTask], parts: list[Singles]) -> Singles:
    """One map from its parts: rows below each other, or every pixel from the radial that passes it."""
    joined = np.concatenate(parts)
    if not tasks[0].radial:
        return joined
    task = tasks[0]
    rows, columns = task.height_m.shape
    down, right = np.arange(rows)[:, None] - task.row, np.arange(columns)[None, :] - task.column
    with np.errstate(divide="ignore", invalid="ignore"):
        to_row = np.where(down > 0, (rows - 1 - task.row) / down, np.where(down < 0, task.row / -down, np.inf))
        to_column = np.where(
            right > 0, (columns - 1 - task.column) / right, np.where(right < 0, task.column / -right, np.inf)
        )
        reach = np.minimum(to_row, to_column)
        end_row = np.rint(np.nan_to_num(task.row + reach * down)).astype(np.int64).clip(0, rows - 1)
        end_column = np.rint(np.nan_to_num(task.column + reach * right)).astype(np.int64).clip(0, columns - 1)
    ray = np.full((rows, columns), -1, np.int64)
    for number, (row, column) in enumerate(edge_pixels(rows, columns).astype(np.int64)):
        ray[row, column] = number
    away = np.hypot(down, right)
    step = np.rint(away).astype(np.int64) - 1
    level = np.floor(np.log2(np.clip(np.nan_to_num(reach, posinf=1.0), 1.0, 2.0**COARSEST)))
    apart = 2.0**level
    chosen = (np.rint(ray[end_row, end_column] / apart) * apart).astype(np.int64)
    chosen = np.where(chosen >= len(joined), 0, chosen)
    found: Singles = joined[chosen, np.clip(step, 0, joined.shape[1] - 1)]
    outside = (away < 1) | (away * task.pixel_km > task.reach_km)
    found[outside] = np.nan
    return found


def eirp_towards(grid: MapGrid, site: MapSite) -> Singles:
    """Mean e.i.r.p. of a site towards every pixel. [dBm]"""
    rows, columns = grid.height_m.shape
    if site.pattern is None:
        return np.full((rows, columns), np.float32(site.eirp_dbm))
    row, column = grid.pixel_of(site.place)
    bearing = np.degrees(np.arctan2(np.arange(columns)[None, :] - column, row - np.arange(rows)[:, None]))
    turned = np.abs((bearing - site.azimuth_deg + 180) % 360 - 180)
    loss = np.interp(turned, site.pattern.angle_deg, site.pattern.loss_db)
    towards: Singles = (site.eirp_dbm - loss).astype(np.float32)
    return towards


def away_m(grid: MapGrid, site: MapSite) -> Floats:
    """Distance of every pixel from a site. [m]"""
    row, column = grid.pixel_of(site.place)
    rows, columns = grid.height_m.shape
    pixels = np.hypot(np.arange(rows)[:, None] - row, np.arange(columns)[None, :] - column)
    distance: Floats = pixels * grid.pixel_m / grid.scale
    return distance


def case_between(
    grid: MapGrid, start: MapSite, end: MapSite, *, height_m: float, conditions: MapConditions
) -> PathCase:
    """The path between two sites over the map's ground, to an antenna of this height."""
    from scipy.ndimage import map_coordinates

    (r0, c0), (r1, c1) = grid.pixel_of(start.place), grid.pixel_of(end.place)
    pixels = math.hypot(r1 - r0, c1 - c0)
    if pixels * grid.pixel_m < LEAST_APART_M:
        raise RangeError(f"{start.name} and {end.name} stand in one place; a repeater needs a path to its feeder.")
    n = max(math.ceil(pixels) + 1, 3)
    line = np.array([np.linspace(r0, r1, n), np.linspace(c0, c1, n)])
    clutter = zone = None
    if grid.clutter_m.shape == grid.height_m.shape:
        clutter = map_coordinates(grid.clutter_m, line, order=0, mode="nearest").astype(np.float64)
    if grid.land.shape == grid.height_m.shape:
        zone = tuple(ZONES[code] for code in map_coordinates(grid.land, line, order=0, mode="nearest"))
    profile = Profile(
        distance_m=np.linspace(0.0, pixels * grid.pixel_m / grid.scale, n),
        height_m=map_coordinates(grid.height_m.astype(np.float64), line, order=1, mode="nearest"),
        clutter_m=clutter,
        zone=zone,
        source="map",
    )
    return _case(profile, start, conditions, rx_height_m=height_m)

"""Maps against single paths: every pixel by its own profile, radials by their hulls, on real ground."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from tepui.chain.propagation.coverage_kernels import map_covered_rows, map_rows
from tepui.chain.propagation.models import PathCase, kernel_inputs, path_loss, zones_along
from tepui.chain.propagation.radial_kernels import map_radials
from tepui.signals.terrain import ZONES, Profile
from terrain_files import srtm_cut

GRID = srtm_cut().astype(np.float32)
ROW, COLUMN, PIXEL_KM, TX_M, RX_M, LATITUDE = 170.0, 200.0, 0.09, 20.0, 10.0, 36.6
INVERSE = np.zeros(600)
INVERSE[1:] = 1 / np.arange(1, 600)
ROOT = np.sqrt(INVERSE)


def case(**changes):
    profile = Profile(distance_m=[0, 1e4, 2e4], height_m=[0, 0, 0], source="any")
    given = {"model": "p526", "frequency_hz": 1.27e9, "tx_height_m": TX_M, "rx_height_m": RX_M, **changes}
    return PathCase(profile=profile, latitude_deg=LATITUDE, **given)


def on_profile(asked, rows, columns, step_m):
    """The single-path model, heights between samples by scipy."""
    height = map_coordinates(GRID.astype(np.float64), [rows, columns], order=1)
    profile = Profile(distance_m=step_m * np.arange(len(rows)), height_m=height, source="cut")
    return path_loss(replace(asked, profile=profile)).loss_db


# The single-path kernel, itself held by the published sets; the smooth path has its extremes between points here.
@pytest.mark.parametrize(
    "changes",
    [{}, {"frequency_hz": 0.1e9, "vertical": True}, {"model": "p1812"}, {"model": "p1812", "time_share": 0.05},
     {"model": "p1812", "location_share": 0.9}, {"model": "p452", "time_share": 0.001, "frequency_hz": 10e9}],
)  # fmt: skip
def test_law_every_pixel_is_its_own_path(changes):
    asked = case(**changes)
    loss = np.zeros((12, GRID.shape[1]), np.float32)
    given = kernel_inputs(asked, zones_along(asked))
    map_rows(GRID, ROW, COLUMN, PIXEL_KM, 100.0, TX_M, RX_M, LATITUDE, given, INVERSE, ROOT, 60, loss)
    rng = np.random.default_rng(2)
    for _ in range(40):
        row, column = int(rng.integers(12)), int(rng.integers(GRID.shape[1]))
        away = math.hypot(60 + row - ROW, column - COLUMN)
        n = max(math.ceil(away) + 1, 3)
        rows, columns = np.linspace(ROW, 60 + row, n), np.linspace(COLUMN, column, n)
        single = on_profile(asked, rows, columns, 1e3 * away * PIXEL_KM / (n - 1))
        assert loss[row, column] == pytest.approx(single, abs=0.01)


@pytest.mark.parametrize("end", [(0, 0), (343, 402), (0, 200), (100, 402), (343, 10)])
def test_law_a_hull_gives_what_brute_force_gives(end):
    asked = case()
    begins, ends = np.ones(1, np.int64), np.array([end], float)
    loss = np.zeros((1, 599), np.float32)
    given = kernel_inputs(asked, zones_along(asked))
    map_radials(GRID, ROW, COLUMN, PIXEL_KM, TX_M, RX_M, given, ROOT, ends, begins, loss)
    length = math.hypot(end[0] - ROW, end[1] - COLUMN)
    steps = np.arange(int(length) + 1)
    rows, columns = ROW + (end[0] - ROW) * steps / length, COLUMN + (end[1] - COLUMN) * steps / length
    for n in range(3, len(steps) + 1):
        brute = on_profile(asked, rows[:n], columns[:n], 1e3 * PIXEL_KM)
        assert loss[0, n - 2] == pytest.approx(brute, abs=0.05), n
    assert np.isnan(loss[0, len(steps) :]).all()


def test_law_pixels_beyond_the_reach_are_nothing():
    asked = case()
    loss = np.zeros((1, GRID.shape[1]), np.float32)
    given = kernel_inputs(asked, zones_along(asked))
    map_rows(GRID, ROW, COLUMN, PIXEL_KM, 5.0, TX_M, RX_M, LATITUDE, given, INVERSE, ROOT, 170, loss)
    away = np.abs(np.arange(GRID.shape[1]) - COLUMN) * PIXEL_KM
    assert np.isnan(loss[0, away > 5.0]).all()
    assert np.isfinite(loss[0, (away <= 5.0) & (away > 0)]).all()
    assert np.isnan(loss[0, 200])


# Clutter and zones of the nearest pixel, the coasts where the first sea begins; the single-path kernel has the truth.
@pytest.mark.parametrize("model", ["p526", "p1812", "p452"])
def test_law_clutter_and_sea_are_those_of_the_single_path(model):
    frequency = {"frequency_hz": 2e9, "time_share": 0.5 if model == "p526" else 0.02}
    asked = case(model=model, **frequency)
    rng = np.random.default_rng(3)
    clutter = rng.choice([0, 5, 20], GRID.shape).astype(np.float32)
    zone = np.full(GRID.shape, 2, np.uint8)
    zone[:, 230:] = 0
    zone[:, 180:230] = 1
    loss = np.zeros((12, GRID.shape[1]), np.float32)
    given = kernel_inputs(asked, zones_along(asked))
    map_covered_rows(GRID, clutter, zone, ROW, COLUMN, PIXEL_KM, 100.0, TX_M, RX_M, LATITUDE, given, 700, 60, loss)
    for _ in range(25):
        row, column = int(rng.integers(12)), int(rng.integers(GRID.shape[1]))
        away = math.hypot(60 + row - ROW, column - COLUMN)
        n = max(math.ceil(away) + 1, 3)
        rows, columns = np.linspace(ROW, 60 + row, n), np.linspace(COLUMN, column, n)
        near = np.floor(rows + 0.5).astype(int), np.floor(columns + 0.5).astype(int)
        x = np.linspace(0, 1e3 * away * PIXEL_KM, n)
        kind = zone[near]
        sea = np.flatnonzero(kind == 0)
        half = x[1] / 2
        profile = Profile(
            distance_m=x,
            height_m=map_coordinates(GRID.astype(np.float64), [rows, columns], order=1),
            clutter_m=clutter[near].astype(float),
            zone=tuple(ZONES[one] for one in kind),
            source="cut",
        )
        coasts = (500e3, 500e3) if not sea.size else (max(x[sea[0]] - half, 0), x[-1] - min(x[sea[-1]] + half, x[-1]))
        single = path_loss(replace(asked, profile=profile, coast_tx_m=coasts[0], coast_rx_m=coasts[1])).loss_db
        assert loss[row, column] == pytest.approx(single, abs=0.002)

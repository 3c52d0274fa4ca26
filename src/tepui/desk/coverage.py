"""``coverage`` at the desk: ground, transmitters and tasks in; map files, stations' reports and findings out."""

import itertools
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from tepui.chain.antenna.grid import from_grid
from tepui.chain.antenna.places import Place
from tepui.desk.hashes import InputHashes
from tepui.desk.keep import keep_text, require_folder
from tepui.desk.progress import Progress
from tepui.files.contours import contours_text
from tepui.files.elevation import open_area, terrain_files
from tepui.files.geotiff import Area, write_geotiff
from tepui.files.stations import read_stations
from tepui.files.tiles import kept_part
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import InputError, RangeError
from tepui.ground.findings import Outcome, finding_named
from tepui.ground.listing import outcome_text, page_for
from tepui.ground.tasks import map_tasks
from tepui.jobs.coverage import CoverageMap, CoverageQuestion, coverage_map, coverage_outcome, station_reports
from tepui.jobs.listed import ListedStation
from tepui.prediction.coverage import MapTask, Singles, assembled, map_tasks_for, run_map_task
from tepui.prediction.map_grid import (
    MapGrid,
    bare_grid,
    with_clutter,
    with_terrain,
    with_zones_of_codes,
    with_zones_of_terrain,
)

SHOWN_TABLES = ("station_reports", "repeater_inputs", "mode_shares", "reach_by_gain", "level_histogram")
OF_TERRAIN = "terrain"
BATCH = 16


@dataclass(frozen=True, kw_only=True)
class CoverageRequest:
    """What was asked on the command line, in SI.

    out      folder for the map's files and its finished parts; None writes nothing
    cluster  address of a Dask scheduler; None uses threads here
    clutter  raster of heights of trees and houses;  clutter_height_m  the same on all land
    zones    "terrain", or the name of a raster of codes 1, 3, 4; None takes all for inland
    inputs   files already read: station file, table of transmitters
    """

    question: CoverageQuestion
    reach_m: float
    pixel_m: float
    terrain: tuple[Path, ...]
    missing_is_sea: bool
    square: bool
    out: Path | None
    cluster: str | None
    workers: int | None
    stations: Path | None = None
    listed: tuple[ListedStation, ...] = ()
    terrain_kind: str | None = None
    clutter: Path | None = None
    clutter_height_m: float | None = None
    zones: str | None = None
    inputs: tuple[Path, ...] = ()
    station: str | None = None
    remarks: tuple[str, ...] = ()


def run_coverage(request: CoverageRequest, *, as_json: bool) -> int:
    """The verb: work out, keep, print, return the exit code.

    raises  InputError where something cannot be used; finished parts are kept all the same
    """
    if request.out is not None:
        require_folder(request.out)
    inputs = [*request.inputs, *(terrain_files(request.terrain) if request.terrain else [])]
    stations = request.listed if request.stations is None else read_stations(request.stations)
    more = [request.stations, request.clutter]
    if request.zones not in (None, OF_TERRAIN):
        more.append(Path(str(request.zones)))
    hashes = InputHashes([*inputs, *(path for path in more if path is not None)])
    grid, remarks = _ground(request)
    conditions = request.question.conditions
    if request.square:
        conditions = replace(conditions, reach_m=conditions.reach_m * 2**0.5 + request.pixel_m)
    question = replace(request.question, conditions=conditions)
    all_tasks = [map_tasks_for(grid, site, conditions) for site in question.sites]
    parts_folder = None
    if request.out is not None:
        parts_folder = request.out / "parts"
        request.out.mkdir(exist_ok=True)
        parts_folder.mkdir(exist_ok=True)
    with _executor(request.cluster) as executor:
        losses = [
            assembled(tasks, _run(tasks, parts_folder, executor=executor, workers=request.workers))
            for tasks in all_tasks
        ]
    seen = coverage_map(question, grid, losses)
    outcome = coverage_outcome(question, grid, seen, [*request.remarks, *remarks])
    if stations:
        outcome = replace(outcome, tables=(station_reports(question, grid, seen, stations), *outcome.tables))
    written = [] if request.out is None else _keep(request, question, grid, seen, outcome=outcome, stations=stations)
    document = build_document(
        verb="coverage", outcomes=[outcome], inputs=hashes.result(), files=written, station=request.station
    )
    sys.stdout.write(document_text(document) if as_json else _text(outcome, written))
    return 0


def _ground(request: CoverageRequest) -> tuple[MapGrid, list[str]]:
    """The grid, with terrain where given."""
    grid = bare_grid(request.question.sites[0].place, reach_m=request.reach_m, pixel_m=request.pixel_m)
    if request.terrain_kind != "bare" and (request.clutter is not None or request.clutter_height_m is not None):
        raise RangeError(
            "--clutter and --clutter-height stand on bare ground; a surface model holds trees and houses already and "
            "they would count twice, so say --terrain-kind bare or leave them out."
        )
    if not request.terrain:
        if request.zones == OF_TERRAIN:
            raise InputError("--zones terrain judges sea and coast from heights; give --terrain, or a raster of zones.")
        remarks = ["No terrain was given: a smooth Earth is assumed, and every hill is missing."]
    else:
        grid, remarks = _heights(request, grid)
    area = _area(grid)
    if request.zones == OF_TERRAIN:
        grid = with_zones_of_terrain(grid)
        remarks.append("Sea is what no tile covers and what is exactly 0 m high; coast reaches to 100 m and 50 km.")
    elif request.zones is not None:
        grid = with_zones_of_codes(grid, open_area([Path(request.zones)], area))
    if request.clutter is not None:
        grid = with_clutter(grid, open_area([request.clutter], area))
        remarks.append("Clutter outside its raster counts as 0 m.")
    elif request.clutter_height_m is not None:
        grid = with_clutter(grid, request.clutter_height_m)
    if grid.land.shape == grid.height_m.shape:
        sea = float(np.mean(grid.land == 0))
        remarks.append(f"{100 * sea:.1f} % of the square is sea.")
    return grid, remarks


def _area(grid: MapGrid) -> Area:
    lat, lon = grid.places()
    return Area(
        south=float(lat.min()) - 0.01,
        north=float(lat.max()) + 0.01,
        west=float(lon.min()) - 0.01,
        east=float(lon.max()) + 0.01,
    )


def _heights(request: CoverageRequest, grid: MapGrid) -> tuple[MapGrid, list[str]]:
    """The grid with its terrain, and what was missing of it."""
    terrain = open_area(request.terrain, _area(grid))
    grid, voids, missing = with_terrain(grid, terrain, missing_is_sea=request.missing_is_sea)
    remarks = []
    if voids:
        remarks.append(f"{voids} void pixels took the heights beside them.")
    if missing:
        remarks.append(f"{missing} pixels that no tile covers are taken as sea.")
    return grid, remarks


@contextmanager
def _executor(address: str | None) -> Iterator[Executor | None]:
    """A Dask cluster's executor, or None for threads.

    raises  InputError where no cluster answers
    """
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError as problem:
        raise InputError("a cluster needs the library distributed; run 'pip install tepui[cluster]'.") from problem
    try:
        client = Client(address, timeout=10)
    except (OSError, TimeoutError, ValueError) as problem:
        raise InputError(f"no Dask scheduler answers at {address}; start one, or leave --cluster out.") from problem
    with client:
        yield client.get_executor()


def _run(tasks: list[MapTask], folder: Path | None, *, executor: Executor | None, workers: int | None) -> list[Singles]:
    """Every task's part, from the folder where it is kept; what is worked out is kept as soon as it is there."""
    name: Callable[[MapTask], str] = lambda task: f"{task.key}-{task.first:06d}"  # noqa: E731
    done = itertools.count(1)
    with Progress("map") as progress:

        def one_more() -> None:
            progress.tell(next(done) / len(tasks))

        if executor is None:

            def work(task: MapTask) -> Singles:
                part = kept_part(folder, name(task), partial(run_map_task, task))
                one_more()
                return part

            return map_tasks(work, tasks, workers=workers)
        parts: list[Singles] = []
        for first in range(0, len(tasks), BATCH):
            some = tasks[first : first + BATCH]
            asked = [task for task in some if folder is None or not (folder / f"{name(task)}.npy").exists()]
            worked = dict(zip(map(name, asked), map_tasks(run_map_task, asked, executor=executor), strict=True))
            for task in some:
                parts.append(kept_part(folder, name(task), partial(_ready, worked, name(task), task)))
                one_more()
        return parts


def _ready(worked: dict[str, Singles], name: str, task: MapTask) -> Singles:
    """What the cluster made; a kept part that turned out spoilt is worked out here."""
    return worked[name] if name in worked else run_map_task(task)


def _keep(
    request: CoverageRequest,
    question: CoverageQuestion,
    grid: MapGrid,
    seen: CoverageMap,
    *,
    outcome: Outcome,
    stations: Sequence[ListedStation],
) -> list[str]:
    """GeoTIFF, contours and picture into the folder; returns their paths."""
    assert request.out is not None
    from tepui import __version__
    from tepui.report.pictures import draw_pictures

    conditions = question.conditions
    tags = {
        "program": f"tepui {__version__}",
        "model": conditions.model,
        "frequency_hz": f"{conditions.frequency_hz:.0f}",
        "modes": "; ".join(f"{number} {one.mode.text()}" for number, one in enumerate(seen.modes)),
        "margin_db": f"{question.margin_db:g}",
        "rx_gain_dbi": f"{question.rx_gain_dbi:g}",
        "caution": "Prediction; says nothing of what is allowed or safe.",
    }
    raster = request.out / "coverage.tif"
    write_geotiff(
        raster,
        {**seen.bands(), "height_m": grid.height_m},
        epsg=grid.zone.epsg,
        west=grid.west_m,
        north=grid.north_m,
        pixel=grid.pixel_m,
        tags=tags,
    )

    def places(row: Any, column: Any) -> tuple[Any, Any]:
        east = grid.west_m + (np.asarray(column) + 0.5) * grid.pixel_m
        north = grid.north_m - (np.asarray(row) + 0.5) * grid.pixel_m
        return from_grid(grid.zone, east, north)

    levels = {one.mode.text(): one.required_cn_db + question.margin_db for one in seen.modes}
    said = {"margin_db": question.margin_db, "rx_gain_dbi": question.rx_gain_dbi}
    lines = request.out / "coverage.geojson"
    points = [
        *((one.name, "transmitter" if one.feeding is None else "repeater", one.place) for one in question.sites),
        *((one.call, "listed station", one.place) for one in stations),
    ]
    keep_text(lines, contours_text(seen.cn_db, levels, places=places, properties=said, points=points))
    site: Place = question.sites[0].place
    picture = {
        "coverage": {
            "margin_db": seen.margin_db,
            "height_m": grid.height_m,
            "pixel_m": grid.pixel_m,
            "reach_km": grid.pixel_m / grid.scale * grid.height_m.shape[0] / 2e3,
            "margin_kept_db": question.margin_db,
            "finding": finding_named(outcome.findings, "covered_share"),
            "sentence": f"{question.sites[0].name}, {conditions.frequency_hz / 1e6:g} MHz, {conditions.model}; a "
            f"receive antenna of {question.rx_gain_dbi:g} dBi at {conditions.rx_height_m:g} m.",
            "foot": f"{site.latitude_deg:.4f} N {site.longitude_deg:.4f} E, pixels of {grid.pixel_m:g} m. An "
            "expectation: it promises nobody a picture.",
            "lines": [f"{100 * conditions.location_share:g} % of places, {100 * conditions.time_share:g} % of time"],
        }
    }
    drawn = draw_pictures(picture, request.out, practice=False)
    return [str(path) for path in (raster, lines, *drawn)]


def _text(outcome: Outcome, files: list[str]) -> str:
    shown = replace(outcome, tables=tuple(table for table in outcome.tables if table.name in SHOWN_TABLES))
    parts = [outcome_text(shown, page_for(sys.stdout))]
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"

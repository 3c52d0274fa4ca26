"""Maps put together: radials against each pixel, several transmitters, a beam, tasks that are kept and resumed."""

import numpy as np
import pytest

from tepui.chain.antenna.geodesic import way_between
from tepui.chain.antenna.pattern import beam
from tepui.chain.antenna.places import Place
from tepui.chain.propagation.models import PathCase, path_loss
from tepui.files.tiles import kept_part, read_part
from tepui.ground.errors import RangeError
from tepui.ground.tasks import map_tasks
from tepui.prediction.coverage import (
    MapConditions,
    MapSite,
    assembled,
    edge_pixels,
    eirp_towards,
    map_tasks_for,
    run_map_task,
)
from tepui.prediction.map_grid import MapGrid, bare_grid
from tepui.signals.terrain import Profile
from terrain_files import srtm_cut

CENTRE = Place(latitude_deg=36.59, longitude_deg=-84.25, text="middle")
SITE = MapSite(name="middle", place=CENTRE, height_m=20.0, eirp_dbm=50.0)


def conditions(**changes):
    given = {"model": "p526", "frequency_hz": 1.27e9, "rx_height_m": 10.0, "radial": False, "reach_m": 9e3, **changes}
    return MapConditions(**given)


def hilly(reach_m=9e3):
    grid = bare_grid(CENTRE, reach_m=reach_m, pixel_m=90.0)
    side = grid.height_m.shape[0]
    heights = np.ascontiguousarray(srtm_cut()[:side, :side].astype(np.float32))
    return MapGrid(zone=grid.zone, west_m=grid.west_m, north_m=grid.north_m, pixel_m=90.0, height_m=heights,
                   scale=grid.scale)  # fmt: skip


def made(grid, asked, site=SITE):
    tasks = map_tasks_for(grid, site, asked)
    return assembled(tasks, map_tasks(run_map_task, tasks))


def test_law_radials_stand_for_the_pixels_between_them():
    grid = hilly()
    away = np.abs(made(grid, conditions(radial=True)) - made(grid, conditions()))
    known = away[np.isfinite(away)]
    assert known.size == np.isfinite(made(grid, conditions())).sum()
    assert np.median(known) < 0.5
    assert np.percentile(known, 90) < 4.0


# Over a smooth Earth the map must be the single path of the geodesic distance; the grid's scale is taken off.
def test_law_a_pixel_of_smooth_earth_is_its_geodesic_path():
    grid = bare_grid(CENTRE, reach_m=30e3, pixel_m=250.0)
    loss = made(grid, conditions(reach_m=30e3))
    lat, lon = grid.places()
    for row, column in ((0, 120), (30, 200), (121, 240), (200, 60)):
        end = Place(latitude_deg=float(lat[row, column]), longitude_deg=float(lon[row, column]), text="pixel")
        length = way_between(CENTRE, end).distance.value
        if not np.isfinite(loss[row, column]):
            assert length > 30e3 * 0.999
            continue
        profile = Profile(distance_m=np.linspace(0, length, 121), height_m=np.zeros(121), source="smooth")
        single = path_loss(PathCase(profile=profile, model="p526", frequency_hz=1.27e9, tx_height_m=20, rx_height_m=10))
        assert loss[row, column] == pytest.approx(single.loss_db, abs=0.02)


def test_law_the_edge_is_walked_once():
    edge = edge_pixels(5, 7)
    assert len(edge) == 20
    assert len({tuple(pixel) for pixel in edge}) == 20
    assert (np.abs(np.diff(edge, axis=0)).sum(axis=1) == 1).all()


def test_limit_a_beam_points_where_it_is_told():
    grid = bare_grid(CENTRE, reach_m=5e3, pixel_m=250.0)
    site = MapSite(name="a", place=CENTRE, height_m=20, eirp_dbm=50, pattern=beam(width_deg=40), azimuth_deg=90)
    towards = eirp_towards(grid, site)
    middle = grid.height_m.shape[0] // 2
    assert towards[middle, -1] == pytest.approx(50.0)
    assert towards[0, middle] == pytest.approx(30.0)
    assert towards[middle, 0] == pytest.approx(30.0)


@pytest.mark.parametrize("radial", [False, True])
def test_law_a_stopped_run_goes_on_from_its_finished_parts(tmp_path, radial):
    grid, asked = hilly(), conditions(radial=radial)
    tasks = map_tasks_for(grid, SITE, asked)
    whole = made(grid, asked)
    worked = []

    def run():
        worked.clear()

        def work(task):
            def fresh():
                worked.append(task.first)
                return run_map_task(task)

            return kept_part(tmp_path, f"{task.key}-{task.first}", fresh)

        return assembled(tasks, map_tasks(work, tasks, workers=1))

    for task in tasks[:2]:
        kept_part(tmp_path, f"{task.key}-{task.first}", lambda task=task: run_map_task(task))
    spoilt = tmp_path / f"{tasks[0].key}-{tasks[0].first}.npy"
    spoilt.write_bytes(spoilt.read_bytes()[:100])
    assert read_part(spoilt) is None
    assert np.array_equal(run(), whole, equal_nan=True)
    assert sorted(worked) == sorted({task.first for task in tasks} - {tasks[1].first})
    assert np.array_equal(run(), whole, equal_nan=True)
    assert worked == []


def test_law_another_question_has_another_key():
    grid = hilly()
    keys = {map_tasks_for(grid, SITE, conditions(frequency_hz=f))[0].key for f in (1.2e9, 1.3e9)}
    assert len(keys) == 2


def test_tool_a_real_cluster_of_two_workers_gives_the_same_map():
    distributed = pytest.importorskip("distributed")
    grid, asked = hilly(), conditions()
    tasks = map_tasks_for(grid, SITE, asked)
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        assert len(client.scheduler_info()["workers"]) == 2
        parts = map_tasks(run_map_task, tasks, executor=client.get_executor())
    assert np.array_equal(assembled(tasks, parts), made(grid, asked), equal_nan=True)


@pytest.mark.parametrize(
    ("work", "sentence"),
    [
        (lambda: bare_grid(CENTRE, reach_m=200e3, pixel_m=90), "reach must lie between 0.5 and 150 km"),
        (lambda: bare_grid(CENTRE, reach_m=20e3, pixel_m=10), "pixel must lie between 30 and 250 m"),
        (lambda: bare_grid(CENTRE, reach_m=150e3, pixel_m=30), "million; take pixels of 75 m or more"),
        (lambda: conditions(radial=True, model="p1812"), "worked out by p526 only"),
        (lambda: conditions(model="knife-edge"), "p526, p1812 or p452, not knife-edge"),
        (lambda: map_tasks_for(bare_grid(CENTRE, reach_m=5e3, pixel_m=90), MapSite(name="far", place=Place(
            latitude_deg=37.5, longitude_deg=-84.25, text="x"), height_m=10, eirp_dbm=40), conditions()),
         "far stands outside the map"),
    ],
)  # fmt: skip
def test_what_no_map_can_be_is_refused(work, sentence):
    with pytest.raises(RangeError, match=sentence):
        work()

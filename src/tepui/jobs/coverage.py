"""``coverage``: who will see the picture, over an area: levels, C/N, modes, and how sure that is.

Theory  Level = e.i.r.p. towards the pixel - loss - clutter + gain; the best of several transmitters counts. A mode is
        seen where its margin is kept. The doubt of the whole map is that of a path, and shifts all of it together.
Source  prediction/coverage.py for the loss; [EN300744] annex A for the modes.
Holds   One receive antenna, pointed at the transmitter, at one height everywhere.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.geodesic import way_between
from tepui.ground.findings import Finding, Outcome, Table, Value
from tepui.jobs.coverage_chain import SiteInput, inputs_table, silent_findings, site_inputs
from tepui.jobs.listed import ListedStation
from tepui.jobs.statements import exact
from tepui.prediction.coverage import MapConditions, MapSite, away_m, eirp_towards
from tepui.prediction.map_combine import STRONGEST, TOGETHER, all_of, best_of
from tepui.prediction.map_grid import MapGrid
from tepui.prediction.mode_margins import ModeMargin, mode_margins
from tepui.prediction.noise import noise_power_dbm
from tepui.signals.dvbt.mode import Mode

Singles = npt.NDArray[np.float32]
MODEL_STD_DB = 6.0
BIN_DB = 5.0
GAINS_DBI = (0.0, 5.0, 8.0, 11.0, 14.0, 17.0, 20.0, 23.0, 26.0)
ABOUT = "station"


@dataclass(frozen=True, kw_only=True)
class CoverageQuestion:
    """What a map is asked for."""

    sites: tuple[MapSite, ...]
    conditions: MapConditions
    mode: Mode
    rx_gain_dbi: float
    system_noise_db: float
    clutter_loss_db: float
    channel: str
    edition: str
    implementation_loss_db: float
    margin_db: float
    combine: str = STRONGEST


@dataclass(frozen=True, kw_only=True, eq=False)
class CoverageMap:
    """Bands of the map, (rows, columns) float32, NaN beyond the reach.

    mode_index  place in ``modes`` of the mode of the highest bit rate that keeps the margin; -1 where none does
    best_site   which transmitter is strongest
    """

    loss_db: Singles
    level_dbm: Singles
    cn_db: Singles
    margin_db: Singles
    gain_needed_dbi: Singles
    mode_index: Singles
    best_site: Singles
    modes: tuple[ModeMargin, ...]
    inputs: tuple[SiteInput, ...] = ()

    def bands(self) -> dict[str, Singles]:
        """Names and arrays, as a GeoTIFF holds them."""
        return {
            "loss_db": self.loss_db,
            "level_dbm": self.level_dbm,
            "cn_db": self.cn_db,
            "margin_db": self.margin_db,
            "gain_needed_dbi": self.gain_needed_dbi,
            "mode_index": self.mode_index,
            "best_site": self.best_site,
        }


def coverage_map(question: CoverageQuestion, grid: MapGrid, losses: Sequence[Singles]) -> CoverageMap:
    """Every band from the loss of each transmitter."""
    levels = []
    for site, loss in zip(question.sites, losses, strict=True):
        levels.append(eirp_towards(grid, site) - loss - question.clutter_loss_db + question.rx_gain_dbi)
    noise = noise_power_dbm(system_db=question.system_noise_db, width_hz=question.mode.occupied_width_hz)
    modes = tuple(
        sorted(
            mode_margins(
                like=question.mode,
                cn_db=0.0,
                channel=question.channel,
                edition=question.edition,
                implementation_loss_db=question.implementation_loss_db,
            ),
            key=lambda one: one.mode.net_bit_rate_bps,
        )
    )
    least = min(one.required_cn_db for one in modes)
    inputs = site_inputs(
        question.sites,
        grid,
        question.conditions,
        clutter_loss_db=question.clutter_loss_db,
        width_hz=question.mode.occupied_width_hz,
        needed_cn_db=least,
    )
    sent = [one.sends_db for one in inputs]
    if question.combine == TOGETHER:
        joined = all_of(
            levels,
            noise_dbm=noise,
            input_cn_db=sent,
            away_m=[away_m(grid, site) for site in question.sites],
            delay_s=[site.delay_s for site in question.sites],
            guard_s=question.mode.guard_s,
            useful_s=question.mode.useful_s,
        )
    else:
        joined = best_of(levels, noise_dbm=noise, input_cn_db=sent)
    level, cn, best = joined.level_dbm, joined.cn_db, joined.best
    known = np.isfinite(cn)
    loss = np.take_along_axis(np.stack(losses), best[None], axis=0)[0]
    index = np.full(cn.shape, -1.0, np.float32)
    for number, one in enumerate(modes):
        index = np.where(cn >= one.required_cn_db + question.margin_db, np.float32(number), index)
    margin = (cn - least).astype(np.float32)
    return CoverageMap(
        loss_db=np.where(known, loss, np.nan).astype(np.float32),
        level_dbm=level,
        cn_db=cn,
        margin_db=margin,
        gain_needed_dbi=(question.rx_gain_dbi + question.margin_db - margin).astype(np.float32),
        mode_index=np.where(known, index, np.nan).astype(np.float32),
        best_site=np.where(known, best, np.nan).astype(np.float32),
        modes=modes,
        inputs=tuple(inputs),
    )


def coverage_outcome(question: CoverageQuestion, grid: MapGrid, seen: CoverageMap, remarks: Sequence[str]) -> Outcome:
    """Findings and tables of a map."""
    margin = seen.margin_db[np.isfinite(seen.margin_db)]
    level = seen.level_dbm[np.isfinite(seen.level_dbm)]
    doubt = 2 * math.hypot(MODEL_STD_DB, question.conditions.location_std_db)

    def share(extra_db: float) -> float:
        return float(np.mean(margin >= question.margin_db + extra_db)) if margin.size else 0.0

    source = f"{question.conditions.model}, {'radials' if question.conditions.radial else 'each pixel its own profile'}"
    said = " ".join(remarks)
    pixel_km2 = (grid.pixel_m / grid.scale / 1e3) ** 2
    low_db, high_db = np.percentile(level, [2.5, 97.5]) if level.size else (0.0, 0.0)
    findings = [
        exact(ABOUT, "map_pixels", int(margin.size), "1", source="the operator", standing="given",
              remark=f"{pixel_km2 * margin.size:.0f} km2 in {grid.pixel_m:g} m pixels, EPSG:{grid.zone.epsg}. {said}"),
        Finding(
            about=ABOUT,
            key="covered_share",
            value=share(0.0),
            unit="1",
            low=share(doubt),
            high=share(-doubt),
            standing="computed",
            source=source,
            remark=f"Share of the map where the most robust mode keeps {question.margin_db:g} dB with "
            f"{question.rx_gain_dbi:g} dBi at {question.conditions.rx_height_m:g} m; the ends move the whole map by "
            f"{doubt:.0f} dB. It is an expectation and promises nobody a picture.",
        ),
        Finding(
            about=ABOUT,
            key="median_level_dbm",
            value=float(np.median(level)) if level.size else 0.0,
            unit="dBm",
            low=float(min(low_db, np.median(level))) if level.size else 0.0,
            high=float(max(high_db, np.median(level))) if level.size else 0.0,
            standing="computed",
            source=source,
            remark="The ends hold 95 % of the pixels.",
        ),
        _farthest(question, grid, seen, source),
        Finding(
            about=ABOUT,
            key="dominant_unknown",
            value="model" if question.conditions.location_std_db < MODEL_STD_DB else "location",
            standing="computed",
            source="common practice (no published source)",
            remark=f"Models of paths scatter by about {MODEL_STD_DB:g} dB, places by "
            f"{question.conditions.location_std_db:g} dB; a few reports with their level would settle it.",
        ),
        *silent_findings(ABOUT, seen.inputs),
    ]  # fmt: skip
    chain = inputs_table(seen.inputs)
    tables = (_histogram(level), _mode_shares(seen), _reach_by_gain(question, grid, seen))
    return Outcome(findings=tuple(findings), tables=tables if chain is None else (chain, *tables))


def station_reports(
    question: CoverageQuestion, grid: MapGrid, seen: CoverageMap, stations: Sequence[ListedStation]
) -> Table:
    """What each listed station should report; empty cells where it stands outside the map."""
    columns = (
        ("call", ""),
        ("distance_m", "m"),
        ("bearing_back_deg", "°"),
        ("level_dbm", "dBm"),
        ("cn_db", "dB"),
        ("mode", ""),
        ("margin_db", "dB"),
    )
    rows: list[tuple[Value, ...]] = []
    for station in stations:
        row, column = (round(one) for one in grid.pixel_of(station.place))
        inside = 0 <= row < grid.height_m.shape[0] and 0 <= column < grid.height_m.shape[1]
        level = float(seen.level_dbm[row, column]) if inside else math.nan
        if not math.isfinite(level):
            rows.append((station.call, None, None, None, None, "outside the map", None))
            continue
        site = question.sites[int(seen.best_site[row, column])]
        way = way_between(site.place, station.place)
        extra = station.gain_dbi - question.rx_gain_dbi
        cn = float(seen.cn_db[row, column]) + extra
        keeping = [one for one in seen.modes if cn >= one.required_cn_db + question.margin_db]
        robust = min(seen.modes, key=lambda one: one.required_cn_db)
        best = keeping[-1] if keeping else robust
        rows.append(
            (
                station.call,
                way.distance.value,
                way.bearing_back.value,
                level + extra,
                cn,
                best.mode.text() if keeping else f"none keeps it; most robust {best.mode.text()}",
                cn - best.required_cn_db,
            )
        )
    return Table(name="station_reports", columns=columns, rows=tuple(rows))


def _farthest(question: CoverageQuestion, grid: MapGrid, seen: CoverageMap, source: str) -> Finding:
    row, column = grid.pixel_of(question.sites[0].place)
    rows, columns = np.nonzero(seen.margin_db >= question.margin_db)
    away = 0.0
    if rows.size:
        away = float(np.hypot(rows - row, columns - column).max()) * grid.pixel_m / grid.scale
    return exact(ABOUT, "farthest_covered_m", away, "m", source=source, standing="computed",
                 remark="From the first transmitter to the farthest pixel where the margin is kept.")  # fmt: skip


def _reach_by_gain(question: CoverageQuestion, grid: MapGrid, seen: CoverageMap) -> Table:
    """Who could see it if they had this antenna: share and area that keep the margin, by its gain."""
    needed = seen.gain_needed_dbi[np.isfinite(seen.gain_needed_dbi)]
    pixel_m2 = (grid.pixel_m / grid.scale) ** 2
    rows = []
    for gain in sorted({*GAINS_DBI, question.rx_gain_dbi}):
        share = float(np.mean(needed <= gain)) if needed.size else 0.0
        rows.append((gain, share, share * needed.size * pixel_m2))
    columns = (("rx_gain_dbi", "dBi"), ("map_share", "1"), ("area_m2", "m²"))
    return Table(name="reach_by_gain", columns=columns, rows=tuple(rows))


def _histogram(level: Singles) -> Table:
    columns = (("level_low_dbm", "dBm"), ("level_high_dbm", "dBm"), ("map_share", "1"))
    if not level.size:
        return Table(name="level_histogram", columns=columns, rows=())
    first, last = math.floor(float(level.min()) / BIN_DB), math.ceil(float(level.max()) / BIN_DB + 1e-6)
    edges = BIN_DB * np.arange(first, last + 1)
    counts, _ = np.histogram(level, edges)
    rows = tuple(
        (float(low), float(low + BIN_DB), float(count / level.size))
        for low, count in zip(edges[:-1], counts, strict=True)
    )
    return Table(name="level_histogram", columns=columns, rows=rows)


def _mode_shares(seen: CoverageMap) -> Table:
    known = seen.mode_index[np.isfinite(seen.mode_index)]
    columns = (("mode", ""), ("net_bit_rate_bps", "bit/s"), ("required_cn_db", "dB"), ("map_share", "1"))
    rows = [
        (one.mode.text(), one.net_bit_rate_bps, one.required_cn_db, float(np.mean(known == number)))
        for number, one in enumerate(seen.modes)
    ]
    rows.append(("none", 0.0, 0.0, float(np.mean(known < 0))))
    return Table(name="mode_shares", columns=columns, rows=tuple(rows))

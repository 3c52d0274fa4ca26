"""Yield: how many boxes out of one shop meet the goal, as they are made and once their screws are set.

Theory  Every dimension is moved a little, the trace of the dimensions taken and its resonators and couplings extracted:
        that gives the slopes of frequencies, couplings and loads with rod positions, diameter, plate distance, taps and
        lengths. Trials draw the dimensions, add up the slopes and go through the coupling matrix; setting the screws
        takes the frequencies back to the centre and leaves the couplings.
Source  own method; the linear step is held against full analyses of the dimensions in the tests.
Holds   Tolerances small against the dimensions. Equal rods: their diameter errs for all alike.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering
from tepui.chain.filters.rod_box import RodBox
from tepui.chain.filters.rod_design import RodDesign
from tepui.chain.filters.rod_line import rod_scattering
from tepui.chain.filters.rod_screws import rod_admittance_s
from tepui.evidence.filter_extraction import extract
from tepui.evidence.filter_model import Sweep
from tepui.ground.findings import Finding, Table
from tepui.ground.tasks import default_workers, map_tasks

if TYPE_CHECKING:
    from tepui.jobs.filter_question import FilterQuestion

Floats = npt.NDArray[np.float64]
STEP_M = 0.05e-3
DIAMETER_TOLERANCE_M = 0.02e-3
ALLOWED_DB = 0.5
BAND_TRIALS, BAND_POINTS, PLACES = 400, 121, 41
SWEEP_POINTS, SWEEP_WIDTHS = 161, 1.6
LIGHT_M_PER_S = 299792458.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Slopes:
    """Extracted parameters at the design and their slopes with every dimension.

    centre   (p,) shifts over the width, log couplings, two log loads;  slope (m, p) per metre
    names    of the dimensions;  tolerance_m (m,) 95 %
    """

    centre: Floats
    slope: Floats
    names: tuple[str, ...]
    tolerance_m: Floats


def extracted_parameters(design: RodDesign, box: RodBox) -> Floats:
    """Shifts (over the width), log couplings and log external Qs of a box, from its trace."""
    goal = design.goal
    f = goal.centre_hz + np.linspace(-1, 1, SWEEP_POINTS) * SWEEP_WIDTHS * goal.width_3db_hz
    s = rod_scattering(box, f)
    rows = {"s11": s[:, 0, 0], "s21": s[:, 1, 0], "s22": s[:, 1, 1]}
    sweep = Sweep(frequency_hz=f, rows=rows, centre_hz=goal.centre_hz, width_hz=goal.width_hz)
    return np.asarray(extract(sweep, goal.poles).parameters[: 2 * goal.poles + 1])


def moved_boxes(box: RodBox, *, drilling_m: float) -> list[tuple[str, float, RodBox]]:
    """Every dimension moved by one step: its name, its tolerance and the box."""
    boxes = []
    centres = box.centres_m
    for rod in range(box.poles):
        place = centres.copy()
        place[rod] += STEP_M
        walls = {"wall_m": float(place[0])} if rod == 0 else {}
        boxes.append((f"position {rod + 1}", drilling_m, box.changed(spacings_m=np.diff(place), **walls)))
    boxes.append(("diameter", DIAMETER_TOLERANCE_M, box.changed(diameter_m=box.diameter_m + STEP_M)))
    boxes.append(("plates", drilling_m, box.changed(plates_m=box.plates_m + STEP_M)))
    for port in (0, 1):
        taps = [box.taps_m[0], box.taps_m[1]]
        taps[port] += STEP_M
        boxes.append((f"tap {port + 1}", drilling_m, box.changed(taps_m=(taps[0], taps[1]))))
    line_f_per_m = rod_admittance_s(box) / LIGHT_M_PER_S
    for rod in range(box.poles):
        loads = np.array(box.load_f)
        loads[rod] += line_f_per_m * STEP_M
        boxes.append((f"length {rod + 1}", drilling_m, box.changed(load_f=loads)))
    return boxes


def yield_slopes(design: RodDesign, *, drilling_m: float) -> Slopes:
    """Slopes of the extracted parameters with the dimensions."""
    centre = extracted_parameters(design, design.box)
    moved = moved_boxes(design.box, drilling_m=drilling_m)
    slope = np.array([(extracted_parameters(design, box) - centre) / STEP_M for _, _, box in moved])
    return Slopes(
        centre=centre,
        slope=slope,
        names=tuple(name for name, _, _ in moved),
        tolerance_m=np.array([tolerance for _, tolerance, _ in moved]),
    )


def drawn_parameters(slopes: Slopes, trials: int, *, seed: int = 1) -> Floats:
    """Parameters of so many boxes, dimensions drawn from Gaussians whose 95 % are the tolerances. (T, p)"""
    drawn = np.random.default_rng(seed).standard_normal((trials, len(slopes.names))) * slopes.tolerance_m / 2
    return np.asarray(slopes.centre + drawn @ slopes.slope)


def share_meeting(design: RodDesign, parameters: Floats, *, tuned: bool, workers: int | None = None) -> float:
    """Share of trials whose loss in band stays within ALLOWED_DB of the design's own worst."""
    from tepui.chain.filters.yield_kernels import worst_in_band

    goal, n = design.goal, design.goal.poles
    w = goal.relative_width
    place = np.linspace(-1, 1, PLACES, dtype=np.float32)
    loss = np.float32(1 / (design.box.unloaded_q * w))

    def worst(part: Floats) -> npt.NDArray[np.float32]:
        out = np.zeros((len(part), 2), np.float32)
        shift = np.zeros((len(part), n), np.float32) if tuned else np.ascontiguousarray(part[:, :n], np.float32)
        coupling = np.ascontiguousarray(np.exp(part[:, n : 2 * n - 1]) / w, np.float32)
        load = np.ascontiguousarray(np.exp(-part[:, 2 * n - 1 :]) / w, np.float32)
        worst_in_band(shift, coupling, load, loss, place, out)
        return out

    own = np.array(design_parameters(design))[None, :]
    limit = worst(own)[0, 0] * 10 ** (-ALLOWED_DB / 10)
    parts = np.array_split(parameters, workers or default_workers())
    found = np.concatenate(map_tasks(worst, parts, workers=workers))
    return float(np.mean(found[:, 0] >= limit))


def design_parameters(design: RodDesign) -> Floats:
    """Parameters of the goal itself: no shifts, its couplings and loads."""
    goal = design.goal
    loads = np.log([goal.external_q, goal.external_q])
    return np.concatenate([np.zeros(goal.poles), np.log(goal.couplings), loads])


def yield_band(design: RodDesign, parameters: Floats) -> Table:
    """Transmission that 95 % of the boxes keep between, screws set, and as they are made."""
    goal, n = design.goal, design.goal.poles
    f = goal.centre_hz + np.linspace(-2, 2, BAND_POINTS) * goal.width_3db_hz

    def levels(one: Floats) -> Floats:
        shifts = one[:n] * goal.width_hz
        rows = []
        for off in (np.zeros(n), shifts):
            made = CoupledFilter(
                resonator_hz=goal.centre_hz + off,
                couplings=np.exp(one[n : 2 * n - 1]),
                q_first=float(np.exp(one[2 * n - 1])),
                q_last=float(np.exp(one[2 * n])),
                unloaded_q=design.box.unloaded_q,
            )
            rows.append(20 * np.log10(np.abs(coupled_scattering(made, f)[:, 1, 0])))
        return np.array(rows)

    drawn = np.array(map_tasks(levels, list(parameters[:BAND_TRIALS])))
    (low, made_low), (high, made_high) = np.quantile(drawn, [0.025, 0.975], axis=0)
    rows = tuple(tuple(float(cell) for cell in row) for row in zip(f, low, high, made_low, made_high, strict=True))
    columns = (("frequency_hz", "Hz"), ("s21_low_db", "dB"), ("s21_high_db", "dB"), ("made_low_db", "dB"),
               ("made_high_db", "dB"))  # fmt: skip
    return Table(name="yield_band", columns=columns, rows=rows)


def yield_outcome(about: str, question: "FilterQuestion", design: RodDesign) -> tuple[list[Finding], Table]:
    """Shares before and after setting the screws, and the band."""
    slopes = yield_slopes(design, drilling_m=question.drilling_m)
    parameters = drawn_parameters(slopes, question.yield_trials)
    findings = []
    worst = slopes.names[int(np.argmax(np.abs(slopes.slope[:, : design.goal.poles]).max(axis=1) * slopes.tolerance_m))]
    for key, tuned in (("yield_before", False), ("yield_after", True)):
        share = share_meeting(design, parameters, tuned=tuned)
        half = 2 * float(np.sqrt(max(share * (1 - share), 0.25 / question.yield_trials) / question.yield_trials))
        remark = (
            f"Loss in band within {ALLOWED_DB:g} dB of the design; holes, taps, plates and lengths to "
            f"{question.drilling_m * 1e3:g} mm, rods to {DIAMETER_TOLERANCE_M * 1e3:g} mm (95 %). "
            + ("Frequencies set by the screws, couplings as made." if tuned else f"What detunes most: {worst}.")
        )
        findings.append(
            Finding(about=about, key=key, value=share, unit="1", low=max(share - half, 0.0),
                    high=min(share + half, 1.0), standing="computed",
                    source=f"{question.yield_trials} trials on the dimensions' slopes, jobs/filter_yield.py",
                    remark=remark)
        )  # fmt: skip
    return findings, yield_band(design, parameters)

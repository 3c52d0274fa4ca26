"""Tables and pictures of a spectrum: the lines, the trace at most 2000 points long, and what the sheets are drawn from.

Theory  As jobs/spectrum.py; levels in the table stand over the mean in band, and in 4 kHz over the total power: two
        conventions side by side, never mixed.
Source  docs/machine-interface.md for the tables; report/ for the pictures.
Holds   A trace is thinned, not averaged again: its resolution stays above the distance of its points up to 80 MS/s.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.evidence.crest import PeakStatistics, gaussian_probability
from tepui.evidence.floor import Floor
from tepui.evidence.lines import discrete_lines
from tepui.evidence.shoulders import SPACINGS_OF_RESOLUTION, Shoulders
from tepui.ground.findings import Finding, Table, finding_named
from tepui.jobs.spectrum_channel import Channel
from tepui.signals.dvbt.carriers import continual_carriers
from tepui.signals.spectrum import Spectrum, smoothed

MOST_POINTS = 2000
DRAWN_POINTS = 6000
REFERENCE_HZ = 4e3
SMALLEST = 1e-30
PILOT_ORDERS = (-2, -1, 0, 1, 2)


def inside(fine: Spectrum, channel: Channel) -> npt.NDArray[np.bool_]:
    """Which points lie in the occupied band. (n,)"""
    return np.asarray(np.abs(fine.frequency_hz - channel.centre_offset_hz) <= 0.5 * channel.occupied_hz)


def inband_density(fine: Spectrum, channel: Channel) -> float:
    """Mean power per hertz in band, full scale = 1. [1/Hz]"""
    return float(fine.density[inside(fine, channel)].mean())


def lines_table(fine: Spectrum, channel: Channel) -> Table:
    """Discrete lines over the power of the signal, its own continual pilots left out."""
    power = float(fine.density[inside(fine, channel)].sum() * fine.bin_hz)
    symbols, ignore = channel.symbols, np.zeros(0)
    if symbols is not None:
        # continual pilots are lines too, at multiples of half the symbol rate beside their carriers
        symbol_hz = 1 / (symbols.useful_s + symbols.guard_s)
        middle = 0.5 * channel.occupied_hz * symbols.useful_s
        spots = (continual_carriers(symbols.n_fft) - middle) * channel.spacing_hz
        ignore = channel.centre_offset_hz + np.concatenate([spots + n * symbol_hz / 2 for n in PILOT_ORDERS])
    lines = discrete_lines(fine, reference_power=power, ignore_hz=ignore)
    return Table(
        name="lines",
        columns=(("tuned_offset_hz", "Hz"), ("level_dbc", "dB"), ("doubt_db", "dB")),
        rows=tuple(
            (float(line.frequency_hz.value), float(line.level_dbc.value), float(2 * line.level_dbc.std))
            for line in lines
        ),
    )


def _coarse(fine: Spectrum, channel: Channel) -> Spectrum:
    return smoothed(fine, resolution_bandwidth_hz=SPACINGS_OF_RESOLUTION * channel.spacing_hz)


def spectrum_table(fine: Spectrum, channel: Channel) -> Table:
    """The trace in the resolution of the shoulders, over the mean in band and over the total power."""
    coarse, inband = _coarse(fine, channel), inband_density(fine, channel)
    step = max(1, -(-coarse.frequency_hz.size // MOST_POINTS))
    density = np.maximum(coarse.density[::step], SMALLEST)
    power = float(fine.density[inside(fine, channel)].sum() * fine.bin_hz)
    columns = (
        coarse.frequency_hz[::step],
        10 * np.log10(density / inband),
        10 * np.log10(density * REFERENCE_HZ / power),
    )
    return Table(
        name="spectrum",
        columns=(("tuned_offset_hz", "Hz"), ("level_db", "dB"), ("level_total_4khz_db", "dB")),
        rows=tuple((float(f), round(float(a), 3), round(float(b), 3)) for f, a, b in zip(*columns, strict=True)),
    )


def pictures(
    *,
    findings: tuple[Finding, ...],
    sides: Shoulders | str,
    fine: Spectrum,
    channel: Channel,
    floor: Floor | None,
    peaks: PeakStatistics,
    tuned_hz: float | None,
) -> dict[str, dict[str, Any]]:
    """What ``spectrum`` and ``ccdf`` are drawn from; report/spectrum_pictures.py says what each name means."""
    if isinstance(sides, str):
        trace, drawn = _coarse(fine, channel), None
        zero = float(trace.density[inside(trace, channel)].max())
    else:
        trace, zero = sides.trace, sides.reference_density
        drawn = {
            name: {
                part: getattr(getattr(sides, name).construction, part)
                for part in ("offset_hz", "level_db", "touch_hz", "touch_db", "read_db")
            }
            for name in ("lower", "upper")
        }
    step = max(1, trace.frequency_hz.size // DRAWN_POINTS)
    level_db = None if floor is None else float(10 * np.log10(max(floor.density, SMALLEST) / zero))
    shown: dict[str, dict[str, Any]] = {
        "spectrum": {
            "frequency_hz": trace.frequency_hz[::step] - channel.centre_offset_hz,
            "level_db": 10 * np.log10(np.maximum(trace.density[::step], zero * 1e-9) / zero),
            "occupied_width_hz": channel.occupied_hz,
            "resolution_hz": trace.resolution_bandwidth_hz,
            "finding": finding_named(findings, "occupied_width_99_hz" if drawn is None else "shoulder_worst_db"),
            "lower": finding_named(findings, "shoulder_lower_db"),
            "upper": finding_named(findings, "shoulder_upper_db"),
            "constructions": drawn,
            "floor_db": level_db,
            "limit_db": None,
            "centre_hz": None if tuned_hz is None else tuned_hz + channel.centre_offset_hz,
            "mode": channel.text,
        }
    }
    crest = finding_named(findings, "crest_0_01pct_db")
    if crest.is_number:
        axis = np.linspace(0.0, 12.0, 200)
        passed = peaks.probability > 0
        shown["ccdf"] = {
            "level_db": peaks.level_db[passed],
            "probability": peaks.probability[passed],
            "gaussian_level_db": axis,
            "gaussian_probability": gaussian_probability(axis),
            "finding": crest,
            "mode": channel.text,
        }
    return shown

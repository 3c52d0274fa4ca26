"""Tables of a set: the stitched spectrum, its recordings, the readings at each pad, lines and the filters' shape.

Theory  One row a point, recording or reading. Levels stand over the mean in band, and in 4 kHz over the total power:
        two conventions side by side, never mixed.
Source  docs/machine-interface.md.
Holds   A trace of at most 2000 points at ten carrier spacings; a level that its own doubt reaches is left open.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.evidence.moving_lines import OwnedLine
from tepui.evidence.shoulders import SPACINGS_OF_RESOLUTION
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_set import HANN_BINS
from tepui.evidence.stitch_shoulders import stitched_spectrum
from tepui.ground.findings import Table, Value
from tepui.jobs.set_findings import SIDES, Judgement
from tepui.jobs.set_sweeps import SetSeen, SetSweep
from tepui.signals.spectrum import Spectrum, smoothed

Floats = npt.NDArray[np.float64]

MOST_POINTS = 2000
REFERENCE_HZ = 4e3
SMALLEST = 1e-12


class Trace:
    """The stitched spectrum at ten carrier spacings, with its doubt: what table and picture show."""

    def __init__(self, stitched: Stitched, spacing_hz: float) -> None:
        width_hz = SPACINGS_OF_RESOLUTION * spacing_hz
        fine = stitched_spectrum(stitched)
        coarse = smoothed(fine, resolution_bandwidth_hz=width_hz)
        self.resolution_hz = width_hz
        self.offset_hz: Floats = coarse.frequency_hz
        self.level: Floats = coarse.density
        kept = max(1.0, width_hz / (HANN_BINS * fine.bin_hz))
        own = _through(fine, stitched.std, width_hz) / math.sqrt(kept)
        self.std: Floats = np.hypot(own, stitched.common_std)
        self.floor: Floats = _through(fine, stitched.floor, width_hz)
        self.source = stitched.source

    @property
    def step(self) -> int:
        """Every how manieth point is shown."""
        return max(1, -(-len(self.offset_hz) // MOST_POINTS))


def _through(fine: Spectrum, values: Floats, width_hz: float) -> Floats:
    reach = max(1, round(width_hz / fine.bin_hz / 2))
    kernel = np.ones(2 * reach + 1) / (2 * reach + 1)
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.convolve(padded, kernel, mode="valid"))


def _db(value: float) -> float | None:
    return round(10 * math.log10(value), 3) if value > SMALLEST else None


def spectrum_table(trace: Trace, stitched: Stitched) -> Table:
    """Level over the in-band mean and in 4 kHz over the total power, with its interval, the floor and the source."""
    four_khz = REFERENCE_HZ / stitched.total
    rows: list[tuple[Value, ...]] = []
    for at in range(0, len(trace.offset_hz), trace.step):
        level, std = float(trace.level[at]), float(trace.std[at])
        is_told = level > 2 * std
        who = int(trace.source[at])
        rows.append(
            (
                float(trace.offset_hz[at]),
                _db(level) if is_told else None,
                _db(level * four_khz) if is_told else None,
                _db(level - 2 * std),
                _db(max(level, 0.0) + 2 * std),
                _db(float(trace.floor[at])),
                None if who < 0 else stitched.names[who],
            )
        )
    columns = (
        ("frequency_hz", "Hz"),
        ("level_db", "dB"),
        ("level_total_4khz_db", "dB"),
        ("level_low_db", "dB"),
        ("level_high_db", "dB"),
        ("floor_db", "dB"),
        ("source_recording", ""),
    )
    return Table(name="spectrum", columns=columns, rows=tuple(rows))


def recordings_table(seen: SetSeen) -> Table:
    """What each recording was and how well it used its receiver."""
    errors = {
        one.name: sweep.stitched.tuning_error
        for sweep in seen.sweeps
        if sweep.stitched is not None and seen.is_centre_told
        for one in sweep.spectra
    }
    rows: list[tuple[Value, ...]] = []
    for one in seen.spectra:
        settings, used = one.settings, one.converter
        error = errors.get(one.name)
        image_db = 20 * math.log10(abs(one.image)) if abs(one.image) > SMALLEST else None
        mean = float(np.sum(used.mean**2)) / max(float(np.sum(used.spread**2)), SMALLEST)
        gains: list[Value] = [
            None if name not in settings else float(settings[name])
            for name in ("attenuator_db", "frontend_gain_db", "if_gain_db", "gain_db", "setting_dbm")
        ]
        rows.append(
            (
                one.name,
                one.tuned_hz,
                *gains,
                bool(settings.get("terminated", False)),
                used.clipped_share,
                used.used_bits,
                None if mean < SMALLEST else round(10 * math.log10(mean), 2),
                one.dc_half_width_hz,
                None if image_db is None else round(image_db, 2),
                None if error is None else float(error.value),
            )
        )
    columns = (
        ("recording", ""),
        ("tuned_hz", "Hz"),
        ("attenuator_db", "dB"),
        ("frontend_gain_db", "dB"),
        ("if_gain_db", "dB"),
        ("gain_db", "dB"),
        ("setting_dbm", "dBm"),
        ("terminated", ""),
        ("full_scale_share", "1"),
        ("used_bits", "1"),
        ("dc_line_dbc", "dB"),
        ("dc_half_width_hz", "Hz"),
        ("image_db", "dB"),
        ("tuner_error_hz", "Hz"),
    )
    return Table(name="recordings", columns=columns, rows=tuple(rows))


def readings_table(seen: SetSeen, found: Judgement) -> Table:
    """Every sweep's reading of every side, and what it is worth."""
    rows: list[tuple[Value, ...]] = []
    for sweep in seen.sweeps:
        for side in SIDES:
            rows.append(_reading_row(sweep, side, found))
    columns = (
        ("sweep", ""),
        ("side", ""),
        ("gain_ahead_db", "dB"),
        ("shoulder_shown_db", "dB"),
        ("shoulder_behind_db", "dB"),
        ("doubt_db", "dB"),
        ("receiver_made_db", "dB"),
        ("region", ""),
    )
    return Table(name="readings", columns=columns, rows=tuple(rows))


def _reading_row(sweep: SetSweep, side: str, found: Judgement) -> tuple[Value, ...]:
    if sweep.sides is None:
        return sweep.label, side, sweep.gain_db, None, None, None, None, "not seen"
    read, shown = getattr(sweep.sides, side), getattr(sweep.sides, f"shown_{side}")
    judged = [one for one in found.sides[side].judged if one.reading.name == sweep.label]
    made_db, region = (judged[0].made_db, judged[0].region) if judged else (None, "unknown")
    return (
        sweep.label,
        side,
        sweep.gain_db,
        round(shown.value, 3),
        round(read.value, 3),
        round(2 * read.std, 3),
        None if made_db is None else round(made_db, 3),
        region,
    )


def lines_table(lines: tuple[OwnedLine, ...]) -> Table:
    """Discrete lines over the signal's power, with their owners."""
    columns = (
        ("frequency_hz", "Hz"),
        ("tuned_offset_hz", "Hz"),
        ("level_dbc", "dB"),
        ("doubt_db", "dB"),
        ("owner", ""),
        ("seen_by", ""),
    )
    rows = tuple(
        (
            line.frequency_hz,
            line.tuned_offset_hz,
            round(line.level_dbc, 3),
            round(2 * line.std_db, 3),
            line.owner,
            ", ".join(line.names),
        )
        for line in lines
    )
    return Table(name="lines", columns=columns, rows=rows)


def droop_table(stitched: Stitched) -> Table:
    """Shape of the receiver's filters, as the overlaps told it."""
    rows = tuple(
        (float(x), round(float(gain), 3), round(2 * float(std), 3))
        for x, gain, std in zip(stitched.droop.offset_hz, stitched.droop.gain_db, stitched.droop.std_db, strict=True)
    )
    return Table(
        name="droop", columns=(("tuned_offset_hz", "Hz"), ("filter_gain_db", "dB"), ("doubt_db", "dB")), rows=rows
    )


def gains_table(seen: SetSeen) -> Table:
    """Gain of every setting as the overlaps told it, against that of the first."""
    rows: list[tuple[Value, ...]] = []
    for sweep in seen.sweeps:
        if sweep.stitched is None:
            continue
        for setting, gain in sweep.stitched.gain_db.items():
            words = ", ".join(f"{name.removesuffix('_db').replace('_', ' ')} {value:g}" for name, value in setting)
            rows.append((sweep.label, words, round(gain.value, 3), round(2 * gain.std, 3)))
    columns = (("sweep", ""), ("setting", ""), ("relative_gain_db", "dB"), ("doubt_db", "dB"))
    return Table(name="gains", columns=columns, rows=tuple(rows))

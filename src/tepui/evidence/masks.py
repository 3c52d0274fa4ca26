"""A spectrum against a mask: by how many decibels it stays under, and where it comes closest.

Theory  A mask's levels are ratios to something: the whole mean power, or the highest value of the trace. The same trace
        stands some 33 dB apart under the two (4 kHz out of 7.6 MHz), so each mask is compared only under its own, and
        in its own bandwidth. Density times that bandwidth is the level where the spectrum is smooth within it.
Source  the mask's own; levels of published masks: table dvbt_masks with the source in each row.
Holds   A target, never a law: which mask binds a station, if any, only its licence says. Where the recording's floor is
        higher than the limit, the comparison says so in place of blaming the transmitter. Rows of a table that say
        "beyond" an offset are left out.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import USABLE_BAND, Floor
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.mask import Mask
from tepui.signals.spectrum import Spectrum
from tepui.tables.load import load_table

Floats = npt.NDArray[np.float64]

DRAWS = 100
HIDDEN_DB = 3.0  # above the floor, below which a level is not told from it; this program's limit


@dataclass(frozen=True, kw_only=True)
class MaskComparison:
    """The outcome for one mask.

    margin_db         smallest distance from spectrum to limit, above zero where it stays under
    offset_hz         where that is, from the signal's centre
    level_db, limit_db   both there, in the mask's convention
    compared_hz       outermost offset that could be compared
    floor_limited  the floor is within 3 dB of the level at that place, or hides more elsewhere: where the recording
                   shows little above its floor, something up to the floor may come closer to the limit; the margin is
                   then a lower bound on the truth
    """

    mask: Mask
    margin_db: Estimate
    offset_hz: float
    level_db: float
    limit_db: float
    compared_hz: float
    floor_limited: bool


def published_mask(name: str, *, channel_width_hz: float, power_dbm: float | None = None) -> Mask:
    """A mask out of the table of masks.

    power_dbm  mean output power, needed where the mask is in absolute levels
    raises     ChoiceError where there is no such mask for this width; RangeError where the power is missing
    """
    table = load_table("dvbt_masks")
    rows = [
        row
        for row in table
        if row["mask"] == name and math.isclose(float(row["channel_mhz"]) * 1e6, channel_width_hz, rel_tol=1e-6)
    ]
    rows = [row for row in rows if not row["offset_mhz"].startswith(">")]
    if not rows:
        known = sorted({f"{row['mask']} ({row['channel_mhz']} MHz)" for row in table})
        raise ChoiceError(
            f"There is no mask {name} for a channel of {channel_width_hz / 1e6:g} MHz; there are {', '.join(known)}."
        )
    shift_db = 0.0
    if rows[0]["level_unit"] == "dBm":
        if power_dbm is None:
            raise RangeError(f"The mask {name} is in dBm: give the mean output power to compare a recording with it.")
        shift_db = -power_dbm
    points = sorted((float(row["offset_mhz"]) * 1e6, float(row["level"]) + shift_db) for row in rows)
    if points[0][0] > 0:
        points = [(-offset, level) for offset, level in reversed(points)] + points
    return Mask(
        name=name,
        offset_hz=np.array([offset for offset, _ in points]),
        level_db=np.array([level for _, level in points]),
        convention="total_power",
        bandwidth_hz=float(rows[0]["measurement_bandwidth_khz"]) * 1e3,
        source=f"{rows[0]['source']} ({rows[0]['confidence']})",
    )


def compare_with_mask(
    spectrum: Spectrum,
    mask: Mask,
    *,
    centre_offset_hz: float,
    occupied_width_hz: float,
    floor: Floor | None = None,
    usable_band: float = USABLE_BAND,
) -> MaskComparison:
    """Smallest margin of a spectrum under a mask, outside the occupied band.

    spectrum   its resolution at most the mask's bandwidth; a Blackman-Harris window keeps the channel out of its sides
    floor      of the recording, taken off as power; None leaves it in and cannot tell whether it limits
    usable_band   share of the sample rate that the receiver shows truly
    raises     RangeError where the resolution is too wide, or the recording shows nothing of the mask outside the band
    """
    resolution_hz = spectrum.resolution_bandwidth_hz
    if resolution_hz > 1.05 * mask.bandwidth_hz:
        raise RangeError(
            f"The mask {mask.name} counts power in {mask.bandwidth_hz:g} Hz and this spectrum resolves "
            f"{resolution_hz:g} Hz: take a spectrum at least as fine."
        )
    offset_hz = spectrum.frequency_hz - centre_offset_hz
    inside = np.abs(offset_hz) <= occupied_width_hz / 2
    clear_hz = mask.bandwidth_hz / 2 + 4 * resolution_hz  # where the window still sees the channel
    reach_hz = usable_band * spectrum.bin_hz * len(spectrum.density) / 2
    within_mask = (offset_hz >= mask.offset_hz[0]) & (offset_hz <= mask.offset_hz[-1])
    within_mask &= np.abs(spectrum.frequency_hz) < reach_hz
    chosen = within_mask & (np.abs(offset_hz) > occupied_width_hz / 2 + clear_hz)
    if np.count_nonzero(chosen) < 8 or not inside.any():
        raise RangeError(f"The recording shows nothing outside the channel to hold against the mask {mask.name}.")
    # Powers within the mask's bandwidth: the mean density over as many points as fit.
    width = max(1, round(mask.bandwidth_hz / spectrum.bin_hz))
    density = np.convolve(spectrum.density, np.ones(width) / width, mode="same")
    reference = _reference(spectrum, density, mask, inside)
    floor_density = floor.density if floor else 0.0
    limit_db = mask.limit_db(offset_hz[chosen])
    level_db = _level_db(np.maximum(density[chosen] - floor_density, 1e-6 * density[chosen]), reference)
    margins = limit_db - level_db
    worst = int(np.argmin(margins))
    floor_db = float(_level_db(np.array([floor_density]), reference)[0])
    hidden_db = (limit_db - floor_db)[level_db < floor_db + HIDDEN_DB]
    averages = spectrum.n_averages * max(1.0, width * spectrum.bin_hz / resolution_hz)
    there = float(density[chosen][worst])
    left = max(there - floor_density, 1e-6 * there)
    scatter_db, by_highest_db = _scatter(averages, width, density[chosen] / there, limit_db)
    return MaskComparison(
        mask=mask,
        margin_db=estimate(
            float(margins[worst]),
            averaging=scatter_db * min(there / left, 100.0),
            highest_of_trace=by_highest_db,
            floor=10 / math.log(10) * min((floor.std if floor else 0.0) / left, 100.0),
        ),
        offset_hz=float(offset_hz[chosen][worst]),
        level_db=float(level_db[worst]),
        limit_db=float(limit_db[worst]),
        compared_hz=float(np.max(np.abs(offset_hz[chosen]))),
        floor_limited=floor is not None
        and bool(floor_db > level_db[worst] - HIDDEN_DB or hidden_db.min(initial=np.inf) < margins[worst]),
    )


def _reference(spectrum: Spectrum, density: Floats, mask: Mask, inside: npt.NDArray[np.bool_]) -> float:
    """Density that reads 0 dB: spread over the mask's bandwidth for total power, the highest in band otherwise."""
    if mask.convention == "total_power":
        return float(spectrum.density[inside].sum() * spectrum.bin_hz) / mask.bandwidth_hz
    return float(density[inside].max())


def _level_db(density: Floats, reference: float) -> Floats:
    return np.asarray(10 * np.log10(np.maximum(density, 1e-300) / reference))


def _scatter(averages: float, width: int, shape: Floats, limit_db: Floats) -> tuple[float, float]:
    """Scatter of a smallest margin, and by how much it lies below that of a smooth trace.

    Only points whose margin comes within reach of the smallest one take part.
    """
    decibel = 10 / math.log(10) / math.sqrt(averages)
    margins = limit_db - 10 * np.log10(np.maximum(shape, 1e-12))
    close = max(1, int(np.count_nonzero(margins < margins.min() + 4 * decibel)) // width)
    rng = np.random.default_rng(1)
    highest = rng.standard_normal((DRAWS, min(close, 2000))).max(axis=1)
    return decibel * float(highest.std()), decibel * float(highest.mean()) / math.sqrt(3) if close > 1 else 0.0

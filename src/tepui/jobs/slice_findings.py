"""What the guard intervals seen in a narrow slice tell: noise blind to distortion, clock, fine frequency, phase.

Theory  evidence/slice_prefix.py. The slices of a set agree on clock and carriers; noise is the best placed slice's, as
        each gain has its own. With the MER of a wide recording what is neither noise is distortion.
Source  [EN300744] 4.4 for guards and carriers; common practice (no published source) for the rest.
Holds   Transmitter, path and receiver together: a slice cannot tell whose noise, clock or phase it is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tepui.evidence.prefix import left_by_distortion
from tepui.evidence.slice_prefix import CEILING_DB, SlicePrefix
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.findings import Finding, Table
from tepui.jobs.statements import bound, estimated, unknown

GUARDS = "guard interval against tail in a narrow slice, tepui spectrum"
DIFFERENCE = "errors of the MER told, less the noise of the slice"
FAR = 3.0  # standard deviations of the edges' centre, within half a spacing
FEW = (
    "No slice shows eight whole guard intervals of a channel whose edges are clear of it: record 50 ms or more, tuned "
    "half a receiver's width inside the channel."
)


@dataclass(frozen=True, kw_only=True)
class Slice:
    """One recording compared."""

    name: str
    tuned_hz: float
    told: SlicePrefix


def slice_findings(about: str, slices: Sequence[Slice], *, mer: Estimate | None) -> list[Finding]:
    """Noise, clock, carriers' place, phase, and with ``mer`` the distortion; the first slice is the best placed."""
    keys = (("snr_prefix_db", "dB"), ("sample_clock_ppm", "ppm"), ("carrier_place_hz", "Hz"),
            ("phase_step_rms_deg", "°"))  # fmt: skip
    if not slices:
        missing = [unknown(about, key, unit, source=GUARDS, remark=FEW) for key, unit in keys]
        return missing if mer is None else [*missing, unknown(about, "mer_ceiling_db", "dB", source=DIFFERENCE,
                                                             remark=FEW)]  # fmt: skip
    best = next((one for one in slices if one.told.is_clean), slices[0])
    found = [_noise(about, best), _clock(about, slices), _place(about, best), _phase(about, best)]
    return found if mer is None else [*found, _distortion(about, best, mer)]


def _noise(about: str, one: Slice) -> Finding:
    told, key = one.told, "snr_prefix_db"
    seen = f"{told.pairs} guard intervals in {one.name}, {1e6 * told.clean_s:.3g} us of each."
    blind = "Blind to distortion, which guard and tail share; fast phase noise and images count as noise."
    if told.snr_db.value > CEILING_DB:
        why = f"Guard and tail are alike to the arithmetic's limit. {seen}"
        return bound(about, key, CEILING_DB, "dB", sense="at_least", source=GUARDS, remark=why)
    if not told.is_clean:
        value = told.snr_db.value - 2 * math.hypot(*_without_window(told.snr_db))
        why = f"{blind} The guard is short for so narrow a slice: its soft edges may reach its middle. {seen}"
        return bound(about, key, value, "dB", sense="at_least", source=GUARDS, remark=why)
    return estimated(about, key, told.snr_db, "dB", source=GUARDS, remark=f"Inside the slice. {blind} {seen}")


def _without_window(snr: Estimate) -> list[float]:
    """Doubt of a bound: what the window lets in only lowers the value."""
    return [part for name, part in snr.contributions.items() if name not in ("window", "edges")]


def joined_clock(slices: Sequence[Slice]) -> Estimate:
    """All slices' clock, each by its weight, doubted the more where they disagree. [ppm]"""
    value = np.array([one.told.clock_ppm.value for one in slices])
    weight = np.array([1 / max(one.told.clock_ppm.std, 1e-4) ** 2 for one in slices])
    mean = float((weight * value).sum() / weight.sum())
    std = float(weight.sum() ** -0.5)
    if len(slices) > 1:
        spread = float((weight * (value - mean) ** 2).sum()) / (len(slices) - 1)
        std *= math.sqrt(max(spread, 1.0))
    return estimate(mean, slices=std)


def centre_of(slices: Sequence[Slice], rough: Estimate | None) -> Estimate | None:
    """The channel's centre by the receiver's own scale, to a fraction of a spacing, or None where it stays open.

    rough  from the edges, by the same scale: it serves where no slice knows its pilots
    """
    if not slices:
        return None
    best = min(slices, key=lambda one: one.told.carrier_hz.std)
    known = [one for one in slices if one.told.centre_hz is not None]
    if known:
        best = min(known, key=lambda one: one.told.carrier_hz.std)
        return estimate(best.tuned_hz + float(best.told.centre_hz or 0.0), slices=best.told.carrier_hz.std)
    if rough is None:
        return None
    spacing_hz = best.told.spacing_hz
    place_hz = best.tuned_hz + best.told.carrier_hz.value
    place_hz += spacing_hz * round((rough.value - place_hz) / spacing_hz)
    if abs(place_hz - rough.value) + FAR * rough.std > spacing_hz / 2:
        return None
    return estimate(place_hz, slices=best.told.carrier_hz.std)


def _clock(about: str, slices: Sequence[Slice]) -> Finding:
    remark = (
        f"Transmitter's over the receiver's, {len(slices)} slice{'s' if len(slices) > 1 else ''}. Slow phase noise "
        "turns all carriers alike and does not enter. A receiver whose crystal is off shows that here too, and in "
        "tuner_error_ppm with the other sign."
    )
    return estimated(about, "sample_clock_ppm", joined_clock(slices), "ppm", source=GUARDS, remark=remark)


def _place(about: str, one: Slice) -> Finding:
    told = one.told
    remark = (
        f"A carrier of {one.name} from the frequency it was tuned to, nearest to the channel's centre as known; others "
        f"stand every {told.spacing_hz:.2f} Hz."
    )
    return estimated(about, "carrier_place_hz", told.carrier_hz, "Hz", source=GUARDS, remark=remark)


def _phase(about: str, one: Slice) -> Finding:
    told, key, unit = one.told, "phase_step_rms_deg", "°"
    most = math.degrees(told.phase_most_rad)
    reach = f"noise above {1e-3 / told.clean_s:.3g} kHz is in snr_prefix_db instead."
    if told.phase_rad is None:
        remark = f"Change of the common phase over a useful symbol, not above what the noise explains; {reach}"
        return bound(about, key, most, unit, sense="at_most", source=GUARDS, remark=remark)
    value = math.degrees(told.phase_rad)
    remark = f"Change of the common phase over a useful symbol, both oscillators together; {reach}"
    return Finding(about=about, key=key, value=value, unit=unit, low=max(0.0, 2 * value - most), high=most,
                   standing="measured", source=GUARDS, remark=remark)  # fmt: skip


def _distortion(about: str, one: Slice, mer: Estimate) -> Finding:
    key = "mer_ceiling_db"
    snr = one.told.snr_db
    value, low, high = left_by_distortion(mer, snr)
    taken = f"MER {mer.value:g} dB, noise {snr.value:.1f} dB below the signal as in {one.name}"
    if not one.told.is_clean:
        remark = f"{taken} or less, which is only a bound: a wider slice would settle it."
        return bound(about, key, mer.value - 2 * mer.std, "dB", sense="at_least", source=DIFFERENCE, remark=remark)
    if value is None or high is None:
        remark = f"{taken}: the noise explains all of the errors, and distortion lies below."
        return bound(about, key, low, "dB", sense="at_least", source=DIFFERENCE, remark=remark)
    remark = (
        f"What distortion alone would leave: {taken}. True where the wide recording holds the same noise: same place, "
        "receiver and level."
    )
    return Finding(about=about, key=key, value=value, unit="dB", low=low, high=high, standing="computed",
                   source=DIFFERENCE, remark=remark)  # fmt: skip


def slices_table(slices: Sequence[Slice]) -> Table:
    """Every slice that was compared."""
    columns = (
        ("recording", ""),
        ("snr_prefix_db", "dB"),
        ("doubt_db", "dB"),
        ("sample_clock_ppm", "ppm"),
        ("carrier_place_hz", "Hz"),
        ("phase_step_rms_deg", "°"),
        ("guards", "1"),
        ("clean_s", "s"),
    )
    rows = tuple(
        (
            one.name,
            one.told.snr_db.value,
            2 * one.told.snr_db.std if one.told.is_clean else None,
            one.told.clock_ppm.value,
            one.told.carrier_hz.value,
            None if one.told.phase_rad is None else math.degrees(one.told.phase_rad),
            one.told.pairs,
            one.told.clean_s,
        )
        for one in slices
    )
    return Table(name="slices", columns=columns, rows=rows)

"""More findings of a set: place, flatness, floor, mask, and cautions about the receiver and time.

Theory  As jobs/spectrum_findings.py, from the stitched spectrum of the reference sweep.
Source  [RR] 1.153; the mask's own; evidence/stitch.py for what contradicts itself.
Holds   In band the receiver's products are far below the signal; beside it they are not, and the mask then says so.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tepui.evidence.masks import MaskComparison, compare_with_mask, published_mask
from tepui.evidence.moving_lines import OwnedLine
from tepui.evidence.occupied import occupied_width
from tepui.evidence.ripple import flatness
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_beliefs import NEPER
from tepui.evidence.stitch_shoulders import SHOULDER_HZ, stitched_spectrum
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import InputError, RangeError
from tepui.ground.findings import Finding
from tepui.jobs.set_findings import Judgement
from tepui.jobs.set_sweeps import SetSeen, SetSweep
from tepui.jobs.slice_findings import Slice, centre_of
from tepui.jobs.spectrum_findings import CLIPPED_SHARE, FLATNESS, FLOOR, MASK, SCALED_MASK, USUAL_MASKS, WIDTH
from tepui.jobs.statements import bound, estimated, exact, text, unknown

PILOTS = "copy in the guard and continual pilots, in slices of the channel, [EN300744] 4.4 and 4.5.4"
EDGES = "edges of the channel in the stitched spectrum"
CARRIERS = "carriers by the guard interval in narrow slices, the right one by pilots or edges"
SLICES = "guard interval in narrow slices, width from the edges, [EN300744] 4.4"
CODES = "count of the converter's codes"
OVERLAPS = "what two recordings show of one frequency, tepui spectrum"
FLOOR_LIMITED_DB = 3.0


def channel_findings(about: str, seen: SetSeen, slices: Sequence[Slice] = ()) -> list[Finding]:
    """Width, symbols, centre and the tuner's error; ``slices`` tell the centre finer than the edges do."""
    channel, symbols = seen.channel, seen.channel.symbols
    found = [exact(about, "channel_width_hz", channel.width_hz, "Hz", source=SLICES if symbols else EDGES)]
    if symbols is not None and channel.n_fft is not None:
        found.append(exact(about, "fft_size", channel.n_fft, "1", source=SLICES))
        guard = f"{symbols.guard.numerator}/{symbols.guard.denominator}"
        found.append(text(about, "guard_fraction", guard, source=SLICES))
    errors = [
        sweep.stitched.tuning_error
        for sweep in seen.sweeps
        if sweep.stitched is not None and sweep.stitched.tuning_error is not None
    ]
    best = min(errors, key=lambda one: one.std) if errors else None
    if seen.tuning is not None:
        return [*found, *_place(about, seen, seen.tuning, source=PILOTS)]
    rough = None if best is None else estimate(channel.centre_hz - best.value, edges=best.std)
    fine = centre_of(slices, rough)
    if fine is None:
        return [*found, *_place(about, seen, best, source=EDGES)]
    finer = estimate(channel.centre_hz - fine.value, slices=fine.std)
    return [*found, *_place(about, seen, finer, source=CARRIERS)]


def _place(about: str, seen: SetSeen, error: Estimate | None, *, source: str) -> list[Finding]:
    """Centre as told and the tuner's error against it, or the centre by the receiver's own scale and no more."""
    centre_hz = seen.channel.centre_hz
    if seen.is_centre_told:
        told = exact(about, "centre_frequency_hz", centre_hz, "Hz", source="as told", standing="given")
        if error is None:
            remark = "No edge of the channel was seen on both sides: record 200 kHz beyond both."
            return [told, unknown(about, "tuner_error_hz", "Hz", source=source, remark=remark)]
        remark = "True less stated frequency of the receiver, taking the centre told as true."
        ppm = estimate(
            1e6 * error.value / centre_hz, **{name: 1e6 * std / centre_hz for name, std in error.contributions.items()}
        )
        return [
            told,
            estimated(about, "tuner_error_hz", error, "Hz", source=source, remark=remark),
            estimated(about, "tuner_error_ppm", ppm, "ppm", source=source, remark=remark),
        ]
    remark = "Only a known frequency tells it: give --centre as transmitted, or record a carrier that is known."
    missing = unknown(about, "tuner_error_hz", "Hz", source=source, remark=remark)
    if error is None:
        return [
            unknown(about, "centre_frequency_hz", "Hz", source=source, remark="Both edges of the channel are needed."),
            missing,
        ]
    shown = estimate(centre_hz - error.value, **error.contributions)
    remark = "By the receiver's own reference, whose error adds to it."
    return [estimated(about, "centre_frequency_hz", shown, "Hz", source=source, remark=remark), missing]


def inband_findings(about: str, sweep: SetSweep) -> list[Finding]:
    """Occupied width, ripple and tilt from the stitched spectrum."""
    assert sweep.stitched is not None
    stitched = sweep.stitched
    spectrum = stitched_spectrum(stitched)
    found = []
    try:
        width = occupied_width(spectrum)
        remark = f"Stitched at {sweep.label}, floor off."
        found.append(estimated(about, "occupied_width_99_hz", width.width_hz, "Hz", source=WIDTH, remark=remark))
    except RangeError as refusal:
        found.append(unknown(about, "occupied_width_99_hz", "Hz", source=WIDTH, remark=str(refusal)))
    keys = ("band_ripple_db", "band_tilt_db")
    if stitched.changes:
        remark = "The level moved between recordings, which looks like a slope: record the set anew without a pause."
        return [*found, *(unknown(about, key, "dB", source=FLATNESS, remark=remark) for key in keys)]
    try:
        flat = flatness(spectrum, centre_offset_hz=0.0, occupied_width_hz=stitched.occupied_width_hz)
    except RangeError as refusal:
        return [*found, *(unknown(about, key, "dB", source=FLATNESS, remark=str(refusal)) for key in keys)]
    gains_db = _inband_doubt_db(stitched)
    ripple, tilt = (
        estimate(one.value, **{**one.contributions, "gains": math.sqrt(2) * gains_db})
        for one in (flat.ripple_db, flat.tilt_db)
    )
    ripples = estimated(about, keys[0], ripple, "dB", source=FLATNESS, remark="Highest less lowest.", least=0.0)
    return [*found, ripples, estimated(about, keys[1], tilt, "dB", source=FLATNESS, remark="Upper less lower end.")]


def missing_findings(about: str, seen: SetSeen) -> list[Finding]:
    """What only a spectrum across the whole channel tells, and the recording that is missing for it."""
    missing = " ".join(dict.fromkeys(sweep.missing for sweep in seen.sweeps if sweep.missing))
    kinds = (
        ("occupied_width_99_hz", "Hz", WIDTH),
        ("band_ripple_db", "dB", FLATNESS),
        ("band_tilt_db", "dB", FLATNESS),
        ("floor_db", "dB", FLOOR),
        ("mask_margin_db", "dB", MASK),
    )
    return [unknown(about, key, unit, source=source, remark=missing) for key, unit, source in kinds]


def _inband_doubt_db(stitched: Stitched) -> float:
    inside = np.abs(stitched.frequency_hz) < stitched.occupied_width_hz / 2
    return float(np.sqrt(np.mean((stitched.common_std[inside] / stitched.level[inside].mean()) ** 2))) / NEPER


def floor_finding(about: str, sweep: SetSweep) -> Finding:
    """The converter's floor where the shoulders are read, over the mean in band."""
    assert sweep.stitched is not None
    stitched = sweep.stitched
    away_hz = np.abs(stitched.frequency_hz) - stitched.occupied_width_hz / 2
    near = (away_hz > SHOULDER_HZ[0]) & (away_hz < SHOULDER_HZ[1])
    level = float(stitched.floor[near].mean()) if near.any() else float(stitched.floor.mean())
    steps = stitched.floor_lsb2
    if level <= 0:
        remark = "Nothing of it shows."
        return unknown(about, "floor_db", "dB", source=FLOOR, remark=f"{remark} A terminated input would tell it.")
    share = min(steps.std / max(steps.value, 1e-9), 0.49)
    value = 10 * math.log10(level)
    remark = (
        f"Of converter and input, 300 to 700 kHz outside the channel at {sweep.label}; the converter's "
        f"{steps.value:.3g} steps squared are taken off recording by recording."
    )
    return Finding(
        about=about,
        key="floor_db",
        value=value,
        unit="dB",
        low=value + 10 * math.log10(1 - 2 * share),
        high=value + 10 * math.log10(1 + 2 * share),
        standing="measured",
        source=FLOOR,
        remark=remark,
    )


def mask_finding(about: str, sweep: SetSweep, seen: SetSeen, found: Judgement, *, mask: str | None) -> Finding:
    """Smallest distance under a mask, where the receiver's own products are known not to matter.

    raises  ChoiceError or RangeError where the mask that was named cannot be used
    """
    key, width_hz = "mask_margin_db", seen.channel.width_hz
    assert sweep.stitched is not None
    try:
        chosen = published_mask(mask or USUAL_MASKS.get(round(width_hz, -3), SCALED_MASK), channel_width_hz=width_hz)
    except InputError:
        if mask is not None:
            raise
        remark = f"The table has no mask for {width_hz / 1e6:g} MHz: name one with --mask and --width."
        return unknown(about, key, "dB", source=MASK, remark=remark)
    high = np.maximum(sweep.stitched.level, 0.0) + 2 * np.hypot(sweep.stitched.std, sweep.stitched.common_std)
    try:
        compared, least = (
            compare_with_mask(
                replace(stitched_spectrum(sweep.stitched), density=density),
                chosen,
                centre_offset_hz=0.0,
                occupied_width_hz=seen.channel.occupied_hz,
                usable_band=1.0,
            )
            for density in (np.maximum(sweep.stitched.level, 1e-9), high)
        )
    except RangeError as refusal:
        return unknown(about, key, "dB", source=MASK, remark=str(refusal))
    where = (
        f"{chosen.name}: a target, never a law at these frequencies; tightest {least.offset_hz / 1e6:+.3f} MHz from "
        f"the centre, compared as far as {compared.compared_hz / 1e6:.2f} MHz."
    )
    if not _is_sent(sweep, found):
        remark = (
            f"{compared.margin_db.value:.1f} dB behind the receiver's front end, whose own products may be in it: "
            f"sweeps with pads 10 dB apart would tell. {where}"
        )
        return unknown(about, key, "dB", source=MASK, remark=remark)
    return _margin(about, key, compared, float(least.margin_db.value), where, asked=mask is not None)


def _is_sent(sweep: SetSweep, found: Judgement) -> bool:
    """Whether the receiver's own products are known to be small in this sweep."""
    return bool(found.sides) and all(
        any(one.reading.name == sweep.label and one.region == "true" for one in side.judged)
        for side in found.sides.values()
    )


def _margin(about: str, key: str, compared: MaskComparison, low_db: float, where: str, *, asked: bool) -> Finding:
    limit, limit_source = (0.0, compared.mask.source) if asked else (None, None)
    apart_db = compared.margin_db.value - low_db
    if apart_db > FLOOR_LIMITED_DB:
        return bound(
            about,
            key,
            low_db,
            "dB",
            sense="at_least",
            source=MASK,
            remark=f"{where} The floor may hide what comes closer.",
            limit=limit,
            limit_source=limit_source,
            margin=low_db if asked and low_db >= 0 else None,
        )
    value = estimate(compared.margin_db.value, **{**compared.margin_db.contributions, "gains": apart_db / 2})
    return estimated(
        about,
        key,
        value,
        "dB",
        source=MASK,
        remark=where,
        limit=limit,
        limit_source=limit_source,
        margin=value.value if asked else None,
    )


def caution_findings(about: str, seen: SetSeen, lines: Sequence[OwnedLine]) -> list[Finding]:
    """What was wrong with the receiver, or moved between recordings."""
    found = [*_clipped(about, seen), *_changed(about, seen), *_starved(about, seen)]
    own = [line for line in lines if line.owner == "receiver"]
    if own:
        worst = max(own, key=lambda line: line.level_dbc)
        remark = (
            f"{len(own)} discrete line{'s' if len(own) > 1 else ''} moved or went with the receiver's tuning: the "
            f"receiver's own, not the transmitter's. The strongest stands {worst.tuned_offset_hz / 1e3:+.1f} kHz from "
            f"the tuned frequency in {worst.names[0]}."
        )
        value = round(worst.level_dbc, 3)
        half = 2 * worst.std_db
        found.append(
            _caution(about, "receiver_line_dbc", value, half=half, unit="dB", source="lines, by tuning", remark=remark)
        )
    return found


def _caution(about: str, key: str, value: float, *, half: float, unit: str, source: str, remark: str) -> Finding:
    return Finding(
        about=about,
        key=key,
        kind="caution",
        value=value,
        unit=unit,
        low=value - half,
        high=value + half,
        standing="measured",
        source=source,
        remark=remark,
    )


def _clipped(about: str, seen: SetSeen) -> list[Finding]:
    clipped = [one for one in seen.spectra if one.converter.clipped_share > CLIPPED_SHARE]
    if not clipped:
        return []
    worst = max(clipped, key=lambda one: one.converter.clipped_share)
    share = worst.converter.clipped_share
    remark = (
        f"{len(clipped)} recording{'s' if len(clipped) > 1 else ''} drove the converter to its end, {worst.name} most: "
        "what they show beside the channel is partly the converter's own. Record them with less gain."
    )
    return [_caution(about, "full_scale_share", share, half=0.0, unit="1", source=CODES, remark=remark)]


def _changed(about: str, seen: SetSeen) -> list[Finding]:
    changes = [change for sweep in seen.sweeps if sweep.stitched is not None for change in sweep.stitched.changes]
    if not changes:
        return []
    worst = max(changes, key=lambda change: abs(change.difference_db))
    others = "" if len(changes) == 1 else f" {len(changes) - 1} more pairs disagree too."
    remark = (
        f"Between {worst.first} and {worst.second} the level changed by this or more: transmitter or receiver moved, "
        f"and the set is no one state of it. The doubt of the shoulders is widened for that.{others} Record the set "
        "anew without a pause."
    )
    value, half = worst.difference_db, 2 * worst.std_db
    return [_caution(about, "overlap_change_db", value, half=half, unit="dB", source=OVERLAPS, remark=remark)]


def _starved(about: str, seen: SetSeen) -> list[Finding]:
    starved = [one for one in seen.spectra if one.converter.is_starved and not one.settings.get("terminated")]
    if not starved:
        return []
    worst = min(starved, key=lambda one: float(one.converter.spread.min()))
    spread = float(worst.converter.spread.min())
    remark = (
        f"{len(starved)} recording{'s' if len(starved) > 1 else ''} spread over less than a quarter of the converter's "
        f"step, {worst.name} least: what they show is guesswork. Raise the gain behind the front end there."
    )
    return [_caution(about, "converter_spread_steps", spread, half=0.0, unit="1", source=CODES, remark=remark)]

"""Findings about a spectrum: place, shoulders, width, peaks, flatness, floor and mask, each with its doubt.

Theory  As jobs/spectrum.py. What a recording does not show is unknown, with what would settle it; what its floor hides
        is a bound.
Source  [TR101290] 9.7; [RR] 1.153; the mask's own.
Holds   A mask is a target, never a law: which one binds a station, if any, only its licence says.
"""

import math
from fractions import Fraction

from tepui.evidence.crest import PROBABILITY, PeakStatistics, crest_db, gaussian_level_db
from tepui.evidence.floor import Floor
from tepui.evidence.masks import MaskComparison, compare_with_mask, published_mask
from tepui.evidence.occupied import occupied_width
from tepui.evidence.receiver_axes import ReceiverAxes
from tepui.evidence.ripple import flatness
from tepui.evidence.shoulders import OFFSETS_HZ, SPACINGS_OF_RESOLUTION, Shoulder, Shoulders
from tepui.ground.errors import InputError, RangeError
from tepui.ground.findings import Finding
from tepui.jobs.spectrum_channel import Channel
from tepui.jobs.statements import bound, estimated, exact, text, unknown
from tepui.prediction.waveform_density import sidelobe_db
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording, SampleCounts
from tepui.signals.spectrum import Spectrum, spectrum_of_recording

SHOULDERS = "[TR101290] 9.7, tepui spectrum"
WIDTH = "[RR] 1.153, 0.5 % of the power left out on each side"
CREST = "histogram of the envelope's power, level passed for 1e-4 of the time"
FLATNESS = "averaged density over the occupied band"
FLOOR = "density of the noise over the mean density in band"
MASK = "table of masks, power in 4 kHz over total power"
NAMES = ("lower", "upper", "worst")
USUAL_MASKS = {8e6: "EN302296_noncritical_ge25W", 7e6: "GE06_noncritical"}
SCALED_MASK = "scaled_noncritical"
SIDELOBE_NEAR_DB = 2.0
CLIPPED_SHARE = 1e-6  # fewer samples at full scale change nothing that is printed here


def sidelobe_findings(about: str, sides: Shoulders | str, channel: Channel) -> list[Finding]:
    """A caution where the shoulder stands about where the side-lobes of the mode's unfiltered waveform would."""
    if isinstance(sides, str) or channel.symbols is None:
        return []
    symbols = channel.symbols
    guard = Fraction(symbols.guard_text)
    mode = Mode(
        width_hz=channel.width_hz, n_fft=symbols.n_fft, guard=guard, constellation="QPSK", code_rate=Fraction(2, 3)
    )
    level_db = float(sidelobe_db([OFFSETS_HZ[1]], mode=mode)[0])
    shown = sides.worst.corrected or sides.worst.shown
    if abs(shown.value - level_db) > SIDELOBE_NEAR_DB:
        return []
    remark = (
        f"An unfiltered {symbols.n_fft // 1024}K signal of this width itself has side-lobes near {level_db:.0f} dB at "
        "500 kHz: this shoulder may be the modulator's and not the amplifier's. Record the modulator alone."
    )
    return [
        Finding(
            about=about,
            key="sidelobe_unfiltered_db",
            value=level_db,
            unit="dB",
            low=level_db - 0.5,
            high=level_db + 0.5,
            kind="caution",
            standing="computed",
            source="[EN300744] 4.4, spectrum of rectangular symbols",
            remark=remark,
        )
    ]


def axes_findings(about: str, axes: ReceiverAxes) -> list[Finding]:
    """The receiver's image and line at zero, where they were taken off before anything was read."""
    remark = "Of the receiver, about the frequency it was tuned to; taken off before anything was read."
    both = (("receiver_image_db", axes.image_db), ("receiver_zero_dbc", axes.line_dbc))
    return [
        estimated(about, key, value, "dB", source="axes of the recording, tepui spectrum", remark=remark)
        for key, value in both
        if value is not None
    ]


def nothing_findings(about: str, remark: str) -> tuple[Finding, ...]:
    """Everything unknown, for the reason in ``remark``."""
    kinds = [(f"shoulder_{name}{kind}_db", "dB", SHOULDERS) for kind in ("", "_shown") for name in NAMES]
    kinds += [("occupied_width_99_hz", "Hz", WIDTH), ("crest_0_01pct_db", "dB", CREST)]
    kinds += [("band_ripple_db", "dB", FLATNESS), ("band_tilt_db", "dB", FLATNESS)]
    kinds += [("floor_db", "dB", FLOOR), ("mask_margin_db", "dB", MASK)]
    return tuple(unknown(about, key, unit, source=source, remark=remark) for key, unit, source in kinds)


def place_findings(about: str, recording: Recording, channel: Channel, *, remark: str) -> list[Finding]:
    """Width, mode of the symbols and centre, as found or as told."""
    symbols = channel.symbols
    if symbols is None:
        told = "as told"
        found = [exact(about, "channel_width_hz", channel.width_hz, "Hz", source=told, standing="given", remark=remark)]
        if recording.centre_hz is not None:
            centre_hz = recording.centre_hz + channel.centre_offset_hz
            found.append(exact(about, "centre_frequency_hz", centre_hz, "Hz", source=told, standing="given"))
        return found
    found = [
        exact(
            about,
            "channel_width_hz",
            channel.width_hz,
            "Hz",
            source="spacing of the carriers, [EN300744] 4.4",
            remark=remark,
        ),
        exact(about, "fft_size", symbols.n_fft, "1", source="guard interval and pilots, [EN300744] 4.4"),
        text(about, "guard_fraction", symbols.guard_text, source="guard interval, [EN300744] 4.4"),
    ]
    offset = channel.offset_hz
    source = "common phase of the pilots, tepui reception"
    looked = f"Over {1e3 * channel.looked_s:.3g} ms."
    found.append(estimated(about, "frequency_offset_hz", offset, "Hz", source=source, remark=looked))
    if recording.centre_hz is not None:
        found.append(
            Finding(
                about=about,
                key="centre_frequency_hz",
                value=recording.centre_hz + offset.value,
                unit="Hz",
                low=recording.centre_hz + offset.low,
                high=recording.centre_hz + offset.high,
                standing="measured",
                source=source,
                remark="By the receiver's own reference, whose error adds to it.",
            )
        )
    return found


def shoulder_findings(about: str, sides: Shoulders | str, channel: Channel, fine: Spectrum) -> list[Finding]:
    """Both shoulders and the worse one, without the recording's floor and as shown."""
    if isinstance(sides, str):
        keys = [f"shoulder_{name}{kind}_db" for kind in ("", "_shown") for name in NAMES]
        return [unknown(about, key, "dB", source=SHOULDERS, remark=sides) for key in keys]
    found = [_corrected(about, name, getattr(sides, name), sides.floor) for name in NAMES]
    how = (
        f"Resolution {SPACINGS_OF_RESOLUTION * channel.spacing_hz / 1e3:.3g} kHz (ten carrier spacings, a Gaussian "
        f"filter over a {fine.window} window of {fine.resolution_bandwidth_hz / 1e3:.3g} kHz); line through 300 and "
        "700 kHz, read at 500."
    )
    higher = max(sides.lower, sides.upper, key=lambda side: side.shown.value)
    for name, side in zip(NAMES, (sides.lower, sides.upper, higher), strict=True):
        found.append(estimated(about, f"shoulder_{name}_shown_db", side.shown, "dB", source=SHOULDERS, remark=how))
    return found


def _corrected(about: str, name: str, side: Shoulder, floor: Floor | None) -> Finding:
    key = f"shoulder_{name}_db"
    stands = " Something stands out of the slope there: a line, say." if side.stands_out else ""
    if side.corrected is not None:
        method = floor.method if floor is not None else ""
        remark = f"Floor taken off: {method}.{stands}"
        return estimated(about, key, side.corrected, "dB", source=SHOULDERS, remark=remark)
    why = (
        "The recording's floor is not known: a recording with its guard interval, or wider, would settle it."
        if floor is None
        else "Too near the recording's floor to be told from it: a stronger signal at the receiver, or one with less "
        "noise of its own, would settle it."
    )
    return bound(about, key, float(side.shown.high), "dB", sense="at_most", source=SHOULDERS, remark=why + stands)


def width_finding(about: str, fine: Spectrum, channel: Channel, floor: Floor | None) -> Finding:
    """Width that holds all but one per cent of the power."""
    key = "occupied_width_99_hz"
    outside = channel.centre_offset_hz - channel.occupied_hz / 2 < fine.frequency_hz[0] or (
        channel.centre_offset_hz + channel.occupied_hz / 2 > fine.frequency_hz[-1]
    )
    if outside:
        remark = "The recording does not show the whole channel: record wider, or tune to its centre."
        return unknown(about, key, "Hz", source=WIDTH, remark=remark)
    try:
        width = occupied_width(fine, floor=floor)
    except RangeError as refusal:
        return unknown(about, key, "Hz", source=WIDTH, remark=str(refusal))
    remark = "Floor taken off." if floor is not None and not floor.at_most else "The recording's floor counts in it."
    return estimated(about, key, width.width_hz, "Hz", source=WIDTH, remark=remark)


def crest_finding(about: str, peaks: PeakStatistics, recording: Recording, channel: Channel) -> Finding:
    """Level above the mean that is passed for one ten-thousandth of the time."""
    key = "crest_0_01pct_db"
    try:
        crest = crest_db(peaks, sample_rate_hz=recording.sample_rate_hz, occupied_width_hz=channel.occupied_hz)
    except RangeError as refusal:
        return unknown(about, key, "dB", source=CREST, remark=str(refusal))
    gaussian = gaussian_level_db(PROBABILITY)
    remark = f"All that was recorded, noise included; complex Gaussian noise has {gaussian:.2f} dB."
    return estimated(about, key, crest, "dB", source=CREST, remark=remark)


def flatness_findings(about: str, fine: Spectrum, channel: Channel) -> list[Finding]:
    """Ripple and tilt in band."""
    keys = ("band_ripple_db", "band_tilt_db")
    try:
        flat = flatness(fine, centre_offset_hz=channel.centre_offset_hz, occupied_width_hz=channel.occupied_hz)
    except RangeError as refusal:
        return [unknown(about, key, "dB", source=FLATNESS, remark=str(refusal)) for key in keys]
    ripple = estimated(about, keys[0], flat.ripple_db, "dB", source=FLATNESS, remark="Highest less lowest.", least=0.0)
    return [ripple, estimated(about, keys[1], flat.tilt_db, "dB", source=FLATNESS, remark="Upper end less lower end.")]


def floor_finding(about: str, floor: Floor | None, inband: float) -> Finding:
    """Noise density of the recording over the mean density in band."""
    if floor is None:
        remark = "The recording shows too little beside the channel to tell it: record wider."
        return unknown(about, "floor_db", "dB", source=FLOOR, remark=remark)
    remark = f"{floor.method[:1].upper()}{floor.method[1:]}."
    high = 10 * math.log10(floor.high / inband)
    if floor.at_most or floor.density <= 2 * floor.std:
        return bound(about, "floor_db", high, "dB", sense="at_most", source=FLOOR, remark=remark)
    return Finding(
        about=about,
        key="floor_db",
        value=10 * math.log10(floor.density / inband),
        unit="dB",
        low=10 * math.log10((floor.density - 2 * floor.std) / inband),
        high=high,
        standing="measured",
        source=FLOOR,
        remark=remark,
    )


def mask_finding(
    about: str, recording: Recording, channel: Channel, floor: Floor | None, *, mask: str | None, workers: int | None
) -> Finding:
    """Smallest distance under a mask; a limit where the operator named it, a comparison where not.

    raises  ChoiceError or RangeError where the mask that was named cannot be used
    """
    key = "mask_margin_db"
    usual = USUAL_MASKS.get(round(channel.width_hz, -3), SCALED_MASK)
    try:
        chosen = published_mask(mask or usual, channel_width_hz=channel.width_hz)
    except InputError:
        if mask is not None:
            raise
        remark = f"The table has no mask for {channel.width_hz / 1e6:g} MHz: name one with --mask and --width."
        return unknown(about, key, "dB", source=MASK, remark=remark)
    try:
        clean = spectrum_of_recording(
            recording, resolution_bandwidth_hz=chosen.bandwidth_hz / 2, window="blackman-harris", workers=workers
        )
        compared = compare_with_mask(
            clean,
            chosen,
            centre_offset_hz=channel.centre_offset_hz,
            occupied_width_hz=channel.occupied_hz,
            floor=floor,
        )
    except RangeError as refusal:
        return unknown(about, key, "dB", source=MASK, remark=str(refusal))
    return _compared(about, key, compared, asked=mask is not None)


def _compared(about: str, key: str, compared: MaskComparison, *, asked: bool) -> Finding:
    low = float(compared.margin_db.low)
    settled = not compared.floor_limited or low >= 0  # below zero, the floor may be what misses
    remark = (
        f"{compared.mask.name}: a target, never a law at these frequencies; tightest {compared.offset_hz / 1e6:+.3f} "
        f"MHz from the centre, compared as far as {compared.compared_hz / 1e6:.2f} MHz."
    )
    limit, limit_source = (0.0, compared.mask.source) if asked else (None, None)
    if compared.floor_limited:
        return bound(
            about,
            key,
            low,
            "dB",
            sense="at_least",
            source=MASK,
            remark=remark + " The recording's own floor may hide what comes closer.",
            limit=limit,
            limit_source=limit_source,
            margin=low if asked and settled else None,
        )
    return estimated(
        about,
        key,
        compared.margin_db,
        "dB",
        source=MASK,
        remark=remark,
        limit=limit,
        limit_source=limit_source,
        margin=float(compared.margin_db.value) if asked else None,
    )


def clipping_findings(about: str, counts: SampleCounts) -> list[Finding]:
    """A caution where the receiver's converter was driven to its end."""
    if counts.n_full_scale is None or counts.n_full_scale < max(2, CLIPPED_SHARE * counts.n_samples):
        return []
    return [
        Finding(
            about=about,
            key="full_scale_share",
            kind="caution",
            value=counts.n_full_scale / counts.n_samples,
            unit="1",
            low=counts.n_full_scale / counts.n_samples,
            high=counts.n_full_scale / counts.n_samples,
            standing="measured",
            source="count of the samples at their last code",
            remark="The converter was driven to its end: shoulders and peaks are partly the receiver's own. Record "
            "with less gain, or a pad.",
        )
    ]

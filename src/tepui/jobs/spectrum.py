"""Spectrum: one wide recording in; shoulders, width, peaks, ripple, lines and floor out.

Theory  The receiver's search tells where the channel lies and what its symbols are; the spectrum is read at half a
        carrier spacing and smoothed to ten for the shoulders; the guard interval tells the floor apart from distortion.
Source  [TR101290] 9.7 for the shoulders; [RR] 1.153 for the width; evidence/ for each measure.
Holds   A recording wide enough to show the channel; the shoulder needs 700 kHz beside it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.acquire import Acquired, acquire
from tepui.chain.reception.search import CARRIERS, WIDTHS_HZ, occupied_hz
from tepui.evidence.crest import PeakStatistics, crest_db, gaussian_level_db, gaussian_probability, peaks_of_recording
from tepui.evidence.floor import Floor, floor_from_guard, floor_from_quiet_part
from tepui.evidence.lines import discrete_lines
from tepui.evidence.masks import compare_with_mask, published_mask
from tepui.evidence.occupied import occupied_width
from tepui.evidence.ripple import flatness
from tepui.evidence.shoulders import Shoulder, Shoulders, shoulders
from tepui.ground.errors import InputError, RangeError
from tepui.ground.findings import Finding, Outcome, Table, Value
from tepui.jobs.statements import estimated, exact, text, unknown
from tepui.signals.dvbt.carriers import continual_carriers
from tepui.signals.recording import Recording
from tepui.signals.spectrum import Spectrum, smoothed, spectrum_of_recording

SHOULDERS = "[TR101290] 9.7, tepui spectrum"
FLOOR_SAMPLES = 4_000_000
COARSE_HZ = 5e3
MOST_POINTS = 2000
REFERENCE_HZ = 4e3


@dataclass(frozen=True, kw_only=True)
class Channel:
    """Where the channel lies: what was found, or what the operator said.

    n_fft, guard_s, useful_s   None where the signal was not found and only its place was told
    """

    centre_offset_hz: float
    width_hz: float
    occupied_hz: float
    n_fft: int | None = None
    useful_s: float | None = None
    guard_s: float | None = None

    @property
    def spacing_hz(self) -> float:
        """Distance of the carriers; of 2K where the size is not known, the coarser choice for the resolution."""
        return 8 * self.width_hz / 7 / (self.n_fft or 2048)

    @property
    def text(self) -> str:
        """In words, for a picture's foot."""
        if self.n_fft is None or self.useful_s is None or self.guard_s is None:
            return f"{self.width_hz / 1e6:g} MHz, as told"
        return f"{self.width_hz / 1e6:g} MHz {self.n_fft // 1024}K guard 1/{round(self.useful_s / self.guard_s)}"


def measure_spectrum(
    recording: Recording,
    *,
    width_hz: float | None = None,
    centre_hz: float | None = None,
    mask: str | None = None,
    workers: int | None = None,
) -> Outcome:
    """Everything the spectrum of one recording tells.

    width_hz   channel width, or None to find it
    centre_hz  where the channel's centre lies, with ``width_hz``, for a signal that is not found by itself
    mask       name of a published mask; None takes the one that fits the width, if any
    raises     RangeError where what was given contradicts the recording
    """
    about = f"recording:{recording.name}"
    channel = _channel(recording, width_hz=width_hz, centre_hz=centre_hz)
    if channel is None:
        return Outcome(findings=_nothing(about))
    fine = spectrum_of_recording(
        recording, resolution_bandwidth_hz=0.5 * channel.spacing_hz, window="hann", workers=workers
    )
    floor = _floor(recording, fine, channel)
    inband = _inband_density(fine, channel)
    findings = [*_place_findings(about, recording, channel)]
    sides = _shoulders(fine, channel, floor)
    findings += _shoulder_findings(about, sides, channel, fine)
    findings += _width_findings(about, fine, floor)
    peaks = peaks_of_recording(recording)
    findings.append(_crest_finding(about, peaks, recording, channel))
    findings += _flatness_findings(about, fine, channel)
    findings.append(_floor_finding(about, floor, inband))
    findings.append(_mask_finding(about, recording, channel, floor, mask=mask, workers=workers))
    tables = (_lines_table(fine, channel), _spectrum_table(fine, channel, inband))
    pictures = _pictures(
        findings=findings, sides=sides, channel=channel, floor=floor, peaks=peaks, tuned_hz=recording.centre_hz
    )
    return Outcome(findings=tuple(findings), tables=tables, pictures=pictures)


def _channel(recording: Recording, *, width_hz: float | None, centre_hz: float | None) -> Channel | None:
    if centre_hz is not None:
        if width_hz is None or recording.centre_hz is None:
            raise RangeError(
                f"{recording.name}: --centre needs --width beside it and a recording that says what it was tuned to."
            )
        return Channel(
            centre_offset_hz=centre_hz - recording.centre_hz, width_hz=width_hz, occupied_hz=occupied_hz(width_hz)
        )
    first = recording.stretches[0]
    widths = WIDTHS_HZ if width_hz is None else (width_hz,)
    found = acquire(recording, begin=first.start, end=first.start + first.count, floor=first.start, widths_hz=widths)
    if not isinstance(found, Acquired):
        return None
    base = found.settled.base
    elementary_s = base.step / recording.sample_rate_hz
    return Channel(
        centre_offset_hz=base.offset_hz,
        width_hz=found.width_hz,
        occupied_hz=(CARRIERS[base.n_fft] - 1) / (base.n_fft * elementary_s),
        n_fft=base.n_fft,
        useful_s=base.n_fft * elementary_s,
        guard_s=base.n_guard * elementary_s,
    )


def _nothing(about: str) -> tuple[Finding, ...]:
    remark = "No DVB-T signal was found in it: tell --centre and --width, or record the channel whole and stronger."
    keys = ("shoulder_lower_db", "shoulder_upper_db", "shoulder_worst_db")
    return tuple(unknown(about, key, "dB", source=SHOULDERS, remark=remark) for key in keys)


def _floor(recording: Recording, fine: Spectrum, channel: Channel) -> Floor | None:
    if channel.useful_s is not None and channel.guard_s is not None:
        try:
            return floor_from_guard(
                recording.read(0, FLOOR_SAMPLES),
                sample_rate_hz=recording.sample_rate_hz,
                useful_s=channel.useful_s,
                guard_s=channel.guard_s,
                centre_offset_hz=channel.centre_offset_hz,
                occupied_width_hz=channel.occupied_hz,
            )
        except RangeError:
            pass
    try:
        return floor_from_quiet_part(
            fine, centre_offset_hz=channel.centre_offset_hz, occupied_width_hz=channel.occupied_hz
        )
    except RangeError:
        return None


def _inside(fine: Spectrum, channel: Channel) -> npt.NDArray[np.bool_]:
    return np.asarray(np.abs(fine.frequency_hz - channel.centre_offset_hz) <= 0.5 * channel.occupied_hz)


def _inband_density(fine: Spectrum, channel: Channel) -> float:
    return float(fine.density[_inside(fine, channel)].mean())


def _place_findings(about: str, recording: Recording, channel: Channel) -> list[Finding]:
    source = "spacing of the carriers, [EN300744] 4.4" if channel.n_fft else "as told"
    standing = "measured" if channel.n_fft else "given"
    found = [exact(about, "channel_width_hz", channel.width_hz, "Hz", source=source, standing=standing)]
    if channel.n_fft:
        found.append(exact(about, "fft_size", channel.n_fft, "1", source="guard interval and pilots, [EN300744] 4.4"))
        denominator = round((channel.useful_s or 0) / (channel.guard_s or 1))
        found.append(text(about, "guard_fraction", f"1/{denominator}", source="guard interval, [EN300744] 4.4"))
    if recording.centre_hz is not None:
        value = recording.centre_hz + channel.centre_offset_hz
        doubt = 0.02 * channel.spacing_hz if channel.n_fft else 0.0
        found.append(
            Finding(
                about=about,
                key="centre_frequency_hz",
                value=value,
                unit="Hz",
                low=value - doubt,
                high=value + doubt,
                standing=standing,
                source="pilots, tepui reception" if channel.n_fft else "as told",
                remark="By the receiver's own reference, whose error adds to it." if channel.n_fft else "",
            )
        )
    return found


def _shoulders(fine: Spectrum, channel: Channel, floor: Floor | None) -> Shoulders | str:
    try:
        return shoulders(
            fine,
            centre_offset_hz=channel.centre_offset_hz,
            occupied_width_hz=channel.occupied_hz,
            carrier_spacing_hz=channel.spacing_hz,
            floor=floor,
        )
    except RangeError as refusal:
        return str(refusal)


def _shoulder_findings(about: str, sides: Shoulders | str, channel: Channel, fine: Spectrum) -> list[Finding]:
    names = ("lower", "upper", "worst")
    if isinstance(sides, str):
        keys = [f"shoulder_{name}{kind}_db" for name in names for kind in ("", "_shown")]
        return [unknown(about, key, "dB", source=SHOULDERS, remark=sides) for key in keys]
    how = (
        f"Resolution {10 * channel.spacing_hz / 1e3:.3g} kHz (ten carrier spacings, from {fine.window} at "
        f"{fine.resolution_bandwidth_hz / 1e3:.3g} kHz); line through 300 and 700 kHz, read at 500."
    )
    found = []
    for name in names:
        side: Shoulder = getattr(sides, name)
        stands = " Something stands out of the slope there: a line, say." if side.stands_out else ""
        key = f"shoulder_{name}_db"
        if side.corrected is None:
            high = float(side.shown.high)
            found.append(
                Finding(
                    about=about,
                    key=key,
                    value=high,
                    unit="dB",
                    high=high,
                    standing="at_most",
                    source=SHOULDERS,
                    remark="Too near the recording's floor to be told from it: less gain before the noise, or a "
                    "stronger signal, would settle it." + stands,
                )
            )
        else:
            method = sides.floor.method if sides.floor is not None else ""
            found.append(
                estimated(
                    about, key, side.corrected, "dB", source=SHOULDERS, remark=f"Floor taken off: {method}.{stands}"
                )
            )
    higher = max(sides.lower, sides.upper, key=lambda side: side.shown.value)
    for name, side in zip(names, (sides.lower, sides.upper, higher), strict=True):
        found.append(estimated(about, f"shoulder_{name}_shown_db", side.shown, "dB", source=SHOULDERS, remark=how))
    return found


def _width_findings(about: str, fine: Spectrum, floor: Floor | None) -> list[Finding]:
    source = "[RR] 1.153, 0.5 % of the power left out on each side"
    try:
        width = occupied_width(fine, floor=floor)
    except RangeError as refusal:
        return [unknown(about, "occupied_width_99_hz", "Hz", source=source, remark=str(refusal))]
    return [estimated(about, "occupied_width_99_hz", width.width_hz, "Hz", source=source)]


def _crest_finding(about: str, peaks: PeakStatistics, recording: Recording, channel: Channel) -> Finding:
    source = "histogram of the envelope's power, level passed for 1e-4 of the time"
    try:
        crest = crest_db(peaks, sample_rate_hz=recording.sample_rate_hz, occupied_width_hz=channel.occupied_hz)
    except RangeError as refusal:
        return unknown(about, "crest_0_01pct_db", "dB", source=source, remark=str(refusal))
    remark = f"All that was recorded, noise included; complex Gaussian noise has {gaussian_level_db(1e-4):.2f} dB."
    return estimated(about, "crest_0_01pct_db", crest, "dB", source=source, remark=remark)


def _flatness_findings(about: str, fine: Spectrum, channel: Channel) -> list[Finding]:
    source = "averaged density over the occupied band"
    try:
        flat = flatness(fine, centre_offset_hz=channel.centre_offset_hz, occupied_width_hz=channel.occupied_hz)
    except RangeError as refusal:
        return [
            unknown(about, key, "dB", source=source, remark=str(refusal)) for key in ("band_ripple_db", "band_tilt_db")
        ]
    return [
        estimated(about, "band_ripple_db", flat.ripple_db, "dB", source=source, remark="Highest less lowest."),
        estimated(about, "band_tilt_db", flat.tilt_db, "dB", source=source, remark="Upper end less lower end."),
    ]


def _floor_finding(about: str, floor: Floor | None, inband: float) -> Finding:
    source = "density of the noise over the mean density in band"
    if floor is None:
        return unknown(
            about, "floor_db", "dB", source=source, remark="The recording shows too little to tell it: record wider."
        )
    high = 10 * np.log10((floor.density + 2 * floor.std) / inband)
    if floor.at_most or floor.density <= 2 * floor.std:
        return Finding(
            about=about,
            key="floor_db",
            value=float(high),
            unit="dB",
            high=float(high),
            standing="at_most",
            source=source,
            remark=f"{floor.method[:1].upper()}{floor.method[1:]}.",
        )
    value = 10 * np.log10(floor.density / inband)
    low = 10 * np.log10((floor.density - 2 * floor.std) / inband)
    return Finding(
        about=about,
        key="floor_db",
        value=float(value),
        unit="dB",
        low=float(low),
        high=float(high),
        standing="measured",
        source=source,
        remark=f"{floor.method[:1].upper()}{floor.method[1:]}.",
    )


def _mask_finding(
    about: str, recording: Recording, channel: Channel, floor: Floor | None, *, mask: str | None, workers: int | None
) -> Finding:
    key, source = "mask_margin_db", "table of masks, power in 4 kHz relative to total power"
    width_mhz = channel.width_hz / 1e6
    usual = {8.0: "EN302296_noncritical_ge25W", 7.0: "GE06_noncritical"}.get(width_mhz, "scaled_noncritical")
    try:
        chosen = published_mask(mask or usual, channel_width_hz=channel.width_hz)
    except InputError as refusal:
        if mask is not None:
            raise
        return unknown(about, key, "dB", source=source, remark=f"{refusal}")
    try:
        clean = spectrum_of_recording(
            recording, resolution_bandwidth_hz=REFERENCE_HZ / 2, window="blackman-harris", workers=workers
        )
        compared = compare_with_mask(
            clean,
            chosen,
            centre_offset_hz=channel.centre_offset_hz,
            occupied_width_hz=channel.occupied_hz,
            floor=floor,
        )
    except RangeError as refusal:
        return unknown(about, key, "dB", source=source, remark=str(refusal))
    remark = (
        f"{chosen.name}: a target, never a law at these frequencies; tightest {compared.offset_hz / 1e6:+.3f} MHz from "
        f"the centre, compared as far as {compared.compared_hz / 1e6:.2f} MHz."
    )
    margin = compared.margin_db
    if compared.floor_limited:
        low = float(margin.low)
        return Finding(
            about=about,
            key=key,
            value=low,
            unit="dB",
            low=low,
            standing="at_least",
            source=source,
            remark=remark + " The recording's own floor decides there.",
        )
    return estimated(about, key, margin, "dB", source=source, remark=remark)


def _lines_table(fine: Spectrum, channel: Channel) -> Table:
    power = float(fine.density[_inside(fine, channel)].sum() * fine.bin_hz)
    ignore = np.zeros(0)
    if channel.n_fft is not None and channel.useful_s is not None and channel.guard_s is not None:
        # continual pilots are lines too, at multiples of the symbol rate next to their carriers
        symbol_hz = 1 / (channel.useful_s + channel.guard_s)
        carriers = continual_carriers(channel.n_fft) - (CARRIERS[channel.n_fft] - 1) // 2
        spots = carriers * channel.spacing_hz
        ignore = channel.centre_offset_hz + np.concatenate([spots + n * symbol_hz / 2 for n in (-2, -1, 0, 1, 2)])
    lines = discrete_lines(fine, reference_power=power, ignore_hz=ignore)
    rows: tuple[tuple[Value, ...], ...] = tuple(
        (float(line.frequency_hz.value), float(line.level_dbc.value), float(2 * line.level_dbc.std)) for line in lines
    )
    return Table(name="lines", columns=(("tuned_offset_hz", "Hz"), ("level_dbc", "dB"), ("doubt_db", "dB")), rows=rows)


def _spectrum_table(fine: Spectrum, channel: Channel, inband: float) -> Table:
    coarse = smoothed(fine, resolution_bandwidth_hz=max(10 * channel.spacing_hz, 4 * fine.resolution_bandwidth_hz))
    step = max(1, -(-coarse.frequency_hz.size // MOST_POINTS))
    power = float(fine.density[_inside(fine, channel)].sum() * fine.bin_hz)
    rows = tuple(
        (
            float(f),
            float(10 * np.log10(max(d, 1e-30) / inband)),
            float(10 * np.log10(max(d, 1e-30) * REFERENCE_HZ / power)),
        )
        for f, d in zip(coarse.frequency_hz[::step], coarse.density[::step], strict=True)
    )
    return Table(
        name="spectrum",
        columns=(("tuned_offset_hz", "Hz"), ("level_db", "dB"), ("level_total_4khz_db", "dB")),
        rows=rows,
    )


def _pictures(
    *,
    findings: list[Finding],
    sides: Shoulders | str,
    channel: Channel,
    floor: Floor | None,
    peaks: PeakStatistics,
    tuned_hz: float | None,
) -> dict[str, dict[str, object]]:
    by_key = {finding.key: finding for finding in findings}
    pictures: dict[str, dict[str, object]] = {}
    if not isinstance(sides, str):
        trace = sides.trace
        zero = sides.reference_density
        drawn = {
            name: {
                part: getattr(getattr(sides, name).construction, part)
                for part in ("offset_hz", "level_db", "touch_hz", "touch_db", "read_db")
            }
            for name in ("lower", "upper")
        }
        step = max(1, trace.frequency_hz.size // 6000)
        level = None if floor is None else float(10 * np.log10(floor.density / zero))
        centre = None if tuned_hz is None else tuned_hz + channel.centre_offset_hz
        pictures["spectrum"] = {
            "frequency_hz": trace.frequency_hz[::step] - channel.centre_offset_hz,
            "level_db": 10 * np.log10(np.maximum(trace.density[::step], zero * 1e-9) / zero),
            "occupied_width_hz": channel.occupied_hz,
            "resolution_hz": trace.resolution_bandwidth_hz,
            "finding": by_key["shoulder_worst_db"],
            "lower": by_key["shoulder_lower_db"],
            "upper": by_key["shoulder_upper_db"],
            "constructions": drawn,
            "floor_db": level,
            "limit_db": None,
            "centre_hz": centre,
            "mode": channel.text,
        }
    if by_key["crest_0_01pct_db"].is_number:
        axis = np.linspace(0.0, 12.0, 200)
        shown = peaks.probability > 0
        pictures["ccdf"] = {
            "level_db": peaks.level_db[shown],
            "probability": peaks.probability[shown],
            "gaussian_level_db": axis,
            "gaussian_probability": gaussian_probability(axis),
            "finding": by_key["crest_0_01pct_db"],
            "mode": channel.text,
        }
    return pictures

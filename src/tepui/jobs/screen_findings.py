"""Findings of one look at a display: shoulders, a line, the channel's power, and what the display did to them.

Theory  evidence/screen.py. What the filter, the floor or the baseline hides is a bound; what hangs on a peak detector
        of which nothing is told is unknown, with the range that it leaves.
Source  [TR101290] 9.7; signals/detected.py; signals/resolution.py.
Holds   The two conventions stay apart: levels over the trace's highest value end in ``_db``, powers in 4 kHz over the
        total power in ``_total_4khz_db``.
"""

import math
from collections.abc import Mapping
from dataclasses import replace

from tepui.evidence.screen import Band, Side, band_of, channel_power, power_ends
from tepui.evidence.screen_line import LEAST_EXCESS_DB, line_of
from tepui.ground.doubt import Estimate
from tepui.ground.errors import FormatError
from tepui.ground.findings import Finding
from tepui.jobs.screen_told import Look
from tepui.jobs.statements import bound, estimated, unknown
from tepui.prediction.waveform_density import sidelobe_db
from tepui.signals.dvbt.mode import FFT_NAMES
from tepui.signals.dvbt.pilot_rise import pilot_rise_db

READ = "[TR101290] 9.7, as read from a display"
DETECTED = "signals/detected.py: a display's detector on noise"
FILTERED = "signals/resolution.py: a display's resolution filter"
REFERENCE_HZ = 4e3
SIDELOBE_NEAR_DB = 2.0
LEAK_SAID_DB = 0.3  # taken off for the filter: from there on a caution says so (this program's limit)
NAMES = {
    "power": "a mean of powers shows noise as it is",
    "log": "a mean of decibels shows noise 2.51 dB below its power",
    "linear": "a mean of envelopes shows noise 1.05 dB below its power",
}


def side_findings(about: str, look: Look, side: str, read: Side, *, total_power: bool) -> list[Finding]:
    """One shoulder: as sent, as shown, and in the other convention where that is asked."""
    key = f"shoulder_{side}"
    sent = _shoulder(about, f"{key}_db", look, read)
    findings = [sent, estimated(about, f"{key}_shown_db", read.shown, "dB", source=READ)]
    return [*findings, over_total_power(sent, look)] if total_power else findings


def _shoulder(about: str, key: str, look: Look, read: Side) -> Finding:
    if read.true is None:
        remark = f"Better than {read.high_db:.1f} dB is all that can be said. {_hidden(look, read)}"
        return bound(about, key, read.high_db, "dB", sense="at_most", source=READ, remark=remark)
    found = estimated(about, key, read.true, "dB", source=READ, remark=_shoulder_remark(look, read))
    return replace(found, low=read.low_db, high=read.high_db)


def _hidden(look: Look, read: Side) -> str:
    if read.hidden_by == "noise":
        return (
            "The display's own noise is more than half of what it shows there: less attenuation ahead of it, as far as "
            "its front end bears it, or a higher level, lifts the shoulder out."
        )
    if read.hidden_by == "filter":
        resolution = look.reading.display.resolution
        width = "" if resolution is None else f" {resolution.width_hz / 1e3:g} kHz wide"
        return (
            f"The resolution filter,{width}, passes so much of the channel itself there that more than half may be "
            "that: read again through 10 to 50 kHz."
        )
    return (
        "The modulator alone shows nearly as much, and the two may add as voltages: lower the modulator's own "
        "shoulder, by its level or a filter behind it."
    )


def _shoulder_remark(look: Look, read: Side) -> str:
    parts = [f"{name} {off:.2f} dB" for name, off in read.off_db.items() if abs(off) >= 0.005]
    words = [f"Taken off as power: {', '.join(parts)}." if parts else ""]
    words.append(_top_words(look))
    if look.ratios.noise is None:
        words.append("The display's noise was not told and is still in it: read it with the signal off (--noise).")
    kind = look.reading.display.detector
    if kind == "peak":
        words.append(
            "Peaks of a shoulder stand higher over its mean than the channel's where clipping makes it in bursts: a "
            "mean of powers says more."
        )
    elif kind != "power":
        words.append("One detector shows both, so that its offset is not in their difference.")
    if read.off_db.get("baseline") is not None:
        words.append(
            "The value has the modulator's own taken off as power; the interval is what remains possible where the two "
            "add as voltages, in phase or against."
        )
    return " ".join(word for word in words if word)


def _top_words(look: Look) -> str:
    """How the trace's height was brought to that through the standard's filter."""
    band, reading = band_of(look.ratios), look.ratios
    if reading.mode is None or (reading.display.resolution is None and not reading.is_middle):
        return ""
    moved = band.highest.value - reading.top.value
    place = "middle" if reading.is_middle else "top"
    return f"Over the highest value through ten carrier spacings, {moved:+.2f} dB from the trace's {place} (pilots)."


def over_total_power(found: Finding, look: Look) -> Finding:
    """A shoulder over the trace's highest value, as power in 4 kHz over the total power.

    raises  FormatError where the channel's width was not told
    """
    mode = look.reading.mode
    if mode is None:
        raise FormatError("power in 4 kHz over the total power needs the channel's width: give it.")
    shift = pilot_rise_db(mode.n_fft) + 10 * math.log10(REFERENCE_HZ / mode.occupied_width_hz)
    remark = (
        f"The other convention: power in 4 kHz over the total power, {-shift:.1f} dB below the level over the trace's "
        "highest value. Hold it against masks of that kind only."
    )
    key = found.key.removesuffix("_db") + "_total_4khz_db"
    if not isinstance(found.value, float):
        return replace(found, key=key)
    low, high = (None if end is None else end + shift for end in (found.low, found.high))
    return replace(found, key=key, value=found.value + shift, low=low, high=high, remark=remark)


def line_findings(about: str, look: Look, band: Band) -> list[Finding]:
    """A discrete line over the signal's power.

    raises  FormatError where width or filter are missing
    """
    reading = look.ratios
    if reading.line is None:
        return []
    if reading.mode is None or reading.display.resolution is None:
        raise FormatError(
            "a line shows as power and the signal as density: comparing them needs the RBW and the channel's width."
        )
    key = "line_over_signal_dbc"
    line, power = line_of(reading, band), channel_power(reading, band)
    source = f"{DETECTED}; {FILTERED}"
    tune = "Tune away a little: a line that moves with the tuning is the display's own."
    if power is None:
        least, most = power_ends(reading, band)
        remark = f"{_PEAK} between {line.most_db - most:.0f} and {line.most_db - least:.0f} dB is possible. {_CURE}"
        return [unknown(about, key, "dB", source=source, remark=remark)]
    if line.over_signal is None:
        why = (
            "What the trace shows beside the line was not told (--beside), so it is still in it."
            if reading.beside is None
            else f"The line stands less than {LEAST_EXCESS_DB:g} dB out of the trace: through a narrower filter it "
            "stands higher."
        )
        return [bound(about, key, line.most_db - power.low, "dB", sense="at_most", source=source,
                      remark=f"{why} {tune}")]  # fmt: skip
    naive = reading.line.value - band.highest.value
    resolution = reading.display.resolution
    remark = (
        f"It stands {naive:.1f} dB over the trace's top, which shows {resolution.noise_bandwidth_hz / 1e3:.3g} kHz of "
        f"{reading.mode.occupied_width_hz / 1e6:.4g} MHz; {NAMES.get(reading.display.detector or '', _UNTOLD)}, and a "
        f"clear line as it is. {tune}"
    )
    return [estimated(about, key, line.over_signal, "dB", source=source, remark=remark)]


_PEAK = "A peak detector shows noise from 2.5 dB below its power to 12 dB over it, by how long it looks at a point:"
_CURE = "Take a mean of powers, or tell sweep time and points."
_UNTOLD = "the detector was not told, so that noise may show up to 2.51 dB below its power"


def power_findings(about: str, look: Look, band: Band) -> list[Finding]:
    """Mean power of the channel, where levels are in dBm and width and filter are told."""
    reading = look.reading
    if not look.is_level or reading.mode is None or reading.display.resolution is None:
        return []
    key, source = "channel_power_dbm", f"{DETECTED}; {FILTERED}"
    power = channel_power(reading, band)
    pad = look.told.pad_db or 0.0
    where = f"Ahead of the pad of {pad:g} dB." if pad else "At the display's input: tell what stands ahead of it."
    if power is None:
        least, most = power_ends(reading, band)
        remark = f"{_PEAK} between {least + pad:.1f} and {most + pad:.1f} dBm is possible. {_CURE}"
        return [unknown(about, key, "dBm", source=source, remark=remark)]
    moved = Estimate(value=power.value + pad, std=power.std, contributions=power.contributions)
    kind = reading.display.detector
    why = NAMES.get(kind or "", "" if kind == "peak" else _UNTOLD)
    width = reading.mode.occupied_width_hz
    remark = (
        f"{'Middle' if reading.is_middle else 'Top'} of the trace plus 10 lg({width / 1e6:.4g} MHz / "
        f"{reading.display.resolution.noise_bandwidth_hz / 1e3:.3g} kHz)"
        f"{f'; {why}' if why else ''}. {where} The display's own accuracy is not in the doubt."
    )
    return [estimated(about, key, moved, "dBm", source=source, remark=remark)]


def shoulder_cautions(about: str, look: Look, sides: Mapping[str, Side]) -> list[Finding]:
    """What to keep in mind of shoulders seen in one look."""
    return [*_leak_caution(about, look, sides), *_sidelobe(about, look, sides), *_alone(about, sides)]


def display_findings(about: str, look: Look) -> list[Finding]:
    """What the display does to noise."""
    reading = look.reading
    findings = []
    display = reading.display
    if display.offset is not None:
        findings.append(
            estimated(about, "detector_offset_db", display.offset, "dB", source=DETECTED, standing="computed",
                      remark=_offset_remark(look))
        )  # fmt: skip
    if display.resolution is not None:
        low, high = (
            display.resolution.noise_bandwidth_hz * 10 ** (sign * 2 * display.resolution.noise_std_db / 10)
            for sign in (-1, 1)
        )
        shape = "its shape was not told: 1.05 to 1.13 is common" if display.resolution.shape is None else "by its shape"
        factor = display.resolution.noise_bandwidth_hz / display.resolution.width_hz
        findings.append(
            Finding(about=about, key="noise_bandwidth_hz", value=display.resolution.noise_bandwidth_hz, unit="Hz",
                    low=low, high=high, standing="computed", source=FILTERED,
                    remark=f"{factor:.3f} times the width at 3 dB, {shape}.")
        )  # fmt: skip
    return findings


def _offset_remark(look: Look) -> str:
    kind = look.reading.display.detector
    if kind is None:
        return "The detector was not told: a mean of powers, envelopes or decibels (--detector)."
    if kind == "peak":
        return "Highest of noise in the time that the display looks at one point; a mean of powers needs no such guess."
    return f"{NAMES[kind][:1].upper()}{NAMES[kind][1:]}."


def _leak_caution(about: str, look: Look, sides: Mapping[str, Side]) -> list[Finding]:
    """Where the resolution filter itself shows a part of the channel as shoulder."""
    resolution, mode = look.reading.display.resolution, look.reading.mode
    if resolution is None or mode is None or not sides:
        return []
    most = max((side.off_db.get("filter", 0.0) for side in sides.values()), default=0.0)
    if most < LEAK_SAID_DB and all(side.hidden_by != "filter" for side in sides.values()):
        return []
    share, std = resolution.leak(500e3, channel_hz=mode.occupied_width_hz)
    ends = [10 * math.log10(max(share + sign * 2 * std, share / 30)) for sign in (-1, 1)]
    middle = 10 * math.log10(share)
    return [
        Finding(
            about=about,
            key="filter_leak_db",
            value=middle,
            unit="dB",
            low=min(ends[0], middle),
            high=max(ends[1], middle),
            kind="caution",
            standing="computed",
            source=FILTERED,
            remark=f"Through {resolution.width_hz / 1e3:g} kHz the channel itself shows 500 kHz outside, so much below "
            "its middle: it was taken off as power, and 10 to 50 kHz would spare that.",
        )
    ]


def _sidelobe(about: str, look: Look, sides: Mapping[str, Side]) -> list[Finding]:
    """Where the shoulder stands about where an unfiltered waveform's side-lobes would."""
    mode = look.reading.mode
    levels = [side.true.value if side.true else side.high_db for side in sides.values()]
    if mode is None or not levels:
        return []
    level = float(sidelobe_db([500e3], mode=mode)[0])
    if abs(max(levels) - level) > SIDELOBE_NEAR_DB:
        return []
    return [
        Finding(
            about=about,
            key="sidelobe_unfiltered_db",
            value=level,
            unit="dB",
            low=level - 0.5,
            high=level + 0.5,
            kind="caution",
            standing="computed",
            source="[EN300744] 4.4, spectrum of rectangular symbols",
            remark=f"An unfiltered {FFT_NAMES[mode.n_fft]} signal of this width itself has side-lobes near {level:.0f} "
            "dB at 500 kHz: this shoulder may be the modulator's. Read the modulator alone (--baseline).",
        )
    ]


def _alone(about: str, sides: Mapping[str, Side]) -> list[Finding]:
    if not sides:
        return []
    return [
        Finding(
            about=about,
            key="receiver_not_parted",
            value=True,
            kind="caution",
            standing="given",
            source="evidence/instrument.py",
            remark="One look does not tell the transmitter's products from the display's own, which may even cancel "
            "them. Put 10 dB more ahead of it: a shoulder that stays where it is over the top is the transmitter's; a "
            "table of looks through several pads settles the rest (--screen FILE.csv).",
        )
    ]

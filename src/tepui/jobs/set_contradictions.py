"""What a set shows against what was said of it: a signal at all, gain steps, and the width of the channel.

Theory  Where two recordings overlap, their gains are compared without asking what was set. A receiver's nominal steps
        are right within 2 dB, so that one setting which stands further than the step between two such gains allows
        from the others was named wrongly, or automatic gain was on. A channel's carriers fill it as far as the signal
        stands within 10 dB of its middle. Where less than half as much stands in the channel as the floors hold, in
        every sweep, there is none.
Source  Nominal steps within 2 dB: this program's limit (evidence/stitch_beliefs.py). Carriers: [EN300744] 4.4.
Holds   Settings that name a gain; of two it is not known which one is wrong. A whole sweep over both edges.
"""

import math
from collections.abc import Sequence
from statistics import median

import numpy as np

from tepui.evidence.narrow_channel import FALL_DB, WIDTH_AGREES
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_beliefs import NOMINAL_STD_DB
from tepui.evidence.stitch_set import nominal_gain_db, setting_of
from tepui.ground.findings import Finding
from tepui.jobs.set_sweeps import SetSeen, SetSweep
from tepui.signals.recording import Recording

STEPS = "gains where recordings overlap, against those that the recordings name"
TOLD = "what the recordings say of themselves"
WIDTH = "what stands within 10 dB of the middle of the stitched spectrum"
MIDDLE_SHARE = 0.25  # of the width told, on either side of the centre: in band, whatever the true width
STANDS_OUT = 0.5  # of the floor: less is no channel (this program's limit)
MOST_OFF_DB = 2 * math.sqrt(2) * NOMINAL_STD_DB  # between two gains, each within 2 dB


def no_signal(seen: SetSeen) -> str | None:
    """A sentence where no sweep shows a signal in the channel that was told; None where one does, or none can tell."""
    stitched = [sweep.stitched for sweep in seen.sweeps if sweep.stitched is not None]
    if not stitched or any(_stands(one) >= STANDS_OUT for one in stitched):
        return None
    return (
        f"Nothing stands out of the noise within {seen.channel.occupied_hz / 2e6:.3g} MHz of "
        f"{seen.channel.centre_hz / 1e6:.6g} MHz: check the transmitter, the cable and --centre."
    )


def _stands(stitched: Stitched) -> float:
    """What is left in band without the floors, over the floors."""
    in_band = np.abs(stitched.frequency_hz) < stitched.occupied_width_hz / 2
    level, floor = (float(np.median(one[in_band])) for one in (stitched.level, stitched.floor))
    return level / floor if floor else math.inf


def automatic_gain_findings(about: str, recordings: Sequence[Recording]) -> list[Finding]:
    """A caution where a recording says that automatic gain was on."""
    moved = [one for one in recordings if any(part.settings.get("agc") for part in one.stretches)]
    if not moved:
        return []
    remark = (
        f"{moved[0].name}{f' and {len(moved) - 1} more' if len(moved) > 1 else ''} say that automatic gain was on: the "
        "gains they name need not be those they had, and what lies ahead of the distortion is not known. Switch it off "
        "and record anew."
    )
    return [
        Finding(
            about=about,
            key="automatic_gain",
            kind="caution",
            value=True,
            unit="",
            standing="given",
            source=TOLD,
            remark=remark,
        )
    ]


def gain_step_findings(about: str, seen: SetSeen) -> list[Finding]:
    """A caution on the setting that is furthest from what it says; empty where all are as named."""
    apart = [one for sweep in seen.sweeps for one in _apart(sweep)]
    if not apart:
        return []
    off_db, std_db, names, sweep = max(apart, key=lambda one: abs(one[0]) - 2 * one[1])
    if abs(off_db) - 2 * std_db <= MOST_OFF_DB:
        return []
    which = f"{names[0]}" if len(names) == 1 else f"{len(names)} recordings, {names[0]} among them"
    verb = "shows" if len(names) == 1 else "show"
    remark = (
        f"At {sweep.label}, {which} {verb} this much more gain against the others than the settings say: a gain was "
        "named wrongly, or the receiver sets its gain by itself. The levels are tied by the overlaps, not by the "
        "names; correct the settings, or record anew with automatic gain off."
    )
    return [
        Finding(
            about=about,
            key="gain_step_off_db",
            kind="caution",
            value=off_db,
            unit="dB",
            low=off_db - 2 * std_db,
            high=off_db + 2 * std_db,
            standing="measured",
            source=STEPS,
            remark=remark,
        )
    ]


def width_findings(about: str, seen: SetSeen, stitched: Stitched) -> list[Finding]:
    """A caution where the signal does not fill the channel that was told, or fills more than it."""
    offset_hz, level = stitched.frequency_hz, stitched.level
    middle = float(np.median(level[np.abs(offset_hz) < MIDDLE_SHARE * seen.channel.width_hz]))
    high = offset_hz[level > middle * 10 ** (-FALL_DB / 10)]
    if middle <= 0 or high[0] == offset_hz[0] or high[-1] == offset_hz[-1]:
        return []
    wide_hz = float(high[-1] - high[0])
    if abs(wide_hz / seen.channel.occupied_hz - 1) < 2 * WIDTH_AGREES:
        return []
    remark = (
        f"The signal fills {wide_hz / 1e6:.3g} MHz, and the carriers of a {seen.channel.width_hz / 1e6:g} MHz channel "
        f"{seen.channel.occupied_hz / 1e6:.3g}: the shoulders were read beside edges that are not there. Correct "
        "--width, or leave --centre and --width out."
    )
    half_hz = stitched.resolution_bandwidth_hz
    return [
        Finding(
            about=about,
            key="channel_seen_hz",
            kind="caution",
            value=wide_hz,
            unit="Hz",
            low=wide_hz - half_hz,
            high=wide_hz + half_hz,
            standing="measured",
            source=WIDTH,
            remark=remark,
        )
    ]


def _apart(sweep: SetSweep) -> list[tuple[float, float, Sequence[str], SetSweep]]:
    """Of each setting: gain over what it says, less that of the recording in the middle; doubt; who bears it."""
    if sweep.stitched is None:
        return []
    nominal = {setting_of(one): nominal_gain_db(one) for one in sweep.spectra}
    off = {
        key: (gain.value - said, gain.std)
        for key, gain in sweep.stitched.gain_db.items()
        if (said := nominal.get(key)) is not None
    }
    if len(off) < 2:
        return []
    usual = median([off[key][0] for one in sweep.spectra if (key := setting_of(one)) in off])
    return [
        (value - usual, std, [one.name for one in sweep.spectra if setting_of(one) == key], sweep)
        for key, (value, std) in off.items()
    ]

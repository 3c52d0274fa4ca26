"""One setting of a drive series recorded in narrow slices, a whole sweep or two tunings, reduced to its shoulders.

Theory  jobs/set_sweeps.py and set_findings.py part transmitter and receiver where the set holds several pads. With one
        pad the shoulders are taken as seen behind the receiver's front end, and a caution says so; a baseline, read at
        the same receiver level, then comes off them as off a display's.
Source  [TR101290] 9.7; evidence/instrument.py.
Holds   One drive setting a set. MER is not to be had from slices.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from tepui.evidence.drive import HIGHEST_STD_DB, SideLevel
from tepui.evidence.instrument import Transmitted
from tepui.evidence.narrow_channel import settings_of
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import FormatError
from tepui.jobs.drive_recordings import trace_of
from tepui.jobs.drive_series import NOMINAL_MODE, Measured, worse_of
from tepui.jobs.set_findings import SIDES, judged
from tepui.jobs.set_more import caution_findings
from tepui.jobs.set_sweeps import SetOptions, find_channel, seen_of
from tepui.signals.recording import Recording


def measure_narrow(name: str, recordings: Sequence[Recording], options: SetOptions) -> Measured:
    """Both shoulders of one setting.

    raises  FormatError where the set shows no channel, or not both shoulders
    """
    about = f"set:{name}"
    channel = find_channel(recordings, options)
    if isinstance(channel, str):
        raise FormatError(f"The narrow recordings of {name} show no channel. {channel}")
    seen = seen_of(recordings, channel, options)
    found = judged(seen)
    sides = found.reference.sides if found.reference is not None else None
    if not found.readable or sides is None or found.reference is None:
        missing = " ".join(dict.fromkeys(sweep.missing for sweep in seen.sweeps if sweep.missing))
        raise FormatError(f"The narrow recordings of {name} do not show both shoulders. {missing}".strip())
    levels = {
        side: _level(found.sides[side], getattr(sides, side), getattr(sides, f"shown_{side}"), sides.common_db)
        for side in SIDES
    }
    if not found.reference.has_floor:  # what is shown is a floor's, as much as anybody knows
        levels = {
            side: replace(one, true=None) if found.sides[side].kind == "unknown" else one
            for side, one in levels.items()
        }
    levels["worst"] = worse_of(list(levels.values()))
    is_open = any(found.sides[side].kind == "unknown" for side in SIDES)
    setting = settings_of(recordings[0]).get("setting_dbm")
    guard = Fraction(1, 32) if channel.symbols is None else channel.symbols.guard
    mode = replace(NOMINAL_MODE, width_hz=channel.width_hz, n_fft=channel.n_fft or 2048, guard=guard)
    stitched = found.reference.stitched
    return Measured(
        about=about,
        setting_dbm=None if setting is None else float(setting),
        mode=mode,
        is_held=False,
        sides=levels,
        is_open=is_open,
        trace=None if stitched is None else trace_of(sides.shape, offset_hz=0.0),
        peaks=None,
        findings=tuple(caution_findings(about, seen, ())),
    )


def _level(sent: Transmitted, read: Estimate, shown: Estimate, common_db: float) -> SideLevel:
    """One side: as sent where pads settle it, a bound where they leave an interval, as seen with one pad."""
    if sent.kind == "unknown" or sent.low_db is None or sent.high_db is None:
        own = math.sqrt(max(read.std**2 - common_db**2, 1e-4))
        return SideLevel(shown_db=shown.value, own_std_db=own, common_std_db=math.hypot(common_db, HIGHEST_STD_DB),
                         true=read, on_baseline=False)  # fmt: skip
    std = (sent.high_db - sent.low_db) / 4
    own = math.sqrt(max(std**2 - common_db**2, 1e-4))
    true = None if sent.value_db is None else estimate(sent.value_db, pads=std)
    return SideLevel(
        shown_db=sent.high_db if true is None else shown.value,
        own_std_db=own,
        common_std_db=math.hypot(common_db, HIGHEST_STD_DB),
        true=true,
        on_baseline=False,
    )

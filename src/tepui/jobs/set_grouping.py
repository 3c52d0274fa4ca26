"""Which recordings belong together: a set where each is too narrow for the channel, one by one where not.

Theory  Recordings at several tunings, of one sample rate and one drive setting, whose joined rough spectrum shows a
        signal wider than one of them shows with the 700 kHz beside it that the shoulders need, are a set. Tunings
        further apart than a channel and what its two ends need belong to different channels.
Source  [TR101290] 9.7 for the 700 kHz; widest channel: [EN300744].
Holds   Recordings that tell their tuned frequency; others are measured by themselves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from tepui.chain.reception.search import occupied_hz
from tepui.evidence.narrow_channel import rough_edges, settings_of
from tepui.evidence.shoulders import OFFSETS_HZ
from tepui.jobs.set_sweeps import USABLE_SHARE
from tepui.signals.dvbt.mode import WIDTH_MAX_HZ
from tepui.signals.recording import Recording

APART_HZ = 1e3
SLOWEST_WIDE_HZ = 8e6  # a receiver of this rate may show a channel whole


@dataclass(frozen=True, kw_only=True)
class Grouping:
    """Sets by name, and recordings that are measured one by one."""

    sets: tuple[tuple[str, tuple[Recording, ...]], ...]
    single: tuple[Recording, ...]


def grouped(recordings: Sequence[Recording], *, width_hz: float | None) -> Grouping:
    """Sets and single recordings, in the order given."""
    keyed: dict[tuple[float, float | None], list[Recording]] = {}
    single: list[Recording] = []
    for one in recordings:
        if any(part.frequency_hz is None for part in one.stretches):
            single.append(one)
            continue
        setting = settings_of(one).get("setting_dbm")
        keyed.setdefault((one.sample_rate_hz, None if setting is None else float(setting)), []).append(one)
    silent = [one for group in keyed.values() for one in group if settings_of(one).get("terminated")]
    sets = []
    live_groups = [
        (rate_hz, setting, live)
        for (rate_hz, setting), group in keyed.items()
        for live in _by_channel([one for one in group if not settings_of(one).get("terminated")])
    ]
    for rate_hz, setting, live in live_groups:
        if not _is_set(live, width_hz=width_hz):
            single += live
            continue
        quiet = [one for one in silent if one.sample_rate_hz == rate_hz]
        sets.append((_name(live), setting, (*live, *quiet)))
    named = [
        f"{name} at {setting:g} dBm" if setting is not None and len(sets) > 1 else name for name, setting, _ in sets
    ]
    used = {id(one) for _, _, group in sets for one in group}
    single += [one for one in silent if id(one) not in used]
    order = {id(one): number for number, one in enumerate(recordings)}
    return Grouping(
        sets=tuple((_apart(named, number), group) for number, (_, _, group) in enumerate(sets)),
        single=tuple(sorted(single, key=lambda one: order[id(one)])),
    )


def contradiction(grouping: Grouping) -> str | None:
    """A sentence on a recording that stands among those of a set with a sample rate of its own; None where none does.

    A recording that may show a channel whole is no such stray.
    """
    for name, members in grouping.sets:
        tunings = [part.frequency_hz or 0.0 for one in members for part in one.stretches]
        for one in grouping.single:
            tuned_hz = one.stretches[0].frequency_hz
            if tuned_hz is None or not min(tunings) <= tuned_hz <= max(tunings):
                continue
            if one.sample_rate_hz < SLOWEST_WIDE_HZ and one.sample_rate_hz != members[0].sample_rate_hz:
                return (
                    f"{one.name} says {one.sample_rate_hz / 1e6:g} MS/s and the {len(members)} recordings of {name} "
                    f"around it {members[0].sample_rate_hz / 1e6:g} MS/s; a set has one sample rate: correct what the "
                    "recording says, or leave it out."
                )
    return None


def _by_channel(group: Sequence[Recording]) -> list[list[Recording]]:
    """Parted where two neighbouring tunings cannot be the two ends of one channel; the order given is kept."""
    if not group:
        return []
    reach_hz = WIDTH_MAX_HZ + 2 * (OFFSETS_HZ[2] + group[0].sample_rate_hz / 2)
    tunings = sorted({part.frequency_hz or 0.0 for one in group for part in one.stretches})
    starts = [high for low, high in pairwise(tunings) if high - low > reach_hz]
    parts: list[list[Recording]] = [[] for _ in range(len(starts) + 1)]
    for one in group:
        parts[sum((one.stretches[0].frequency_hz or 0.0) >= start for start in starts)].append(one)
    return [part for part in parts if part]


def _is_set(group: Sequence[Recording], *, width_hz: float | None) -> bool:
    tunings = sorted(part.frequency_hz or 0.0 for one in group for part in one.stretches)
    if len(tunings) < 2 or tunings[-1] - tunings[0] < APART_HZ:
        return False
    shown_hz = USABLE_SHARE * group[0].sample_rate_hz - 2 * OFFSETS_HZ[2]
    if width_hz is not None:
        return shown_hz < occupied_hz(width_hz)
    edges = rough_edges(group)
    if edges.lower_hz is None or edges.upper_hz is None:
        return group[0].sample_rate_hz < SLOWEST_WIDE_HZ
    return shown_hz < edges.upper_hz - edges.lower_hz


def _name(group: Sequence[Recording]) -> str:
    """What the names have in common at their beginning."""
    first, last = min(one.name for one in group), max(one.name for one in group)
    same = next((n for n, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), min(len(first), len(last)))
    return first[:same].rstrip("0123456789").rstrip("_-. ") or "sweep"


def _apart(names: Sequence[str], number: int) -> str:
    before = names[:number].count(names[number])
    return names[number] if not before else f"{names[number]}-{before + 1}"

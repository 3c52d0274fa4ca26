"""A set of narrow recordings made ready for its findings: channel, sweeps by pad, each stitched, shoulders read.

Theory  The channel is found first, roughly; recordings of a terminated input tell the converter's floor, recordings of
        noise the filters' shape; then every setting of what lies ahead of the receiver's distortion is stitched by
        itself, with the floor that the others found.
Source  evidence/narrow_channel.py, narrow.py, stitch.py, pads.py.
Holds   One channel, one drive setting, one sample rate. What a sweep lacks is told in its own words.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tepui.evidence.droop import known_shape
from tepui.evidence.narrow import NarrowSpectrum, narrow_spectra
from tepui.evidence.narrow_channel import NarrowChannel, place_channel, rough_edges, strongest
from tepui.evidence.pads import sweep_label
from tepui.evidence.pilot_tuning import tuning_error
from tepui.evidence.slice_symbols import slice_symbols
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_set import gain_ahead_db, sweeps, terminated_floor, what_is_missing
from tepui.evidence.stitch_shoulders import StitchedShoulder, stitched_shoulders
from tepui.evidence.stitch_sweeps import stitch_sweeps
from tepui.ground.doubt import Estimate
from tepui.ground.errors import RangeError
from tepui.jobs.set_edges import edge_floors, read_edges
from tepui.signals.recording import Recording

SPACINGS_OF_RESOLUTION = 0.9
USABLE_SHARE = 0.8  # of the sample rate, where nothing is told (common practice)
SLICES = 3


@dataclass(frozen=True, kw_only=True)
class SetOptions:
    """What the operator told about a set; None where nothing.

    usable_hz     width that the receiver shows truly
    mer           of a wide recording of the same signal
    calibration   recordings of noise alone, with the sweep's own filters
    """

    width_hz: float | None = None
    centre_hz: float | None = None
    mask: str | None = None
    usable_hz: float | None = None
    mer: Estimate | None = None
    calibration: tuple[Recording, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SetSweep:
    """One setting of pad and front end.

    gain_db   ahead of the distortion; None where not named
    stitched, sides   None where ``missing`` says what is lacking
    has_floor whether the converter's floor was taken off; by stitching it always is
    """

    label: str
    gain_db: float | None
    spectra: tuple[NarrowSpectrum, ...]
    stitched: Stitched | None = None
    sides: StitchedShoulder | None = None
    missing: str = ""
    has_floor: bool = True


@dataclass(frozen=True, kw_only=True)
class SetSeen:
    """Everything a set shows.

    channel   centre as told, or by the receiver's own scale
    floor     of the converter from a terminated input, in steps^2; None where there is none
    tuning    true less shown frequency by the pilots, taking the channel's centre as true; None where they do not tell
    """

    channel: NarrowChannel
    spectra: tuple[NarrowSpectrum, ...]
    sweeps: tuple[SetSweep, ...]
    floor: Estimate | None
    is_centre_told: bool
    tuning: Estimate | None = None


def find_channel(recordings: Sequence[Recording], options: SetOptions) -> NarrowChannel | str:
    """The channel of a set, or what is missing to place it."""
    loud = strongest(recordings, SLICES)
    symbols = slice_symbols(loud, width_hz=options.width_hz)
    edges = rough_edges(recordings)
    return place_channel(edges, symbols, width_hz=options.width_hz, centre_hz=options.centre_hz)


def seen_of(recordings: Sequence[Recording], channel: NarrowChannel, options: SetOptions) -> SetSeen:
    """Spectra and sweeps of a set whose channel is known."""
    seen = swept(spectra_of(recordings, channel, options), recordings, channel, options)
    if channel.symbols is None or channel.n_fft is None:
        return seen
    tuning = tuning_error(
        recordings,
        centre_hz=channel.centre_hz,
        n_fft=channel.n_fft,
        useful_s=channel.symbols.useful_s,
        guard_s=channel.symbols.guard_s,
    )
    return replace(seen, tuning=tuning)


def spectra_of(
    recordings: Sequence[Recording], channel: NarrowChannel, options: SetOptions
) -> tuple[NarrowSpectrum, ...]:
    """Spectra of all recordings on one grid, those of the calibration last."""
    share = USABLE_SHARE if options.usable_hz is None else options.usable_hz / recordings[0].sample_rate_hz
    half_hz = channel.occupied_hz / 2
    symbols = channel.symbols
    return narrow_spectra(
        [*recordings, *options.calibration],
        resolution_bandwidth_hz=SPACINGS_OF_RESOLUTION * channel.spacing_hz,
        usable_share=share,
        useful_s=None if symbols is None else symbols.useful_s,
        guard_s=None if symbols is None else symbols.guard_s,
        channel_hz=(channel.centre_hz - half_hz, channel.centre_hz + half_hz),
    )


def swept(
    spectra: tuple[NarrowSpectrum, ...],
    recordings: Sequence[Recording],
    channel: NarrowChannel,
    options: SetOptions,
) -> SetSeen:
    """Each setting of pad and front end stitched by itself, from the spectra of all recordings."""
    half_hz = channel.occupied_hz / 2
    names = {one.name for one in options.calibration}
    noise = [one for one in spectra if _belongs(one, names)]
    live = tuple(one for one in spectra if not _belongs(one, names))
    floor = terminated_floor([*live, *(replace(one, settings={**one.settings, "terminated": True}) for one in noise)])
    shape = known_shape([*noise, *(one for one in live if one.settings.get("terminated"))], floor=floor)
    found = []
    ready: list[tuple[NarrowSpectrum, ...]] = []
    for sweep in sweeps(live):
        one = SetSweep(label=sweep_label(sweep), gain_db=gain_ahead_db(sweep[0].settings), spectra=sweep)
        lacking = what_is_missing(sweep, low_hz=channel.centre_hz - half_hz, high_hz=channel.centre_hz + half_hz)
        if lacking is None:
            ready.append(sweep)
        found.append(one if lacking is None else replace(one, missing=lacking))
    together = (
        stitch_sweeps(
            ready,
            centre_hz=channel.centre_hz,
            occupied_width_hz=channel.occupied_hz,
            known_floor=floor,
            known_shape=shape,
        )
        if ready
        else ()
    )
    by_name = {one.name: one for one in recordings}
    whole = dict(zip([id(sweep) for sweep in ready], together, strict=True))
    floors = edge_floors([one.spectra for one in found if id(one.spectra) not in whole], channel, floor, by_name)
    return SetSeen(
        channel=channel,
        spectra=spectra,
        sweeps=tuple(_with_sides(one, whole.get(id(one.spectra)), channel, floors) for one in found),
        floor=floor,
        is_centre_told=options.centre_hz is not None,
    )


def _belongs(spectrum: NarrowSpectrum, names: set[str]) -> bool:
    return spectrum.name in names or spectrum.name.rsplit(" part ", 1)[0] in names


def _with_sides(
    sweep: SetSweep,
    stitched: Stitched | None,
    channel: NarrowChannel,
    floors: Mapping[str, Estimate | None],
) -> SetSweep:
    if stitched is None:
        edges = read_edges(sweep.spectra, channel, floors)
        return sweep if edges is None else replace(sweep, sides=edges.sides, has_floor=edges.has_floor)
    try:
        guard = None if channel.symbols is None else channel.symbols.guard
        sides = stitched_shoulders(stitched, carrier_spacing_hz=channel.spacing_hz, guard=guard)
    except RangeError:
        reach = (channel.centre_hz + sign * (channel.occupied_hz / 2 + 700e3) for sign in (-1, 1))
        low, high = (f"{value / 1e6:.3f}" for value in reach)
        missing = f"It does not reach 700 kHz outside the channel on both sides: record as far as {low} and {high} MHz."
        return replace(sweep, stitched=stitched, missing=missing)
    return replace(sweep, stitched=stitched, sides=sides)

"""Where to tune a narrow receiver: the quick two (or three) for both shoulders, and the whole sweep.

Theory  evidence/edge_tunings.py and evidence/sweep_tunings.py; three pads each, as one reading never tells a
        transmitter's products from the receiver's (evidence/instrument.py).
Source  [TR101290] 9.7 for the windows; [EN300744] 4.4 for the edges.
Holds   A receiver described by its usable width and its line at zero; what else is told sharpens the advice.
"""

import math
from dataclasses import dataclass

from tepui.chain.reception.search import CARRIERS
from tepui.evidence.edge_tunings import EdgeTuning, edge_tunings
from tepui.evidence.shoulders import OFFSETS_HZ
from tepui.evidence.sweep_tunings import SweepTunings, recording_time_s, sweep_tunings
from tepui.ground.checks import require_one_of, require_positive
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Outcome, Table, Value
from tepui.jobs.statements import exact, unknown

PADS = 3
PAD_STEP_DB = 10.0
HEADROOM_DB = 12.0  # of the mean below a full-scale sine: room for peaks, 8 bits then round at -38 dB
PEAK_DB = 10.0  # over the mean; a Gaussian envelope passes 9.6 dB for 1e-4 of the time
RETUNE_S = 0.2  # per recording, for tuning and settling (common practice)
CHANGE_PAD_S = 30.0  # by hand (common practice)
WINDOWS = "[TR101290] 9.7, offsets from the outermost carrier"
EDGES = "[EN300744] 4.4, (K - 1) carriers of 7/(8 B)"
METHOD = "evidence/edge_tunings.py and sweep_tunings.py"


@dataclass(frozen=True, kw_only=True)
class TuningRequest:
    """Channel and receiver, in SI; None where not told.

    usable_hz     width that the receiver shows truly
    dc_width_hz   width of its line at zero, both sides together
    level_dbm     of the signal ahead of the pads
    max_input_dbm what the receiver's input stands
    level_from    where the level comes from, in words; empty where it was told
    instrument, bits, fitted_db, pad_power_w   name, converter, pads fitted and what the first of them bears
    quick         whether the list to record is that of the quick tunings
    """

    about: str = "station"
    centre_hz: float
    width_hz: float
    n_fft: int
    usable_hz: float
    dc_width_hz: float
    rate_hz: float | None = None
    level_dbm: float | None = None
    max_input_dbm: float | None = None
    level_from: str = ""
    instrument: str | None = None
    bits: int | None = None
    fitted_db: float | None = None
    pad_power_w: float | None = None
    quick: bool = False

    def __post_init__(self) -> None:
        require_positive("centre_hz", self.centre_hz, unit="Hz")
        require_positive("width_hz", self.width_hz, unit="Hz")
        require_positive("usable_hz", self.usable_hz, unit="Hz")
        require_one_of("n_fft", self.n_fft, sorted(CARRIERS), source="[EN300744] 4.4")
        if self.dc_width_hz < 0 or self.dc_width_hz >= self.usable_hz:
            raise RangeError(
                f"The width of the line at zero must lie between 0 and the usable width, {self.usable_hz / 1e6:g} MHz, "
                f"not at {self.dc_width_hz / 1e6:g} MHz."
            )
        if self.rate_hz is not None and self.usable_hz > self.rate_hz:
            raise RangeError(
                f"A receiver of {self.rate_hz / 1e6:g} MS/s cannot show {self.usable_hz / 1e6:g} MHz: give the usable "
                "width as what its filters pass, at most nine tenths of the rate."
            )

    @property
    def spacing_hz(self) -> float:
        """Distance of the carriers. [Hz]"""
        return 8 * self.width_hz / (7 * self.n_fft)

    @property
    def occupied_hz(self) -> float:
        """From the lowest to the highest carrier. [Hz]"""
        return (CARRIERS[self.n_fft] - 1) * self.spacing_hz


def tuning_list(request: TuningRequest) -> Outcome:
    """Both lists with times, and what to set.

    raises  RangeError for a receiver too narrow
    """
    quick = edge_tunings(
        centre_hz=request.centre_hz,
        occupied_width_hz=request.occupied_hz,
        reach_hz=request.usable_hz / 2,
        dc_half_width_hz=request.dc_width_hz / 2,
    )
    sweep = sweep_tunings(
        centre_hz=request.centre_hz,
        occupied_width_hz=request.occupied_hz,
        carrier_spacing_hz=request.spacing_hz,
        usable_hz=request.usable_hz,
        dc_width_hz=request.dc_width_hz,
    )
    findings = [*_places(request), *_tuned(request, quick, sweep), *_times(request, quick, sweep), *_levels(request)]
    places = tuple(one.frequency_hz for one in quick) if request.quick else sweep.frequency_hz
    tables = (_quick_table(request, quick), _sweep_table(request, sweep), _record_table(request, places))
    return Outcome(findings=tuple(findings), tables=tables)


def _places(request: TuningRequest) -> list[Finding]:
    half_hz = request.occupied_hz / 2
    found = []
    for side, sign in (("lower", -1), ("upper", 1)):
        edge_hz = request.centre_hz + sign * half_hz
        ends = sorted(edge_hz + sign * offset for offset in (OFFSETS_HZ[0], OFFSETS_HZ[2]))
        remark = f"The shoulder is read from {ends[0] / 1e6:.3f} to {ends[1] / 1e6:.3f} MHz."
        found.append(
            exact(request.about, f"edge_{side}_hz", edge_hz, "Hz", source=EDGES, standing="computed", remark=remark)
        )
    return found


def _tuned(request: TuningRequest, quick: tuple[EdgeTuning, ...], sweep: SweepTunings) -> list[Finding]:
    found = []
    for one in quick:
        remark = f"Anywhere from {one.low_hz / 1e6:.3f} to {one.high_hz / 1e6:.3f} MHz serves."
        key = f"tuning_{one.side}_hz"
        found.append(
            exact(request.about, key, one.frequency_hz, "Hz", source=METHOD, standing="computed", remark=remark)
        )
    places = ", ".join(f"{at / 1e6:.3f}" for at in sweep.frequency_hz)
    remark = f"Of a whole sweep: {places} MHz."
    if request.usable_hz >= request.occupied_hz + 2 * OFFSETS_HZ[2]:
        remark += (
            " This receiver shows the whole channel at once: one recording, tuned beside its centre, does as well."
        )
    found.append(
        exact(request.about, "tuning_step_hz", sweep.step_hz, "Hz", source=METHOD, standing="computed", remark=remark)
    )
    return found


def _times(request: TuningRequest, quick: tuple[EdgeTuning, ...], sweep: SweepTunings) -> list[Finding]:
    each_s = recording_time_s(request.spacing_hz)
    remark = "At each tuning, for 0.1 dB of scatter at ten carrier spacings; longer does no harm."
    found = [exact(request.about, "recording_time_s", each_s, "s", source=METHOD, standing="computed", remark=remark)]
    for name, count in (("quick", len(quick)), ("sweep", len(sweep.frequency_hz))):
        total_s = float(round(PADS * count * (each_s + RETUNE_S) + (PADS - 1) * CHANGE_PAD_S))
        remark = (
            f"{count} tunings at {PADS} pads, {RETUNE_S:g} s to tune each and {CHANGE_PAD_S:g} s by hand for each "
            "change of pad."
        )
        found.append(
            exact(request.about, f"{name}_time_s", total_s, "s", source=METHOD, standing="computed", remark=remark)
        )
    return found


def _least_pad_db(request: TuningRequest) -> float | None:
    """Below it peaks pass what the receiver's input stands; None where level or input are not told. [dB]"""
    if request.level_dbm is None or request.max_input_dbm is None:
        return None
    return math.ceil(10 * max(request.level_dbm + PEAK_DB - request.max_input_dbm, 0.0)) / 10


def _levels(request: TuningRequest) -> list[Finding]:
    """Pads and gain: what must not be passed, and how to set the rest."""
    key = "pad_least_db"
    rounding = ""
    if request.bits is not None:
        floor_db = -(6.02 * request.bits + 1.76 - HEADROOM_DB)
        rounding = f" With {request.bits} bits, rounding alone then reads {floor_db:.0f} dB, and is taken off."
    how = (
        f"Then two more pads, {PAD_STEP_DB:g} and {2 * PAD_STEP_DB:g} dB larger: three settings part the receiver's "
        "products from the transmitter's. Front-end gain stays; the gain behind it makes up for the pad, until the "
        f"signal stands {HEADROOM_DB:g} dB below full scale in every recording.{rounding} Pads must be rated for the "
        "power; never join a transmitter to a receiver without them."
    )
    least_db = _least_pad_db(request)
    if least_db is None:
        lacking = [
            option
            for option, value in (("--level", request.level_dbm), ("--max-input", request.max_input_dbm))
            if value is None
        ]
        remark = (
            f"Give {' and '.join(lacking)} for it (the level of the signal ahead of the pads, and what the receiver's "
            f"input stands). {how}"
        )
        return [unknown(request.about, key, "dB", source=METHOD, remark=remark)]
    remark = f"So that peaks {PEAK_DB:g} dB over the mean stay below what the receiver's input stands"
    remark += f", from {request.level_from}. {how}" if request.level_from else f". {how}"
    found = [exact(request.about, key, least_db, "dB", source=METHOD, standing="computed", remark=remark)]
    return [*found, *_fitted(request, least_db)]


def _fitted(request: TuningRequest, least_db: float) -> list[Finding]:
    """Cautions where the pads of the station file are too small, or too weak."""
    found = []
    if request.fitted_db is not None and request.fitted_db < least_db:
        remark = (
            f"{request.fitted_db:g} dB of pads are fitted: fit {math.ceil(least_db)} dB before the transmitter is on."
        )
        found.append(_caution(request, "pad_lacking_db", round(least_db - request.fitted_db, 1), "dB", remark))
    if request.pad_power_w is not None and request.level_dbm is not None:
        power_w = 10 ** (request.level_dbm / 10) * 1e-3
        if power_w > request.pad_power_w:
            remark = (
                f"Mean power into the first pad, which bears {request.pad_power_w:g} W: fit one that bears more, or "
            )
            found.append(
                _caution(request, "pad_load_w", float(f"{power_w:.3g}"), "W", f"{remark}measure at a coupler.")
            )
    return found


def _caution(request: TuningRequest, key: str, value: float, unit: str, remark: str) -> Finding:
    return Finding(
        about=request.about,
        key=key,
        kind="caution",
        value=value,
        unit=unit,
        low=value,
        high=value,
        standing="computed",
        source=METHOD,
        remark=remark,
    )


def _record_table(request: TuningRequest, places: tuple[float, ...]) -> Table:
    """The list as ``record`` reads it: every tuning at every pad, or once where no pad is known."""
    least_db = _least_pad_db(request)
    first_db = request.fitted_db if least_db is None else max(math.ceil(least_db), request.fitted_db or 0.0)
    pads = [None] if first_db is None else [first_db + PAD_STEP_DB * number for number in range(PADS)]
    each_s = recording_time_s(request.spacing_hz)
    rows = tuple((at, each_s, pad) for pad in pads for at in places)
    return Table(
        name="tunings", columns=(("frequency_hz", "Hz"), ("duration_s", "s"), ("attenuator_db", "dB")), rows=rows
    )


def _quick_table(request: TuningRequest, quick: tuple[EdgeTuning, ...]) -> Table:
    reach_hz, half_hz = request.usable_hz / 2, request.occupied_hz / 2
    rows: list[tuple[Value, ...]] = []
    for one in quick:
        low_hz, high_hz = one.frequency_hz - reach_hz, one.frequency_hz + reach_hz
        signal_hz = min(high_hz, request.centre_hz + half_hz) - max(low_hz, request.centre_hz - half_hz)
        rows.append((one.side, one.frequency_hz, one.low_hz, one.high_hz, low_hz, high_hz, max(signal_hz, 0.0)))
    columns = (
        ("side", ""),
        ("tuned_hz", "Hz"),
        ("tuned_low_hz", "Hz"),
        ("tuned_high_hz", "Hz"),
        ("shows_from_hz", "Hz"),
        ("shows_to_hz", "Hz"),
        ("signal_shown_hz", "Hz"),
    )
    return Table(name="quick_tunings", columns=columns, rows=tuple(rows))


def _sweep_table(request: TuningRequest, sweep: SweepTunings) -> Table:
    reach_hz = request.usable_hz / 2
    rows = tuple((at, at - reach_hz, at + reach_hz) for at in sweep.frequency_hz)
    columns = (("tuned_hz", "Hz"), ("shows_from_hz", "Hz"), ("shows_to_hz", "Hz"))
    return Table(name="sweep_tunings", columns=columns, rows=rows)

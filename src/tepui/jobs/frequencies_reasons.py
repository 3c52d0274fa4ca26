"""Why a plan stands where it stands, in one sentence with its figures.

Theory  The first fault names the plan (prediction/plan.py); a clean plan is compared with the one that came first.
Source  our own wording.
Holds   Plans as find_plans returns them.
"""

from collections.abc import Callable

from tepui.chain.conversion.products import Line, line_of
from tepui.prediction.far_receiver import far_tuning
from tepui.prediction.plan import Plans
from tepui.prediction.plan_far import FarStation, out_of_reach
from tepui.prediction.plan_ingress import service_line
from tepui.prediction.plan_question import LocalService, PlanQuestion
from tepui.prediction.plan_search import Worst

Sentence = Callable[[Plans, int, PlanQuestion], str]


def mhz(frequency_hz: float) -> str:
    """A frequency in MHz with as many digits as it has, to the hertz."""
    return f"{frequency_hz / 1e6:.6f}".rstrip("0").rstrip(".")


def span(line: Line) -> str:
    """A product's span and width in words; a line of the oscillator has none."""
    if line.width_hz == 0:
        return f"a line at {mhz(line.centre_hz)} MHz"
    return (
        f"at {mhz(line.centre_hz)} MHz, {line.width_hz / 1e6:.1f} MHz wide, spans {line.low_hz / 1e6:.1f} to "
        f"{line.high_hz / 1e6:.1f} MHz"
    )


def row_line(plans: Plans, number: int, row: int, question: PlanQuestion) -> Line:
    """The product of one row at one plan."""
    return line_of(
        plans.rows.multiples[row].tolist(),
        signed_hz=plans.signed_hz[number].tolist(),
        width_hz=question.signal_width_hz,
        factor=plans.rows.factor,
        widths=None if plans.rows.widths is None else int(plans.rows.widths[row]),
    )


def reason_for(plans: Plans, number: int, question: PlanQuestion) -> str:
    """One sentence on why a plan is rejected, marginal, behind the first, or the first."""
    fault = str(plans.fault[number])
    if fault:
        return _FAULTS[fault](plans, number, question)
    lo = f"LO {mhz(plans.lo_hz[number])} MHz stands {mhz(abs(plans.lo_hz[number] - question.wanted_hz))} MHz away"
    paper = f"{plans.lo_theory_db[number]:.0f} dB"
    if number == 0:
        return (
            f"No product up to order {question.order} touches what matters, and {lo}, where the filter has {paper} "
            f"{_known(plans, number, question)} for the {plans.lo_needed_db:.0f} dB needed."
        )
    touched = _touching(plans, number, question)
    if touched:
        return f"Clean, but {touched}."
    return (
        f"Clean, but {lo}: {paper} of the filter {_known(plans, number, question)}, against "
        f"{plans.lo_theory_db[0]:.0f} dB for the first plan."
    )


def _known(plans: Plans, number: int, question: PlanQuestion) -> str:
    return question.known_by(float(plans.lo_hz[number]))


def _touching(plans: Plans, number: int, question: PlanQuestion) -> str:
    for worst, place in ((plans.in_channel, "into the channel"), (plans.beside, "beside the channel")):
        row = int(worst.row[number])
        if row >= 0:
            line = row_line(plans, number, row, question)
            return f"{line.text()} ({span(line)}) puts {worst.level_db[number]:.0f} dB {place}"
    return ""


def _low_order(worst: Worst, plans: Plans, number: int, question: PlanQuestion) -> Line:
    return row_line(plans, number, int(worst.order_row[number]), question)


def _low_in(plans: Plans, number: int, question: PlanQuestion) -> str:
    line = _low_order(plans.in_channel, plans, number, question)
    beside = ""
    if 0 <= int(plans.beside.order_row[number]) != int(plans.in_channel.order_row[number]):
        other = _low_order(plans.beside, plans, number, question)
        beside = f", and {other.text()} at {mhz(other.centre_hz)} MHz stands beside it"
    return f"{line.text()} ({span(line)}) overlaps the channel{beside}."


def _low_near(plans: Plans, number: int, question: PlanQuestion) -> str:
    line = _low_order(plans.beside, plans, number, question)
    side = "upper" if line.centre_hz > question.wanted_hz else "lower"
    return f"{line.text()} ({span(line)}) raises the {side} shoulder."


def _level(place: str) -> Sentence:
    def sentence(plans: Plans, number: int, question: PlanQuestion) -> str:
        worst = plans.in_channel if place == "into the channel" else plans.beside
        line = row_line(plans, number, int(worst.row[number]), question)
        limit = question.limits.in_channel_db if place == "into the channel" else question.limits.near_db
        return (
            f"{line.text()} ({span(line)}) puts {worst.level_db[number]:.0f} ± {worst.doubt_db[number]:.0f} dB "
            f"{place}, "
            f"where {limit:g} dB is the limit."
        )

    return sentence


def _line_in(plans: Plans, number: int, question: PlanQuestion) -> str:
    line = _low_order(plans.in_channel, plans, number, question)
    return f"The oscillator's {line.text()} is {span(line)}, inside the channel."


def _local(plans: Plans, number: int, question: PlanQuestion) -> str:
    service = _nearest_local(plans, number, question)
    shield = ""
    if service.level_dbm is not None:
        needed = service.level_dbm - question.drive.signal_dbm - question.limits.in_channel_db
        shield = f"; {max(needed, 0):.0f} dB of shielding, proven, would be needed"
    return (
        f"A strong local service at {mhz(service.centre_hz)} MHz lies on the IF {mhz(plans.if_hz[number])} MHz{shield}."
    )


def _neighbour(plans: Plans, number: int, question: PlanQuestion) -> str:
    service = _nearest_local(plans, number, question)
    return (
        f"A strong local service at {mhz(service.centre_hz)} MHz is the neighbour of the IF "
        f"{mhz(plans.if_hz[number])} MHz and raises a shoulder where it leaks in."
    )


def _nearest_local(plans: Plans, number: int, question: PlanQuestion) -> LocalService:
    signal = plans.if_hz[number]
    return min(question.locals_near, key=lambda one: (abs(one.centre_hz - signal), one.centre_hz))


def _protected(plans: Plans, number: int, question: PlanQuestion) -> str:
    for place, worst in zip(question.protected, plans.guarded, strict=True):
        if worst.row[number] >= 0 and worst.level_db[number] + worst.doubt_db[number] > place.limit_db:
            line = row_line(plans, number, int(worst.row[number]), question)
            level = f"{worst.level_db[number]:.0f} ± {worst.doubt_db[number]:.0f} dB"
            return (
                f"{line.text()} ({span(line)}) puts {level} into the protected {mhz(place.low_hz)} to "
                f"{mhz(place.high_hz)} MHz, where {place.limit_db:g} dB is the limit."
            )
    return "A product reaches protected spectrum."


def _lo_paper(plans: Plans, number: int, question: PlanQuestion) -> str:
    return (
        f"LO {mhz(plans.lo_hz[number])} MHz is so close to the channel that the filter has "
        f"{plans.lo_theory_db[number]:.0f} dB even {_known(plans, number, question)}, and "
        f"{plans.lo_needed_db:.0f} dB are needed for a goal of {question.goal_db:g} dB."
    )


def _lo_thin(plans: Plans, number: int, question: PlanQuestion) -> str:
    return (
        f"At LO {mhz(plans.lo_hz[number])} MHz the filter has {plans.lo_theory_db[number]:.0f} dB "
        f"{_known(plans, number, question)} for {plans.lo_needed_db:.0f} dB needed, less than "
        f"{question.limits.lo_thin_db:g} dB to spare."
    )


def _image_paper(plans: Plans, number: int, question: PlanQuestion) -> str:
    lo = plans.signed_hz[number, -2]
    return (
        f"The image at {mhz(abs(2 * lo - question.wanted_hz))} MHz is so close that the filter has "
        f"{plans.image_theory_db[number]:.0f} dB even on paper, and {plans.image_needed_db:.0f} dB are needed."
    )


def _modulator(plans: Plans, number: int, question: PlanQuestion) -> str:
    ranges = ", ".join(f"{mhz(low)} to {mhz(high)}" for low, high in question.modulator_hz or ())
    return f"The modulator tunes {ranges} MHz, not {mhz(plans.if_hz[number])} MHz."


def _oscillator(plans: Plans, number: int, question: PlanQuestion) -> str:
    low, high = question.oscillator_hz or (0.0, 0.0)
    needed = plans.lo_hz[number] / question.multiplied
    return f"The oscillator would have to make {mhz(needed)} MHz, and it reaches {mhz(low)} to {mhz(high)} MHz."


def _step(plans: Plans, number: int, question: PlanQuestion) -> str:
    return (
        f"The oscillator's step puts the channel {abs(plans.error_hz[number]) / 1e3:.3g} kHz off, more than "
        f"{question.limits.error_hz / 1e3:g} kHz."
    )


def _service_product(plans: Plans, number: int, row: int, service: LocalService) -> str:
    line = service_line(plans.ingress.rows, row, signed_hz=plans.signed_hz[number], service=service)
    return f"{service_text(line, service)} ({span(line)})"


def service_text(line: Line, service: LocalService) -> str:
    """A product of a local service on paper: "2 LO - local 690 MHz"."""
    return line.text().replace("IF", f"local {mhz(service.centre_hz)} MHz")


def _local_product(place: str) -> Sentence:
    def sentence(plans: Plans, number: int, question: PlanQuestion) -> str:
        found, inside = plans.ingress, place == "into the channel"
        row, whose, upper = (
            (found.inside_row, found.inside_service, found.inside_db)
            if inside
            else (found.beside_row, found.beside_service, found.beside_db)
        )
        service = question.locals_near[int(whose[number])]
        limit = question.limits.in_channel_db if inside else question.limits.near_db
        more = float(upper[number]) - limit
        return (
            f"{_service_product(plans, number, int(row[number]), service)} comes with up to {upper[number]:.0f} dB "
            f"{place}, where {limit:g} dB is the limit; {question.shielding_db + more:.0f} dB of shielding between the "
            f"service and the mixer in place of {question.shielding_db:g} dB would do."
        )

    return sentence


def _local_unknown(plans: Plans, number: int, question: PlanQuestion) -> str:
    found = plans.ingress
    service = question.locals_near[int(found.unknown_service[number])]
    return (
        f"{_service_product(plans, number, int(found.unknown_row[number]), service)} falls into the channel where the "
        "service leaks into the mixer, and how strong that is is not known: give its level."
    )


def _far_lost(plans: Plans, number: int, question: PlanQuestion) -> str:
    del plans, number  # all plans send the same channel
    sentences = [far_sentence(station, question) for station in question.fars]
    return "; ".join(one.removesuffix(".") for one in sentences if one) + "."


def far_sentence(station: FarStation, question: PlanQuestion) -> str:
    """Why a far station cannot receive the channel, in one sentence; empty where it can."""
    far = station.receiver
    tuning = far_tuning(far, wanted_hz=question.wanted_hz, width_hz=question.width_hz, transmit_error_hz=0.0)
    if not out_of_reach(far, tuning):
        return ""
    ranges = ", ".join(f"{mhz(low)} to {mhz(high)}" for low, high in far.tunes)
    if tuning.inside:
        assert far.raster_hz is not None
        return (
            f"Nothing is received at {station.name}: the channel arrives at {mhz(tuning.if_hz)} MHz, "
            f"{abs(tuning.off_hz or 0.0) / 1e3:.6g} kHz beside the receiver's {mhz(far.raster_hz)} MHz raster, more "
            f"than the {(far.pull_in_hz or 0.0) / 1e3:g} kHz it follows."
        )
    sense = "more" if tuning.move_hz > 0 else "less"
    cure = f"move the channel to {mhz(question.wanted_hz + tuning.move_hz)} MHz or {sense}"
    if far.converter_hz is None:
        cure = f"if a converter stands before it, give its oscillator, else {cure}"
    return (
        f"Nothing is received at {station.name}: the channel arrives at {mhz(tuning.if_hz)} MHz and the receiver tunes "
        f"{ranges} MHz; {cure}."
    )


def _far_strayed(plans: Plans, number: int, question: PlanQuestion) -> str:
    for station in question.fars:
        far = station.receiver
        tuning = far_tuning(far, wanted_hz=question.wanted_hz, width_hz=question.width_hz, transmit_error_hz=0.0)
        own = abs(plans.error_hz[number]) + plans.lo_hz[number] * question.transmit_ppm * 1e-6
        total = own + tuning.error_hz + abs(tuning.off_hz or 0.0)
        if far.pull_in_hz is not None and tuning.inside and total > far.pull_in_hz:
            return (
                f"At {station.name} the channel may arrive {total / 1e3:.0f} kHz off (transmitter {own / 1e3:.1f} kHz, "
                f"far converter {tuning.error_hz / 1e3:.0f} kHz, raster {abs(tuning.off_hz or 0.0) / 1e3:.0f} kHz), "
                f"and the receiver follows {far.pull_in_hz / 1e3:g} kHz: calibrate the larger of them."
            )
    return "Errors may put the channel beyond what a far receiver follows."


_FAULTS = {
    "modulator": _modulator,
    "oscillator": _oscillator,
    "step": _step,
    "local service": _local,
    "line in channel": _line_in,
    "low order in channel": _low_in,
    "level in channel": _level("into the channel"),
    "protected": _protected,
    "lo out of reach": _lo_paper,
    "image out of reach": _image_paper,
    "low order near": _low_near,
    "level near": _level("beside the channel"),
    "lo thin": _lo_thin,
    "local neighbour": _neighbour,
    "local product": _local_product("into the channel"),
    "local product near": _local_product("beside the channel"),
    "local product unknown": _local_unknown,
    "far lost": _far_lost,
    "far missed": _far_lost,
    "far strayed": _far_strayed,
}

"""What the other end finds: where the channel arrives, whether it can be tuned, and what else would have to be known.

Theory  prediction/far_receiver.py.
Source  Arithmetic on what the operator entered of the far station.
Holds   Frequencies only. That a picture will arrive is never said here.
"""

from dataclasses import dataclass

from tepui.ground.findings import Finding
from tepui.jobs.frequencies_reasons import mhz
from tepui.jobs.statements import bound, exact, unknown
from tepui.prediction.far_receiver import FarReceiver, FarTuning, far_tuning
from tepui.prediction.plan_question import PlanQuestion
from tepui.signals.dvbt.mode import FFT_NAMES, N_CARRIERS, Mode

SOURCE = "arithmetic on what was entered of the far station"


@dataclass(frozen=True, kw_only=True)
class FarQuestion:
    """The far receiver and its name."""

    name: str
    receiver: FarReceiver
    mode: Mode


def far_findings(
    far: FarQuestion, plan: PlanQuestion, *, if_hz: float, inverted: bool, transmit_error_hz: float, upward: bool
) -> list[Finding]:
    """What a listener finds.

    upward  the signal's frequency rises when the modulator's does
    """
    about, receiver = f"path:{far.name}", far.receiver
    tuning = far_tuning(receiver, wanted_hz=plan.wanted_hz, width_hz=plan.width_hz, transmit_error_hz=transmit_error_hz)
    findings = [
        exact(about, "far_if_hz", tuning.if_hz, "Hz", source=SOURCE, standing="computed",
              remark="Where the channel stands at the far receiver."),
        Finding(about=about, key="far_inverted", value=inverted != tuning.inverted, standing="computed", source=SOURCE),
        _can_tune(about, tuning, plan, if_hz=if_hz, upward=upward, receiver=receiver),
    ]  # fmt: skip
    if tuning.error_hz > 0:
        findings += _errors(about, far, tuning)
    findings.append(
        unknown(
            about,
            "far_reception",
            "",
            source=SOURCE,
            remark="Whether it arrives cannot be known from frequencies. Level, path and the far receiver's own "
            "support of the mode decide; the cheapest step is to calibrate the far "
            + ("converter against a carrier of known frequency." if receiver.converter_hz else "receiver's level."),
        )
    )
    if receiver.converter_hz is not None:
        findings.append(
            Finding(
                about=about,
                key="calibrate_converter",
                value=True,
                kind="caution",
                standing="given",
                source=SOURCE,
                remark=f"Have the far converter's {mhz(receiver.converter_hz)} MHz measured and entered: "
                f"±{receiver.converter_ppm:g} ppm is its largest unknown.",
            )
        )
    return findings


def _can_tune(
    about: str, tuning: FarTuning, plan: PlanQuestion, *, if_hz: float, upward: bool, receiver: FarReceiver
) -> Finding:
    ranges = ", ".join(f"{mhz(low)} to {mhz(high)}" for low, high in receiver.tunes)
    remark = f"The receiver tunes {ranges} MHz."
    if not tuning.inside:
        new_signal = if_hz + (tuning.move_hz if upward else -tuning.move_hz)
        above = "at least" if tuning.move_hz > 0 else "at most"
        new = plan.wanted_hz + tuning.move_hz
        at = abs(new - (receiver.converter_hz or 0.0))
        remark = (
            f"{mhz(tuning.if_hz)} MHz lies in a gap: it cannot be received. {remark} Move the channel to {above} "
            f"{mhz(new)} MHz, which arrives at {mhz(at)} MHz: the modulator goes to {mhz(new_signal)} MHz."
        )
    elif tuning.off_hz:
        remark += f" Its nearest raster frequency is {abs(tuning.off_hz) / 1e3:.6g} kHz away."
    return Finding(
        about=about, key="far_can_tune", value=tuning.inside, standing="computed", source=SOURCE, remark=remark
    )


def _errors(about: str, far: FarQuestion, tuning: FarTuning) -> list[Finding]:
    receiver = far.receiver
    converter = (receiver.converter_hz or 0.0) * receiver.converter_ppm * 1e-6
    width = far.mode.occupied_width_hz
    spacings = {size: width / (N_CARRIERS[size] - 1) for size in N_CARRIERS}
    carriers = ", ".join(f"{converter / spacings[n]:.0f} carriers in {FFT_NAMES[n]}" for n in (8192, 2048))
    findings = [
        bound(about, "far_error_hz", tuning.error_hz, "Hz", sense="at_most", source=SOURCE,
              remark="Transmitter's reference and far converter together."),
    ]  # fmt: skip
    if converter:
        findings += [
            bound(about, "converter_error_hz", converter, "Hz", sense="at_most", source=SOURCE, remark=f"{carriers}."),
            bound(about, "converter_error_carriers", converter / spacings[far.mode.n_fft], "1", sense="at_most",
                  source=SOURCE, remark=f"{FFT_NAMES[far.mode.n_fft]}."),
        ]  # fmt: skip
    if receiver.pull_in_hz is not None:
        beyond = "" if tuning.pulled_in else ", beyond what it follows: it may never lock until it is calibrated"
        findings.append(
            Finding(
                about=about,
                key="far_pulls_in",
                value=bool(tuning.pulled_in),
                standing="computed",
                source=SOURCE,
                remark=f"±{tuning.error_hz / 1e3:.0f} kHz against ±{receiver.pull_in_hz / 1e3:g} kHz{beyond}.",
            )
        )
    return findings

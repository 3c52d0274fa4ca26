"""Receive: one recording in; what it holds, how well it is held, and its packets out.

Theory  The receiver (chain/reception) holds and decodes; evidence/reception turns its sums into estimates; here they
        become findings.
Source  [EN300744] for what a signal is; [TR101290] for what is measured on it.
Holds   Findings speak of the signal held longest where a recording holds several.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from tepui.chain.programme.packets import StreamReader
from tepui.chain.reception.acquire import Nothing
from tepui.chain.reception.receive import Reception, receive
from tepui.chain.reception.search import LEAST_STEP_DB, WIDTHS_HZ, occupied_hz
from tepui.chain.reception.slices import wider_channel
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Outcome
from tepui.jobs.receive_findings import found
from tepui.jobs.receive_more import more_findings
from tepui.jobs.statements import text
from tepui.signals.recording import Recording, SampleScreen

SCREEN_BLOCK = 1 << 20
PacketSink = Callable[[npt.NDArray[np.uint8]], None]


def receive_recording(
    recording: Recording,
    *,
    width_hz: float | None = None,
    workers: int | None = None,
    packet_sink: PacketSink | None = None,
    progress: Callable[[float], None] | None = None,
) -> Outcome:
    """Everything one recording tells.

    raises  RangeError where its rate cannot hold the channel; FormatError where its samples cannot be used
    """
    _require_rate(recording, width_hz)
    reader = StreamReader()

    def sink(packets: npt.NDArray[np.uint8]) -> None:
        reader.take(packets)
        if packet_sink is not None:
            packet_sink(packets)

    with ThreadPoolExecutor(max_workers=1) as side:
        screened = side.submit(_screen, recording)
        try:
            reception = receive(recording, width_hz=width_hz, workers=workers, packet_sink=sink, progress=progress)
        except (ValueError, ArithmeticError, np.linalg.LinAlgError):
            screened.result()  # samples that are no numbers explain it better
            raise
        screened.result()
    about = f"recording:{recording.name}"
    if not reception.found:
        return _nothing(about, recording, reception, width_hz=width_hz)
    service = reader.survey().service
    outcome = found(about, reception, service_name=None if service is None else service.name)
    return more_findings(outcome, recording, reception)


def _screen(recording: Recording) -> None:
    screen = SampleScreen(recording)
    for number, block in enumerate(recording.blocks(SCREEN_BLOCK)):
        screen.look(block, start=number * SCREEN_BLOCK)
    screen.finish()


def _require_rate(recording: Recording, width_hz: float | None) -> None:
    rate_hz = recording.sample_rate_hz
    least = occupied_hz(min(WIDTHS_HZ) if width_hz is None else width_hz)
    if rate_hz < 1.04 * least:
        what = "the narrowest channel looked for" if width_hz is None else "the channel"
        raise RangeError(
            f"{recording.name} has {rate_hz / 1e6:g} MS/s, too low for {what}, {least / 1e6:.3g} MHz of "
            f"carriers; record at {1.1 * least / 1e6:.3g} MS/s or more (1.1 times the occupied width)."
        )


def _nothing(about: str, recording: Recording, reception: Reception, *, width_hz: float | None) -> Outcome:
    wide = wider_channel(recording) if width_hz is None else None
    if wide is not None:
        raise FormatError(
            f"{recording.name} shows {recording.sample_rate_hz / 1e6:g} MHz of a wider signal; its symbols "
            f"repeat after {wide.useful_s * 1e6:.0f} us as in a {wide.width_hz / 1e6:g} MHz channel; to receive it "
            f"record at {1.1 * occupied_hz(wide.width_hz) / 1e6:.3g} MS/s or more."
        )
    remark = _what_instead(reception)
    finding = text(
        about, "dvbt_found", False, source="guard interval, pilots and TPS, [EN300744] 4.4 to 4.6", remark=remark
    )
    return Outcome(findings=(finding,))


def _what_instead(reception: Reception) -> str:
    if reception.unread is not None:
        run = reception.unread
        return (
            f"Pilots of a {run.width_hz / 1e6:g} MHz, {run.n_fft // 1024}K signal from {run.start_s:.3f} s on, but too "
            "little of it to read its TPS: record a whole frame (68 symbols) or more."
        )
    if reception.glimpse is not None:
        base = reception.glimpse.settled.base
        return (
            f"Pilots of a {reception.glimpse.width_hz / 1e6:g} MHz, {base.n_fft // 1024}K signal with guard "
            f"1/{round(base.n_fft / base.n_guard)}, but too few symbols of it to follow: record a whole frame "
            "(68 symbols) or more. Its spectrum and shoulders can be measured as it is (tepui spectrum)."
        )
    seen: Nothing | None = reception.nothing
    if seen is None:
        return "The recording is shorter than six symbols of any DVB-T mode: record a tenth of a second or more."
    parts = []
    if seen.line_share > 0.5:
        parts.append(
            f"A single line {seen.line_hz / 1e3:+.1f} kHz from the tuned frequency holds "
            f"{100 * seen.line_share:.0f} % of the power."
        )
    if seen.peak is not None and seen.peak_width_hz is not None:
        useful_us = seen.peak.n_fft * 7 / (8 * seen.peak_width_hz) * 1e6
        parts.append(f"Something repeats after {useful_us:.0f} us, but the pilots of DVB-T are not there.")
    if not parts and seen.bands and seen.bands[0].step_db >= LEAST_STEP_DB:
        band = seen.bands[0]
        parts.append(
            f"A band about {occupied_hz(band.width_hz) / 1e6:.2g} MHz wide stands {band.step_db:.1f} dB out of its "
            "surroundings, without a guard interval that repeats."
        )
    if not parts:
        parts.append("Noise without structure: no band, no line, no guard interval stands out.")
    if seen.longest_gap_s > 0.03:
        parts.append(f"Looked every {seen.longest_gap_s:.2f} s.")
    return " ".join(parts)

"""``watch`` at the desk: a receiver opened, looks taken and shown, findings handed back at the end."""

import sys
import time
from dataclasses import dataclass
from fractions import Fraction

from tepui.chain.reception.slices import SliceSymbols, nominal_symbols
from tepui.desk.live import DC_WIDTH_HZ, USABLE_SHARE, ReceiverChoice, capture_settings, completed, opened
from tepui.desk.recordings import text_of
from tepui.desk.watch_looks import WatchScreen, looking
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import InputError
from tepui.jobs.watch import EdgeWatch
from tepui.jobs.watch_findings import watch_outcome
from tepui.jobs.watch_plan import WatchPlan
from tepui.jobs.watch_state import IDLE, TAKE_OFF
from tepui.practice.station import MARL_BAY
from tepui.signals.live import LiveReceiver

SETTLED_LOOKS = 10  # before a pad test that was asked for beforehand
TURN_DB = 0.5


@dataclass(frozen=True, kw_only=True)
class WatchRequest:
    """What the operator asked for; None where left to the receiver, the practice station or the signal."""

    receiver: ReceiverChoice
    centre_hz: float | None
    width_hz: float | None
    usable_hz: float | None
    dc_width_hz: float | None
    n_fft: int | None
    guard: Fraction | None
    pad_db: float
    duration_s: float | None
    test_pad: bool
    as_json: bool


def run_watch(request: WatchRequest, screen: WatchScreen | None) -> int:
    """The verb: watch until told to end, then print what was found.

    screen  None where there is no terminal to draw on
    raises  InputError; ReceiverStoppedError where the receiver stops
    """
    choice = completed(request.receiver)
    centre_hz, width_hz = _channel(request, choice)
    with opened(choice, frequency_hz=centre_hz) as receiver:
        usable_hz = request.usable_hz or USABLE_SHARE * receiver.rate_hz
        if usable_hz > receiver.rate_hz:
            raise InputError(
                f"--usable {usable_hz / 1e6:g} MHz is more than the {receiver.rate_hz / 1e6:g} MS/s the receiver takes."
            )
        plan = WatchPlan(
            centre_hz=centre_hz,
            width_hz=width_hz,
            reach_hz=usable_hz / 2,
            dc_half_width_hz=(request.dc_width_hz or DC_WIDTH_HZ) / 2,
            symbols=_symbols(request, width_hz),
            pad_db=request.pad_db,
            pad_element=choice.pad,
            behind_element=choice.behind,
            settings=capture_settings(choice, receiver.gains_db, practice=receiver.info.practice),
        )
        watch = EdgeWatch(receiver, plan)
        _loop(watch, receiver, request, screen)
        outcome, practice = watch_outcome(watch), receiver.info.practice
    station = MARL_BAY.name if practice else None
    document = build_document(verb="watch", outcomes=[outcome], practice=practice, station=station)
    text = text_of([outcome], [], practice=practice, tables=())
    sys.stdout.write(document_text(document) if request.as_json else text)
    return 0


def _loop(watch: EdgeWatch, receiver: LiveReceiver, request: WatchRequest, screen: WatchScreen | None) -> None:
    begun = time.monotonic()
    asked = not request.test_pad
    with looking(watch, receiver, screen) as looks:
        while True:
            looks.step()
            keys = "" if screen is None else screen.pressed()
            if keys or not asked:
                looks.settle()
            for key in keys:
                if key in ("q", "\x1b"):
                    return
                if _pressed(key, watch, practice=receiver.info.practice) and screen is not None:
                    screen.show(watch.snapshot())
            if not asked and watch.looks >= SETTLED_LOOKS and watch.minute:
                watch.ask_pad_test()
                asked = True
            over = request.duration_s is not None and time.monotonic() - begun >= request.duration_s
            over = over and watch.looks >= len(watch.tunings)  # on a busy machine the first round may last longer
            if over and (watch.task in (IDLE, TAKE_OFF) or not request.test_pad):
                looks.settle()
                return


def _pressed(key: str, watch: EdgeWatch, *, practice: bool) -> bool:
    """Do what a key asks; whether it was one of ours."""
    if key == "p":
        watch.ask_pad_test()
    elif key == "f":
        watch.ask_floor()
    elif practice and key in "+-":
        watch.turn_practice_drive(TURN_DB if key == "+" else -TURN_DB)
    else:
        return False
    return True


def _channel(request: WatchRequest, choice: ReceiverChoice) -> tuple[float, float]:
    """Centre and width of what is watched."""
    if choice.is_practice:
        centre_hz = MARL_BAY.centre_hz if request.centre_hz is None else request.centre_hz
        return centre_hz, request.width_hz or MARL_BAY.mode.width_hz
    if request.centre_hz is None or request.width_hz is None:
        raise InputError(
            'the channel must be told, as a narrow receiver does not see it whole: --centre "1286 MHz" --width "7 MHz".'
        )
    return request.centre_hz, request.width_hz


def _symbols(request: WatchRequest, width_hz: float) -> SliceSymbols | None:
    if request.n_fft is None and request.guard is None:
        return None
    if request.n_fft is None or request.guard is None:
        raise InputError(
            '--fft and --guard go together, such as --fft 8K --guard "1/16"; leave both out to have them found.'
        )
    return nominal_symbols(width_hz=width_hz, n_fft=request.n_fft, guard=request.guard)

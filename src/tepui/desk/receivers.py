"""``receivers`` at the desk: list them, or open one, describe it and check it."""

import sys
import time

from tepui.desk.live import ReceiverChoice, capture_settings, completed, opened
from tepui.desk.recordings import text_of
from tepui.evidence.receiver_check import check_recording
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Outcome
from tepui.instruments.capture import CapturedReceiver
from tepui.instruments.choose import THE_PRACTICE_ONE, found_receivers, open_receiver
from tepui.instruments.library import LibraryMissingError
from tepui.jobs.receivers import Checked, list_outcome, receiver_outcome
from tepui.signals.live import listen

CHECK_S = 0.5
NAMES = ("receivers", "gain_elements", "receiver_ranges")


def run_receivers(
    choice: ReceiverChoice | None, *, check: bool, terminated: bool, frequency_hz: float | None, as_json: bool
) -> int:
    """The verb: list, or describe ``choice``; print, return the exit code.

    raises  InputError
    """
    entry = ""
    if choice is None:
        outcome, practice = _listed(), False
    else:
        outcome, practice = _described(completed(choice), check=check, terminated=terminated, frequency_hz=frequency_hz)
        entry = next(str(one.value) for one in outcome.findings if one.key == "instrument_entry")
    document = build_document(verb="receivers", outcomes=[outcome], practice=practice)
    shown = Outcome(
        findings=tuple(one for one in outcome.findings if one.key != "instrument_entry"), tables=outcome.tables
    )
    text = text_of([shown], [], practice=practice, tables=NAMES)
    if entry:
        text += f"\nFor the station file\n\n{entry}"
    sys.stdout.write(document_text(document) if as_json else text)
    return 0


def _listed() -> Outcome:
    try:
        found = found_receivers()
    except LibraryMissingError as missing:
        found = ()
        print(f"tepui: {missing}", file=sys.stderr)
    rows = [(one.key, one.driver, one.label) for one in (*found, THE_PRACTICE_ONE)]
    return list_outcome(rows)


def _described(
    choice: ReceiverChoice, *, check: bool, terminated: bool, frequency_hz: float | None
) -> tuple[Outcome, bool]:
    if not check:
        with open_receiver(choice.key) as receiver:
            return receiver_outcome(receiver.info, None), receiver.info.practice
    with opened(choice, frequency_hz=frequency_hz) as receiver:
        checked = _checked(receiver, choice, terminated=terminated)
        return receiver_outcome(receiver.info, checked), receiver.info.practice


def _checked(receiver: CapturedReceiver, choice: ReceiverChoice, *, terminated: bool) -> Checked:
    begun = time.monotonic()
    recording, losses = listen(
        receiver,
        name=receiver.info.key,
        frequency_hz=0.0,
        duration_s=CHECK_S,
        settings=capture_settings(choice, receiver.gains_db, practice=receiver.info.practice),
    )
    seconds = time.monotonic() - begun
    seen = check_recording(recording, terminated=terminated)
    return Checked(
        rate_hz=receiver.rate_hz,
        signal=None if terminated else seen,
        terminated=seen if terminated else None,
        samples_per_s=recording.n_samples / seconds,
        losses=losses,
    )

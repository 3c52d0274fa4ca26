"""``spectrum --tunings`` at the desk: the tuning list, printed."""

import sys

from tepui.desk.recordings import text_of
from tepui.ground.document import build_document, document_text
from tepui.jobs.tunings import TuningRequest, tuning_list

SHOWN_TABLES = ()  # the findings name the frequencies in full


def run_tunings(request: TuningRequest, *, as_json: bool) -> int:
    """Print where to tune; return the exit code.

    raises  InputError where the receiver cannot do it
    """
    outcome = tuning_list(request)
    document = build_document(verb="spectrum", outcomes=[outcome], inputs=[], files=[], practice=False)
    text = text_of([outcome], [], practice=False, tables=SHOWN_TABLES)
    sys.stdout.write(document_text(document) if as_json else text)
    return 0

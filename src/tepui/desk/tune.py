"""``tune`` at the desk: read the traces, extract, hand back the findings."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tepui.desk.hashes import InputHashes
from tepui.files.readings import read_loss_table
from tepui.files.touchstone import read_network
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.tune import MeasuredTrace, TuneQuestion, tune_filter
from tepui.signals.twoport import TwoPort

SHOWN_TABLES = ("sequence", "places")
TABLES = (".csv", ".txt")


def run_tune(paths: Sequence[Path], question: TuneQuestion, *, as_json: bool) -> int:
    """The verb: read, extract, print, return the exit code.

    raises  InputError where a file or a number cannot be used
    """
    traces = [read_trace(path) for path in paths]
    hashes = InputHashes(list(paths))
    outcome = tune_filter(traces, question)
    document = build_document(verb="tune", outcomes=[outcome], inputs=hashes.result())
    sys.stdout.write(document_text(document) if as_json else _text(outcome))
    return 0


def read_trace(path: Path) -> MeasuredTrace:
    """A trace from a Touchstone file, or from a table of MHz and dB of loss.

    raises  FormatError
    """
    if path.suffix.lower() in TABLES:
        frequency_hz, loss_db = read_loss_table(path)
        s = np.zeros((len(frequency_hz), 2, 2), dtype=complex)
        s[:, 1, 0] = s[:, 0, 1] = 10 ** (-loss_db / 20)
        port = TwoPort(frequency_hz=frequency_hz, s=s, z0_ohm=50.0)
        remark = "Only |S21| was measured."
        return MeasuredTrace(name=path.stem, port=port, scalar=True, remarks=(remark,))
    read = read_network(path)
    return MeasuredTrace(name=path.stem, port=read.port, forward=read.forward, remarks=read.remarks)


def _text(outcome: Outcome) -> str:
    shown = replace(outcome, tables=tuple(table for table in outcome.tables if table.name in SHOWN_TABLES))
    return outcome_text(shown, page_for(sys.stdout)) + "\n"

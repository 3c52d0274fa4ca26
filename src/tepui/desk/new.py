"""The desk of ``new``: write the example station file, or one from answers; never over another file."""

import sys
from pathlib import Path

from tepui.desk.keep import keep_text, require_output
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import FormatError, InputError
from tepui.ground.findings import Outcome
from tepui.jobs.plan_statements import words
from tepui.station.example import QUESTIONS, example_text
from tepui.station.read import read_station

TRIES = 3


def run_new(path: Path, *, ask: bool, as_json: bool) -> int:
    """The verb: ask if wanted, write, say what to do next.

    raises  InputError where the file exists, or an answer cannot be used after some tries
    """
    require_output(path)
    if path.exists():
        raise InputError(f"{path} exists and is left as it is; name another file, or move it away.")
    text = example_text(_answers() if ask else None)
    station = read_station(text, file=path.name)
    keep_text(path, text)
    outcome = Outcome(findings=(words("station", "station_file", str(path), source="tepui new"),))
    if as_json:
        document = build_document(verb="new", outcomes=[outcome], files=[str(path)], station=station.name)
        sys.stdout.write(document_text(document))
    else:
        sys.stdout.write(f"{path} is written. Edit it, then: tepui check {path}\n")
    return 0


def _answers() -> dict[str, str]:
    """Questions on stderr, answers from stdin; Enter or the end of input takes what stands in brackets."""
    answers: dict[str, str] = {}
    for key, (question, value) in QUESTIONS.items():
        for attempt in range(TRIES):
            sys.stderr.write(f"{question} [{value}]: ")
            sys.stderr.flush()
            answer = sys.stdin.readline().strip() or value
            try:
                read_station(example_text({**answers, key: answer}), file="answer")
            except InputError as problem:
                said = str(problem).partition(": ")[2] or str(problem)
                if attempt == TRIES - 1:
                    raise FormatError(f"{question}: {said}") from problem
                sys.stderr.write(f"  {said}\n")
                continue
            answers[key] = answer
            break
    return answers

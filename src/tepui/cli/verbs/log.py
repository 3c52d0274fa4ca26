"""``tepui log``: the record of the station, kept in one file that only grows."""

import argparse
from typing import Any

from tepui.cli.parsing import SentenceParser, UsageError, place, quantity, sample_rate_hz, whole_number

EXAMPLE = """\
tepui log add reading "after amplifier" power_dbm="36.7 dBm ± 0.5 dB" --instrument head --pads "40 dB"
tepui log add contact Q2DEF --frequency "436 MHz" --locator HI46ob --sent P4 --received P5
tepui log check mer_db="31.2 dB" shoulder_worst_db="-36.0 dB"
tepui log list contact
tepui log export station.zip
'tepui log add --help' and 'tepui log add reading --help' say more"""
KINDS = ("station", "reading", "recording", "findings", "contact", "check", "note", "photograph")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True, parser_class=SentenceParser)

    def action(name: str, words: str, says: str = "") -> argparse.ArgumentParser:
        return _common(actions.add_parser(name, help=words, description=words), says=says)

    kinds = actions.add_parser("add", help="write a new entry", description="Write a new entry.").add_subparsers(
        dest="kind", metavar="KIND", required=True, parser_class=SentenceParser
    )
    _add_kinds(kinds)
    one = action("edit", "write a revision of an entry with some fields changed", "utc who")
    one.add_argument("number", metavar="N", type=whole_number, help="the entry's number")
    one.add_argument("words", metavar="FIELD=VALUE", nargs="*", help='what to change: note="after the new filter"')
    for name, words, says in (
        ("undo", "write again what stood before the latest change", "who"),
        ("withdraw", "write that an entry no longer counts", "who"),
        ("show", "every revision of an entry", ""),
    ):
        action(name, words, says).add_argument("number", metavar="N", type=whole_number, help="the entry's number")
    one = action("list", "the entries as they stand")
    one.add_argument("kind", metavar="KIND", nargs="?", choices=KINDS, help=f"only {', '.join(KINDS)}")
    one.add_argument("--all", action="store_true", dest="withdrawn", help="withdrawn ones as well")
    action("export", "write everything as one archive (.zip) or the contacts as ADIF (.adi)").add_argument(
        "path", metavar="FILE", type=place, help="the file to write"
    )
    action(
        "import", "take in an archive (.zip), contacts (.adi) or the copy of a log (.jsonl)", "who practice"
    ).add_argument("path", metavar="FILE", type=place, help="the file to read")
    one = action(
        "check", "enter a round of the monthly check; without values, what this month lacks", "utc who practice"
    )
    one.add_argument("words", metavar="KEY=VALUE", nargs="*", help='mer_db="31.2 dB ± 0.3 dB"')
    one.add_argument(
        "--from", dest="documents", metavar="DOC.json", action="append", type=place, default=[], help="take them hence"
    )
    one.add_argument("--month", metavar="YYYY-MM", help="the month, where it is not the present one")
    one.add_argument("--instrument", metavar="NAME", help="what it was read from")
    one = action("trend", "compare the checks of the months, and far reports with what was predicted")
    one.add_argument("words", metavar="KEY", nargs="*", help="only these quantities")
    one.add_argument("--plots", metavar="DIR", type=place, help="write the pictures into this folder")


def _add_kinds(kinds: Any) -> None:
    def kind(name: str, words: str) -> argparse.ArgumentParser:
        return _common(kinds.add_parser(name, help=words, description=words), says="utc who practice")

    kind("note", "a sentence or more").add_argument("text", metavar="TEXT", help="the note")
    one = kind("reading", "what an instrument showed at a test point")
    one.add_argument("point", metavar="POINT", help='the test point: "after amplifier"')
    one.add_argument("words", metavar="KEY=VALUE", nargs="+", help='power_dbm="36.7 dBm ± 0.5 dB"')
    one.add_argument("--instrument", metavar="NAME", help="the instrument's name in the station file")
    one.add_argument("--pads", metavar="L", help='attenuation ahead of it: "40 dB"')
    one.add_argument("--note", metavar="TEXT", help="what else is to be known")
    one = kind("recording", "a recording, kept beside the log as SigMF")
    one.add_argument("path", metavar="FILE", type=place, help="SigMF, WAV (I/Q in two channels) or raw samples")
    one.add_argument("--type", metavar="TYPE", help="sample type of a raw file: cu8, ci16_le ...")
    one.add_argument("--rate", metavar="RATE", help='sample rate of a raw file: "8 MS/s"')
    one.add_argument("--frequency", metavar="F", help='frequency the receiver was tuned to: "1286 MHz"')
    one.add_argument("--note", metavar="TEXT", help="what else is to be known")
    one = kind("findings", "a document that a verb printed with --json, and its pictures")
    one.add_argument("path", metavar="DOC.json", type=place, help="the document")
    one = kind("contact", "a contact, one way or both")
    one.add_argument("call", metavar="CALL", help="the other station's call")
    one.add_argument("--frequency", metavar="F", help='"1286 MHz"')
    one.add_argument("--mode", metavar="M", help="the mode, in words")
    one.add_argument("--locator", metavar="GRID", help="theirs: HI46ob")
    one.add_argument("--own-call", metavar="CALL", help="ours")
    one.add_argument("--own-locator", metavar="GRID", help="ours")
    one.add_argument("--sent", metavar="P", help="report we gave, P0 to P5")
    one.add_argument("--received", metavar="P", help="report we got, P0 to P5")
    one.add_argument(
        "--direction", choices=("both", "sent", "received"), default="both", help="sent: only they saw us (both)"
    )
    one.add_argument("--far-level", metavar="L", help='level they read at their antenna: "-85 dBm ± 2 dB"')
    one.add_argument("--far-mer", metavar="R", help='MER they read: "18 dB ± 1 dB"')
    one.add_argument("--far-margin", metavar="R", help='margin they found by lowering the level: "6 dB ± 1 dB"')
    one.add_argument("--note", metavar="TEXT", help="what else is to be known")
    one = kind("photograph", "a picture, kept beside the log")
    one.add_argument("path", metavar="FILE", type=place, help="JPEG, PNG or WebP")
    one.add_argument("--caption", metavar="TEXT", required=True, help="what is to be seen, for those who cannot")
    one = kind("station", "a station file; later ones of the same station are revisions")
    one.add_argument("path", metavar="station.toml", type=place, help="the station file")


def _common(parser: argparse.ArgumentParser, *, says: str) -> argparse.ArgumentParser:
    """The options that many share; ``says`` names those that bear on this one."""
    parser.add_argument("--log", metavar="FILE", type=place, help="the log (tepui-log.sqlite here)")
    if "utc" in says:
        parser.add_argument("--utc", metavar="T", help="when it happened: 2026-01-31T20:15:00Z (now)")
    if "who" in says:
        parser.add_argument("--who", metavar="WHO", help="who says so")
    if "practice" in says:
        parser.add_argument("--practice", action="store_true", help="it came from the practice station")
    parser.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="print the JSON document")
    return parser


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    from tepui.desk import log as desk
    from tepui.logbook.kinds import is_utc

    given = arguments
    utc = getattr(given, "utc", None)
    if utc is not None and not is_utc(utc):
        raise UsageError(f"--utc must be ISO 8601 in UTC, such as 2026-01-31T20:15:00Z, not {utc}.")
    common = desk.Common(
        log=given.log or desk.DEFAULT_LOG,
        utc=utc,
        who=getattr(given, "who", None),
        practice=getattr(given, "practice", False),
        as_json=given.json,
    )
    if given.action == "add":
        return _add(common, given)
    if given.action in ("export", "import"):
        from tepui.desk.log_exchange import run_export, run_import

        return (run_export if given.action == "export" else run_import)(common, given.path)
    if given.action in ("check", "trend"):
        from tepui.desk.log_checks import run_check, run_trend

        if given.action == "trend":
            return run_trend(common, given.words, plots=given.plots)
        return run_check(common, given.words, given.documents, instrument=given.instrument, month=given.month)
    if given.action == "list":
        return desk.list_entries(common, given.kind, withdrawn=given.withdrawn)
    if given.action == "edit":
        return desk.edit_entry(common, given.number, given.words)
    by_number = {"undo": desk.undo_entry, "withdraw": desk.withdraw_entry, "show": desk.show_entry}
    return by_number[given.action](common, given.number)


def _add(common: Any, given: argparse.Namespace) -> int:
    from tepui.desk import log as desk

    match given.kind:
        case "note":
            return desk.add_note(common, given.text)
        case "reading":
            pads_db = None if given.pads is None else quantity(given.pads, kind="ratio", option="--pads")
            return desk.add_readings(
                common, given.point, given.words, instrument=given.instrument, pads_db=pads_db, note=given.note
            )
        case "recording":
            return desk.add_recording(
                common,
                given.path,
                sample_type=given.type,
                rate_hz=None if given.rate is None else sample_rate_hz(given.rate, option="--rate"),
                frequency_hz=_hertz(given.frequency),
                note=given.note,
            )
        case "contact":
            return _add_contact(common, given)
        case "photograph":
            return desk.add_photograph(common, given.path, given.caption)
        case "station":
            return desk.add_station(common, given.path)
    return desk.add_findings(common, given.path)


def _add_contact(common: Any, given: argparse.Namespace) -> int:
    from tepui.desk.log import add_contact

    body = {
        "call": given.call,
        "frequency_hz": _hertz(given.frequency),
        "mode": given.mode,
        "locator": given.locator,
        "own_call": given.own_call,
        "own_locator": given.own_locator,
        "report_sent": given.sent,
        "report_received": given.received,
        "direction": given.direction,
        "note": given.note,
    }
    far = (("receive_level_dbm", given.far_level), ("mer_db", given.far_mer), ("margin_db", given.far_margin))
    return add_contact(common, body, far=[f"{key}={text}" for key, text in far if text])


def _hertz(text: str | None) -> float | None:
    return None if text is None else quantity(text, kind="frequency", option="--frequency")

"""``tepui report``: the station as built on paper, from findings documents, the station file and the log."""

import argparse

from tepui.cli.parsing import UsageError, place

EXAMPLE = """\
tepui report --log tepui-log.sqlite --out station.pdf
tepui report reception.json drive.json --station station.toml --out station.pdf --card card.pdf
tepui report --log tepui-log.sqlite --package for-a-friend.zip"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add("documents", metavar="DOC.json", nargs="*", type=place, help="documents that verbs printed with --json")
    add("--log", metavar="FILE", type=place, help="a log: its findings, readings, checks, contacts and photographs")
    add("--station", metavar="FILE.toml", type=place, help="the station file, where it is not the log's newest")
    add("--out", metavar="FILE.pdf", type=place, help="write the report")
    add("--card", metavar="FILE.pdf", type=place, help="write the settings card, one page")
    add("--package", metavar="FILE.zip", type=place, help="write a build package for a friend, home position left out")
    add("--with-home", action="store_true", help="leave the home position in the build package")
    add("--tables", metavar="DIR", type=place, help="write every table as CSV, and all of them as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Hand over."""
    given = arguments
    if not any((given.out, given.card, given.package, given.tables)):
        raise UsageError("nothing to write was named; give --out FILE.pdf, --card, --package or --tables.")
    if given.with_home and not given.package:
        raise UsageError("--with-home is about the build package; give --package FILE.zip.")
    for option, path, ending in (
        ("--out", given.out, ".pdf"),
        ("--card", given.card, ".pdf"),
        ("--package", given.package, ".zip"),
    ):
        if path is not None and path.suffix.lower() != ending:
            raise UsageError(f"{option} writes a file that ends in {ending}, not {path.name}.")
    if len({path.absolute() for path in (given.out, given.card, given.package) if path}) < sum(
        path is not None for path in (given.out, given.card, given.package)
    ):
        raise UsageError("two of the files to write have the same name; give each its own.")
    from tepui.desk.report import ReportRequest, run_report

    request = ReportRequest(
        documents=given.documents,
        log=given.log,
        station=given.station,
        out=given.out,
        card=given.card,
        package=given.package,
        tables=given.tables,
        with_home=given.with_home,
    )
    return run_report(request, as_json=given.json)

"""``tepui drive``: a series of settings in; where the target is crossed, what to set, what the next dB costs."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tepui.cli.parsing import quantity, whole_number, width_hz

if TYPE_CHECKING:
    from tepui.ground.quantity import Quantity
    from tepui.signals.dvbt.mode import Mode

EXAMPLE = """\
tepui drive --readings table.csv --baseline "-38 dB" --target "-32 dB" --confidence "90 %"
tepui drive on-air-*.sigmf-meta --target "-32 dB" --plots pictures --json
tepui drive --station station.toml --readings table.csv
tepui drive drive-03dBm drive-06dBm drive-09dBm --centre "1286 MHz" --width "7 MHz" --target "-32 dB"
columns of the table, any of: setting_dbm power_dbm shoulder_lower_db shoulder_upper_db shoulder_worst_db pad_db
  receiver_gain_db mer_db supply_a case_c doubt_db recording"""
FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add(
        "recordings",
        metavar="REC",
        nargs="*",
        type=Path,
        help="recordings that state their setting_dbm, or folders of them; narrow ones of one setting are a set",
    )
    add("--readings", metavar="FILE.csv", type=Path, help="a table of readings; column recording may name files")
    add("--station", metavar="FILE", type=Path, help="station file: target, step, channel, filter, receiver, supply")
    add("--target", metavar="L", help='shoulder to keep below: "-32 dB"')
    add("--confidence", metavar="P", help='that the recommended setting meets it ("90 %%")')
    add("--baseline", metavar="L", help='shoulder shown by the modulator alone: "-38 dB" or "-38 dB ± 0.3 dB"')
    add("--filter", metavar="FILE", type=Path, help="output filter: a Touchstone file, rows of MHz and dB of loss, "
        "or a station file whose filter it is")  # fmt: skip
    add("--no-filter", action="store_true", help="the station's output filter lies behind the place that was read")
    add("--doubt", metavar="D", help='95 %% doubt of a shoulder read, where the table has none: "0.3 dB"')
    add("--step", metavar="S", help='step of the modulator\'s level ("0.1 dB")')
    add("--model", choices=("auto", "cubic", "polynomial", "rapp"), default="auto", help="form of the amplifier (auto)")
    add("--width", metavar="W", help='channel width, where no recording says it: "7 MHz"')
    add("--fft", choices=tuple(FFT_SIZES), help="FFT size, where no recording says it")
    add("--centre", metavar="F", help='centre of the channel, for narrow recordings and absolute filters: "1286 MHz"')
    add("--usable", metavar="W", help='width that a narrow receiver shows truly: "1.8 MHz"')
    add("--settings", metavar="FILE", type=Path, help="table of settings of narrow recordings, as of tepui spectrum")
    add("--calibration", metavar="REC", nargs="+", action="extend", default=[], type=Path,
        help="the narrow receiver terminated, or noise alone: its floor and its filters")  # fmt: skip
    add("--supply", metavar="U", help='supply voltage, to say the heat from supply_a: "13.8 V"')
    add("--confirm", action="store_true", help="simulate the modulated waveform too, and say what that differs by")
    add("--plots", metavar="DIR", type=Path, help="write the picture into this folder")
    add("--workers", metavar="N", type=whole_number, help="threads to use; no finding depends on it")
    add("--strict", action="store_true", help="leave with 1 where a reading misses the target")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    target_db = None if given.target is None else quantity(given.target, kind="ratio", option="--target")
    confidence = None if given.confidence is None else quantity(given.confidence, kind="percent", option="--confidence")
    step_db = None if given.step is None else quantity(given.step, kind="ratio", option="--step")
    usable_hz = None if given.usable is None else quantity(given.usable, kind="frequency", option="--usable")
    doubt_db = None if given.doubt is None else quantity(given.doubt, kind="ratio", option="--doubt")
    centre_hz = None if given.centre is None else quantity(given.centre, kind="frequency", option="--centre")
    supply_v = None if given.supply is None else quantity(given.supply, kind="voltage", option="--supply")
    mode = _mode(given)
    _check(target_db=target_db, step_db=step_db, doubt_db=doubt_db)

    baseline = None if given.baseline is None else _baseline(given.baseline)
    from tepui.desk.drive import DriveRequest, run_drive

    request = DriveRequest(
        recordings=given.recordings,
        readings=given.readings,
        baseline=baseline,
        filter_table=given.filter,
        target_db=target_db,
        confidence=confidence,
        doubt_db=doubt_db,
        step_db=step_db,
        model=given.model,
        mode=mode,
        width_hz=None if given.width is None else width_hz(given.width, option="--width"),
        centre_hz=centre_hz,
        supply_v=supply_v,
        confirm=given.confirm,
        plots=given.plots,
        workers=given.workers,
        station=given.station,
        settings=given.settings,
        calibration=given.calibration,
        usable_hz=usable_hz,
        no_filter=given.no_filter,
    )
    return run_drive(request, as_json=given.json, strict=given.strict)


def _baseline(text: str) -> "Quantity":
    """A level, with its doubt where one is given.

    raises  QuantityError that names the option
    """
    from tepui.ground.errors import QuantityError
    from tepui.ground.quantity import parse_quantity

    try:
        return parse_quantity(text, kind="ratio")
    except QuantityError as problem:
        raise QuantityError(f"--baseline: {problem}") from problem


def _mode(given: argparse.Namespace) -> "Mode | None":
    """A mode of the width and FFT size given; the rest of it does not bear on shoulders."""
    if given.width is None and given.fft is None:
        return None
    from dataclasses import replace

    from tepui.jobs.drive_series import NOMINAL_MODE

    width = NOMINAL_MODE.width_hz if given.width is None else width_hz(given.width, option="--width")
    n_fft = NOMINAL_MODE.n_fft if given.fft is None else FFT_SIZES[given.fft]
    return replace(NOMINAL_MODE, width_hz=width, n_fft=n_fft)


def _check(*, target_db: float | None, step_db: float | None, doubt_db: float | None) -> None:
    """Refuse levels on the wrong side of zero.

    raises  RangeError
    """
    from tepui.ground.checks import require_between

    if target_db is not None:
        require_between("--target", target_db, -80, -10, unit="dB", source="a shoulder is a level below the signal")
    if step_db is not None:
        require_between("--step", step_db, 0.01, 3, unit="dB", source="this program's limit")
    if doubt_db is not None:
        require_between("--doubt", doubt_db, 0.01, 6, unit="dB", source="this program's limit")

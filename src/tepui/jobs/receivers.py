"""Receivers: what each says of itself, what a check shows of it, and its entry for the station file.

Theory  What the driver states is given, not measured; bits in use, line at zero, image and usable width are measured
        by a check, the width with the input terminated.
Source  evidence/receiver_check.py; the station file's [[instrument]] table.
Holds   max_input is never known from here: it stands in the receiver's data sheet.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from tepui.evidence.receiver_check import ReceiverCheck
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.statements import estimated, exact, unknown
from tepui.signals.live import ReceiverInfo

DRIVER = "stated by the receiver's driver"
CHECK = "evidence/receiver_check.py"
LIST_COLUMNS = (("receiver", ""), ("driver", ""), ("label", ""))
GAIN_COLUMNS = (("gain_element", ""), ("gain_low_db", "dB"), ("gain_high_db", "dB"), ("gain_step_db", "dB"))
RANGE_COLUMNS = (("range", ""), ("range_low_hz", "Hz"), ("range_high_hz", "Hz"))
USABLE_SHARE = 0.75


@dataclass(frozen=True, kw_only=True)
class Checked:
    """What a check found; each None where it was not asked for.

    signal, terminated   checks on a signal and on a terminated input
    samples_per_s        samples that came over the time they took
    """

    rate_hz: float
    signal: ReceiverCheck | None = None
    terminated: ReceiverCheck | None = None
    samples_per_s: float | None = None
    losses: int = 0


def list_outcome(rows: Sequence[tuple[str, str, str]]) -> Outcome:
    """The list: names, drivers, labels."""
    count = exact("set:receivers", "receivers_found", len(rows), "1", source="the receiver library and tepui's own")
    return Outcome(findings=(count,), tables=(Table(name="receivers", columns=LIST_COLUMNS, rows=tuple(rows)),))


def receiver_outcome(info: ReceiverInfo, checked: Checked | None) -> Outcome:
    """One receiver, described."""
    about = f"set:{info.key}"
    findings = [_told(about, "receiver_label", info.label, source=DRIVER)]
    if info.bits is None:
        remark = "Its driver names no whole-number format: --check counts the codes it uses."
        findings.append(unknown(about, "converter_bits", "1", source=DRIVER, remark=remark))
    else:
        findings.append(exact(about, "converter_bits", info.bits, "1", source=DRIVER, standing="given"))
    findings.append(_told(about, "sample_type", info.sample_type, source=DRIVER))
    if checked is not None:
        findings += _checked(about, checked)
    entry = instrument_entry(info, checked)
    findings.append(_told(about, "instrument_entry", entry, source="the station file's [[instrument]]"))
    gains = tuple((one.name, one.low_db, one.high_db, one.step_db) for one in info.gains)
    ranges = (
        *(("sample rate", low, high) for low, high in info.rates_hz),
        *(("frequency", low, high) for low, high in info.frequencies_hz),
    )
    return Outcome(
        findings=tuple(findings),
        tables=(
            Table(name="gain_elements", columns=GAIN_COLUMNS, rows=gains),
            Table(name="receiver_ranges", columns=RANGE_COLUMNS, rows=ranges),
        ),
    )


def _told(about: str, key: str, value: str, *, source: str) -> Finding:
    return Finding(about=about, key=key, value=value, standing="given", source=source)


def _checked(about: str, checked: Checked) -> list[Finding]:
    found = [exact(about, "losses", checked.losses, "1", source="count of the capture process and the driver")]
    if checked.samples_per_s is not None:
        found.append(
            exact(
                about, "delivered_rate_hz", checked.samples_per_s, "Hz", standing="measured",
                source="samples over this computer's clock", remark="Known to about a per cent in so short a time.",
            )
        )  # fmt: skip
    seen = checked.signal or checked.terminated
    assert seen is not None
    found.append(
        exact(
            about, "converter_level_db", seen.level_db, "dB", standing="measured",
            source="mean power of the samples over that of a full-scale carrier",
        )
    )  # fmt: skip
    if seen.converter.used_bits is not None:
        found.append(exact(about, "used_bits", seen.converter.used_bits, "1", standing="measured", source=CHECK))
    found.append(exact(about, "dc_level_db", seen.dc_db, "dB", standing="measured", source=CHECK))
    found.append(exact(about, "dc_width_hz", seen.dc_width_hz, "Hz", standing="measured", source=CHECK))
    image = None if checked.signal is None else checked.signal.image_db
    if image is None:
        remark = "Tune beside a strong signal that fills one half of the band only, and check again."
        found.append(unknown(about, "image_level_db", "dB", source=CHECK, remark=remark))
    else:
        found.append(estimated(about, "image_level_db", image, "dB", source=CHECK, remark="Image over signal."))
    usable = None if checked.terminated is None else checked.terminated.usable_hz
    if usable is None:
        remark = "With the input terminated (--terminated) and high gain the noise shows the filter's shape."
        if checked.terminated is not None:
            remark = "No fall of a decibel was seen within the band: the converter's own noise hides the filter."
        found.append(unknown(about, "usable_width_hz", "Hz", source=CHECK, remark=remark))
    else:
        found.append(exact(about, "usable_width_hz", usable, "Hz", standing="measured", source=CHECK))
    return found


def instrument_entry(info: ReceiverInfo, checked: Checked | None) -> str:
    """The receiver's table for the station file; what is not known stands in it as a remark."""
    rate_hz = checked.rate_hz if checked is not None else None
    if rate_hz is None:
        rate_hz = min(max(2.4e6, info.rates_hz[0][0]), info.rates_hz[0][1]) if info.rates_hz else 2.4e6
    terminated = checked.terminated if checked is not None else None
    usable = terminated.usable_hz if terminated is not None else None
    seen = None if checked is None else checked.signal or checked.terminated
    lines = ["[[instrument]]", f'name = "{info.key}"', 'kind = "receiver"']
    lines.append(f"bits = {info.bits}" if info.bits is not None else "# bits = 8            # not stated by its driver")
    lines.append(f'rate = "{rate_hz / 1e6:g} MHz"')
    if usable is not None:
        lines.append(f'usable = "{min(usable, rate_hz) / 1e6:.3g} MHz"')
    else:
        lines.append(f'usable = "{USABLE_SHARE * rate_hz / 1e6:.3g} MHz"  # three quarters of the rate, not measured')
    width = 0.1e6 if seen is None else max(seen.dc_width_hz, 1e3)
    lines.append(f'dc_width = "{width / 1e6:.3g} MHz"' + ("  # not measured" if seen is None else ""))
    lines.append('# max_input = "-10 dBm"  # from its data sheet')
    lines.append('# pads = "60 dB"         # what you have to put before it')
    return "\n".join(lines) + "\n"

"""What else a path may be asked: rain on it, and the station's own receiver beside its transmitter."""

from tepui.chain.propagation.rain import rain_loss_db
from tepui.ground.findings import Finding
from tepui.jobs.path_question import PathQuestion
from tepui.jobs.statements import exact
from tepui.prediction.beside import Beside

RAIN_SHARE = 0.3  # of a rain loss: half of its 95 % interval; common practice (no published source)


def rain_findings(question: PathQuestion, *, rate_mm_h: float, margin: Finding | None = None) -> list[Finding]:
    """Loss by rain of a stated rate, and the margin that is left while it falls.

    margin  of the chosen mode in dry air
    raises  RangeError below 1 GHz and beyond 60 km
    """
    case = question.case
    loss = rain_loss_db(
        frequency_hz=case.frequency_hz,
        vertical=case.vertical,
        rate_mm_h=rate_mm_h,
        distance_m=case.profile.length_m,
    )
    low, high = (1 - RAIN_SHARE) * loss, (1 + RAIN_SHARE) * loss
    found = [
        Finding(
            about=f"path:{question.name}",
            key="loss_rain_db",
            value=loss,
            unit="dB",
            low=low,
            high=high,
            standing="computed",
            source="[P.838-3]; [P.530-17] 2.4.1, from memory",
            remark=f"While it rains {rate_mm_h:g} mm/h; to be taken off C/N and margin, which hold for dry air.",
        )
    ]
    if margin is not None and margin.is_number and margin.low is not None and margin.high is not None:
        found.append(
            Finding(
                about=f"path:{question.name}",
                key="margin_rain_db",
                value=float(margin.value) - loss,  # type: ignore[arg-type]
                unit="dB",
                low=margin.low - high,
                high=margin.high - low,
                standing="computed",
                source="[P.838-3]; [P.530-17] 2.4.1, from memory",
                remark="Of the same mode while it rains so; noise that rain adds to a quiet antenna is not counted.",
            )
        )
    return found


def beside_findings(beside: Beside) -> list[Finding]:
    """Isolation that each side's filter must add."""
    source = "own arithmetic, prediction/beside.py"
    return [
        exact("station", "own_carrier_dbm", beside.arriving_carrier_dbm, "dBm", source=source, standing="computed",
              remark="The own transmitter's mean power at the own receiver, without filters; its peaks are 9.6 dB "
              "higher, so state what the receiver stands with that in mind."),
        exact("station", "own_noise_rise_db", beside.desensitised_db, "dB", source=source, standing="computed",
              remark="How much the transmitter's noise raises the receiver's floor without filters."),
        exact("station", "transmitter_filter_db", beside.transmitter_filter_db, "dB", source=source,
              standing="computed", remark="At the receive frequency, in the transmitter's output: its noise raises "
              f"the receiver's floor by {beside.desensitised_db:.1f} dB, and no filter at the receiver can help."),
        exact("station", "receiver_filter_db", beside.receiver_filter_db, "dB", source=source, standing="computed",
              remark="At the transmit frequency, before the receiver: its carrier arrives with "
              f"{beside.arriving_carrier_dbm:.1f} dBm and the receiver stands {beside.blocking_dbm:g} dBm."),
    ]  # fmt: skip

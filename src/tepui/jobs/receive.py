"""Receive: one recording in; what it holds, how well it is held, and its packets out.

Theory  The receiver (chain/reception) holds and decodes; evidence/reception turns its sums into estimates; here they
        become findings.
Source  [EN300744] for what a signal is; [TR101290] for what is measured on it.
Holds   Findings speak of the signal held longest where a recording holds several.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt
from scipy.constants import speed_of_light

from tepui.chain.programme.packets import StreamReader
from tepui.chain.reception.acquire import Nothing
from tepui.chain.reception.quality import DENSITY_REACH, Quality
from tepui.chain.reception.receive import Reception, Run, receive
from tepui.chain.reception.search import WIDTHS_HZ, occupied_hz
from tepui.chain.reception.slices import wider_channel
from tepui.evidence.reception import (
    EchoPath,
    Rate,
    error_rate,
    hit_carriers,
    mer,
    paths_of,
    weighted,
)
from tepui.ground.doubt import Estimate
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Contribution, Finding, Outcome, Table
from tepui.signals.dvbt.carriers import continual_carriers
from tepui.signals.recording import Recording, SampleScreen

METHOD = "[TR101290] on data cells, tepui reception"
SIGNALLED = "TPS as decoded, [EN300744] 4.6"
# Below these, decisions to the nearest point are wrong often enough to flatter MER; from the uncoded error rate.
NEAREST_LIMIT_DB = {"QPSK": 12.0, "16QAM": 19.0, "64QAM": 25.0}
SCREEN_BLOCK = 1 << 20
MOST_ROWS = 2000
PacketSink = Callable[[npt.NDArray[np.uint8]], None]


def receive_recording(
    recording: Recording,
    *,
    width_hz: float | None = None,
    workers: int | None = None,
    packet_sink: PacketSink | None = None,
    progress: Callable[[float], None] | None = None,
) -> Outcome:
    """Everything one recording tells.

    raises  RangeError where its rate cannot hold the channel; FormatError where its samples cannot be used
    """
    _require_rate(recording, width_hz)
    reader = StreamReader()

    def sink(packets: npt.NDArray[np.uint8]) -> None:
        reader.take(packets)
        if packet_sink is not None:
            packet_sink(packets)

    with ThreadPoolExecutor(max_workers=1) as side:
        screened = side.submit(_screen, recording)
        try:
            reception = receive(
                recording, width_hz=width_hz, workers=workers, packet_sink=sink, progress=progress
            )
        except (ValueError, ArithmeticError, np.linalg.LinAlgError):
            screened.result()  # samples that are no numbers explain it better
            raise
        screened.result()
    about = f"recording:{recording.name}"
    if not reception.found:
        return _nothing(about, recording, reception, width_hz=width_hz)
    service = reader.survey().service
    return _found(about, recording, reception, service_name=None if service is None else service.name)


def _screen(recording: Recording) -> None:
    screen = SampleScreen(recording)
    for number, block in enumerate(recording.blocks(SCREEN_BLOCK)):
        screen.look(block, start=number * SCREEN_BLOCK)
    screen.finish()


def _require_rate(recording: Recording, width_hz: float | None) -> None:
    rate_hz = recording.sample_rate_hz
    least = occupied_hz(min(WIDTHS_HZ) if width_hz is None else width_hz)
    if rate_hz < 1.04 * least:
        what = "the narrowest channel looked for" if width_hz is None else "the channel"
        raise RangeError(
            f"{recording.name} has {rate_hz / 1e6:g} MS/s, too low for {what}, {least / 1e6:.3g} MHz of carriers; record "
            f"at {1.1 * least / 1e6:.3g} MS/s or more (1.1 times the occupied width)."
        )


def _text(about: str, key: str, value: str | bool, *, source: str, remark: str = "") -> Finding:
    return Finding(about=about, key=key, value=value, standing="measured", source=source, remark=remark)


def _exact(about: str, key: str, value: float, unit: str, *, source: str, standing: str = "measured", remark: str = "",
           ) -> Finding:  # fmt: skip
    return Finding(about=about, key=key, value=value, unit=unit, low=value, high=value, standing=standing, source=source,
                   remark=remark)  # fmt: skip


def _unknown(about: str, key: str, unit: str, *, source: str, remark: str) -> Finding:
    return Finding(about=about, key=key, value=None, unit=unit, standing="unknown", source=source, remark=remark)


def _estimated(about: str, key: str, value: Estimate, unit: str, *, source: str, remark: str = "") -> Finding:
    total = sum(part * part for part in value.contributions.values()) or 1.0
    parts = sorted(value.contributions.items(), key=lambda item: -item[1])
    return Finding(
        about=about, key=key, value=float(value.value), unit=unit, low=float(value.low), high=float(value.high),
        standing="measured", source=source, remark=remark,
        contributions=tuple(Contribution(name=name, share=float(part * part / total)) for name, part in parts if part),
    )  # fmt: skip


def _nothing(about: str, recording: Recording, reception: Reception, *, width_hz: float | None) -> Outcome:
    wide = wider_channel(recording) if width_hz is None else None
    if wide is not None:
        raise FormatError(
            f"{recording.name} shows {recording.sample_rate_hz / 1e6:g} MHz of a wider signal, whose symbols repeat after "
            f"{wide.useful_s * 1e6:.0f} us as in a {wide.width_hz / 1e6:g} MHz channel; to receive it record at "
            f"{1.1 * occupied_hz(wide.width_hz) / 1e6:.3g} MS/s or more."
        )
    remark = _what_instead(recording, reception)
    finding = _text(about, "dvbt_found", False, source="guard interval, pilots and TPS, [EN300744] 4.4 to 4.6",
                    remark=remark)  # fmt: skip
    return Outcome(findings=(finding,))


def _what_instead(recording: Recording, reception: Reception) -> str:
    if reception.unread is not None:
        run = reception.unread
        return (
            f"Pilots of a {run.width_hz / 1e6:g} MHz, {run.n_fft // 1024}K signal from {run.start_s:.3f} s on, but too "
            "little of it to read its TPS: record a whole frame (68 symbols) or more."
        )
    seen: Nothing | None = reception.nothing
    if seen is None:
        return "The recording is shorter than six symbols of any DVB-T mode: record a tenth of a second or more."
    parts = []
    if seen.line_share > 0.5:
        parts.append(
            f"A single line {seen.line_hz / 1e3:+.1f} kHz from the tuned frequency holds {100 * seen.line_share:.0f} % of "
            "the power."
        )
    if seen.peak is not None and seen.peak_width_hz is not None:
        useful_us = seen.peak.n_fft * 7 / (8 * seen.peak_width_hz) * 1e6
        parts.append(f"Something repeats after {useful_us:.0f} us, but the pilots of DVB-T are not there.")
    if not parts and seen.bands:
        band = seen.bands[0]
        parts.append(
            f"A band about {occupied_hz(band.width_hz) / 1e6:.2g} MHz wide stands {band.step_db:.1f} dB out of its "
            "surroundings, without a guard interval that repeats."
        )
    if not parts:
        parts.append("Noise without structure: no band, no line, no guard interval stands out.")
    if seen.longest_gap_s > 0.03:
        parts.append(f"Looked every {seen.longest_gap_s:.2f} s.")
    return " ".join(parts)


def _found(about: str, recording: Recording, reception: Reception, *, service_name: str | None) -> Outcome:
    held = [run for run in reception.runs if run.mode is not None]
    longest = max(held, key=lambda run: run.symbols * (run.end_s - run.start_s))
    same = [run for run in held if run.mode is not None and _like(run, longest)]
    mode = longest.mode
    quality = _joined(same)
    if mode is None or quality is None:
        raise ValueError("a reception without a mode is not found")
    others = len(held) - len(same)
    findings = [
        _text(about, "dvbt_found", True, source="guard interval, pilots and TPS, [EN300744] 4.4 to 4.6",
              remark=_held_remark(held, others)),
        _exact(about, "fft_size", mode.n_fft, "1", source=SIGNALLED,
               remark="4K is from memory of annex F and unverified." if mode.n_fft == 4096 else ""),
        _text(about, "guard_fraction", str(mode.guard), source=SIGNALLED),
        _text(about, "constellation", mode.constellation, source=SIGNALLED),
        _text(about, "code_rate", str(mode.code_rate), source=SIGNALLED),
        _text(about, "hierarchy", str(mode.alpha) if mode.alpha else "none", source=SIGNALLED,
              remark="Only the high-priority stream is decoded." if mode.alpha else ""),
        _cell_id(about, same),
        _text(about, "inverted", longest.inverted, source="orientation of the pilots, [EN300744] 4.5"),
        _exact(about, "channel_width_hz", mode.width_hz, "Hz", source="spacing of the carriers, [EN300744] 4.4",
               remark="" if mode.inside_standard else "Below 5 MHz the standard knows no channel: the clock is scaled."),
    ]  # fmt: skip
    if not longest.proved:
        findings[0] = _text(about, "dvbt_found", True, source=findings[0].source, remark=(
            "Less than a whole frame was seen: the TPS is read from its parts and its BCH code is not checked. "
            + findings[0].remark).strip())
    paces = [pace for run in same for pace in run.paces]
    weights = np.array([float(pace.symbols) for pace in paces])
    offset = weighted(np.array([p.offset_hz for p in paces]), np.array([p.offset_std_hz for p in paces]), weights)
    clock = weighted(np.array([p.clock_ppm for p in paces]), np.array([p.clock_std_ppm for p in paces]), weights)
    findings += [
        _estimated(about, "frequency_offset_hz", offset, "Hz", source="common phase of the pilots, tepui reception"),
        _estimated(about, "sample_clock_ppm", clock, "ppm", source="phase slope of the pilots, tepui reception",
                   remark="Against the recording's own clock, whose error adds to it."),
    ]  # fmt: skip
    channel = _channel(quality, longest)
    hits = hit_carriers(error_carrier=quality.error_carrier, count_carrier=quality.count_carrier,
                        channel=np.abs(channel) ** 2)  # fmt: skip
    findings += _quality_findings(about, same, quality, hits)
    findings += _rate_findings(about, same, quality)
    findings.append(_exact(about, "net_bit_rate_bps", float(mode.net_bit_rate_bps), "bit/s", standing="computed",
                           source="[EN300744] 4.7, exact fraction"))  # fmt: skip
    if service_name:
        findings.append(_text(about, "service_name", service_name, source="service description table, [EN300468]"))
    else:
        findings.append(_unknown(about, "service_name", "", source="service description table, [EN300468]",
                                 remark="No service description came by whole: record 2 s or more."))  # fmt: skip
    echoes = paths_of(channel, n_fft=mode.n_fft, noise=_channel_noise(quality, channel))
    elementary_s = mode.elementary_period_s
    tables = (
        _echo_table(echoes, elementary_s=elementary_s, guard_s=mode.guard_s),
        _locks_table(held),
        _carrier_table(quality, hits, longest),
        _symbol_table(same, quality),
    )
    pictures = _pictures(quality, hits, longest, same, channel, echoes, {f.key: f for f in findings})
    return Outcome(findings=tuple(findings), tables=tables, pictures=pictures)


def _like(run: Run, other: Run) -> bool:
    left, right = run.mode, other.mode
    if left is None or right is None:
        return False
    same = (left.width_hz, left.n_fft, left.guard, left.constellation, left.code_rate, left.alpha)
    return same == (right.width_hz, right.n_fft, right.guard, right.constellation, right.code_rate, right.alpha)


def _held_remark(held: list[Run], others: int) -> str:
    parts = []
    if len(held) > 1:
        parts.append(f"Held {len(held)} times with gaps between: see table locks.")
    if others:
        parts.append(f"{others} of them in another mode; the findings speak of the mode held longest.")
    faded = sum(run.faded for run in held)
    if faded:
        parts.append(f"{faded} symbols faded and were left out.")
    return " ".join(parts)


def _cell_id(about: str, runs: list[Run]) -> Finding:
    known = [run.mode.cell_id for run in runs if run.mode is not None and run.mode.cell_id is not None]
    if known:
        return _exact(about, "cell_id", known[0], "1", source=SIGNALLED)
    return _unknown(about, "cell_id", "1", source=SIGNALLED,
                    remark="Not sent, or not seen whole: two consecutive frames carry it.")  # fmt: skip


def _joined(runs: list[Run]) -> Quality | None:
    parts = [run.quality for run in runs if run.quality is not None]
    if not parts:
        return None
    total = Quality(parts[0].n_carriers)
    for part in parts:
        total.error_carrier += part.error_carrier
        total.count_carrier += part.count_carrier
        total.density += part.density
        total.symbol_error += part.symbol_error
        total.symbol_power += part.symbol_power
        total.aided_symbols += part.aided_symbols
        total.symbols += part.symbols
        total.bit_errors += part.bit_errors
        total.bits += part.bits
    longest = max(parts, key=lambda part: part.symbols)
    total.response, total.response_looks = longest.response, longest.response_looks
    return total


def _channel(quality: Quality, run: Run) -> npt.NDArray[np.complex128]:
    """The mean channel on every carrier: data cells where there were any, the pilots' grid and lines between them."""
    n = quality.n_carriers
    known = quality.response_looks > 0
    value = np.where(known, quality.response / np.maximum(quality.response_looks, 1), 0)
    if run.grid is not None:
        always = continual_carriers(run.n_fft)
        value[always] = np.where(known[always], value[always], run.grid[always // 3])
        known[always] = True
    places = np.flatnonzero(known)
    carriers = np.arange(n)
    real = np.interp(carriers, places, value[places].real)
    imag = np.interp(carriers, places, value[places].imag)
    return np.asarray(real + 1j * imag)


def _channel_noise(quality: Quality, channel: npt.NDArray[np.complex128]) -> float:
    seen = quality.count_carrier > 0
    each = quality.error_carrier[seen] / quality.count_carrier[seen] * np.abs(channel[seen]) ** 2
    return float(np.median(each / quality.count_carrier[seen]))


def _quality_findings(about: str, runs: list[Run], quality: Quality, hits: npt.NDArray[np.bool_]) -> list[Finding]:
    mode = runs[0].mode
    if quality.symbols == 0 or mode is None:
        why = "No whole symbol could be judged: record more than a frame."
        return [_unknown(about, key, "dB", source=METHOD, remark=why) for key in ("mer_db", "mer_without_lines_db")]
    found = []
    for key, left_out in (("mer_db", np.zeros_like(hits)), ("mer_without_lines_db", hits)):
        error = np.where(left_out, 0.0, quality.error_carrier)
        count = np.where(left_out, 0, quality.count_carrier)
        power = quality.power * count.sum() / max(quality.count_carrier.sum(), 1)
        value = mer(power=power, error_carrier=error, count_carrier=count)
        remark = ""
        if key == "mer_without_lines_db":
            remark = _hit_remark(hits)
        elif quality.aided_symbols:
            remark = "Against re-encoded decisions, common phase removed."
        if quality.aided_symbols == 0 and value.value < NEAREST_LIMIT_DB[mode.constellation]:
            found.append(Finding(
                about=about, key=key, value=float(value.value), unit="dB", high=float(value.value), standing="at_most",
                source=METHOD, remark="Against the nearest points, since decoding fails: mistaken points flatter it.",
            ))  # fmt: skip
        else:
            if quality.aided_symbols == 0:
                remark = (remark + " Against the nearest points, which are hardly ever mistaken at this MER.").strip()
            found.append(_estimated(about, key, value, "dB", source=METHOD, remark=remark))
    return found


def _hit_remark(hits: npt.NDArray[np.bool_]) -> str:
    places = np.flatnonzero(hits)
    if places.size == 0:
        return "No carrier is hit by a line."
    edges = np.flatnonzero(np.diff(places) > 1)
    starts = places[np.concatenate([[0], edges + 1])]
    stops = places[np.concatenate([edges, [places.size - 1]])]
    names = [str(a) if a == b else f"{a}-{b}" for a, b in zip(starts, stops, strict=True)]
    more = f" and {len(names) - 12} more" if len(names) > 12 else ""
    return f"Left out {places.size} carriers: {', '.join(names[:12])}{more}."


def _rate_findings(about: str, runs: list[Run], quality: Quality) -> list[Finding]:
    packets = sum(run.counts.packets for run in runs)
    corrected = sum(run.counts.corrected for run in runs)
    uncorrectable = sum(run.counts.uncorrectable for run in runs)
    errors, bits = sum(run.counts.bit_errors for run in runs), sum(run.counts.bits for run in runs)
    before = "re-encoded against nearest points, [TR101290] 9.15"
    after = "bits the Reed-Solomon decoder corrected, [TR101290] 9.15"
    found = []
    if quality.bits:
        rate = error_rate(quality.bit_errors, quality.bits)
        remark = "Symbols that could not be decoded are not counted." if quality.aided_symbols < quality.symbols else ""
        found.append(_rated(about, "ber_before_viterbi", rate, source=before, remark=remark))
    else:
        found.append(_unknown(about, "ber_before_viterbi", "1", source=before,
                              remark="Nothing was decoded to compare with: a better signal or a longer recording."))  # fmt: skip
    if bits and uncorrectable == 0:
        rate = error_rate(errors, bits, burst=5.0)
        found.append(_rated(about, "ber_after_viterbi", rate, source=after, remark="Errors come in bursts."))
    elif bits:
        low = error_rate(errors, bits, burst=5.0).low
        value = max(low, errors / bits)
        found.append(Finding(about=about, key="ber_after_viterbi", value=value, unit="1", low=value, standing="at_least",
                             source=after, remark="Uncorrectable packets hold more errors than can be counted."))  # fmt: skip
    else:
        found.append(_unknown(about, "ber_after_viterbi", "1", source=after,
                              remark="No packet could be corrected: a better signal or a longer recording."))  # fmt: skip
    source = "[EN300744] 4.3.2"
    found += [
        _exact(about, "packets", packets, "1", source=source),
        _exact(about, "packets_corrected", corrected, "1", source=source),
        _exact(about, "packets_uncorrectable", uncorrectable, "1", source=source,
               remark="They stay in place with transport_error_indicator set." if uncorrectable else ""),
    ]  # fmt: skip
    return found


def _rated(about: str, key: str, rate: Rate, *, source: str, remark: str) -> Finding:
    if rate.errors == 0:
        return Finding(about=about, key=key, value=rate.high, unit="1", high=rate.high, standing="at_most", source=source,
                       remark=("No error seen. " + remark).strip())  # fmt: skip
    return Finding(about=about, key=key, value=rate.value, unit="1", low=rate.low, high=rate.high, standing="measured",
                   source=source, remark=remark)  # fmt: skip


def _echo_table(echoes: tuple[EchoPath, ...], *, elementary_s: float, guard_s: float) -> Table:
    earliest = min(echo.delay for echo in echoes) * elementary_s
    rows = []
    for echo in sorted(echoes, key=lambda echo: echo.delay):
        delay = echo.delay * elementary_s
        beyond = delay - earliest > guard_s
        rows.append((float(delay), float(delay * speed_of_light), float(echo.level_db), bool(beyond)))
    return Table(
        name="echoes", columns=(("delay_s", "s"), ("path_m", "m"), ("level_db", "dB"), ("beyond_guard", "")),
        rows=tuple(rows),
    )


def _locks_table(runs: list[Run]) -> Table:
    rows = tuple(
        (float(run.start_s), float(run.end_s), run.symbols, run.mode.text() if run.mode is not None else "")
        for run in runs
    )
    return Table(name="locks", columns=(("begin_s", "s"), ("end_s", "s"), ("symbols", "1"), ("mode", "")), rows=rows)


def _mer_of(quality: Quality) -> npt.NDArray[np.float64]:
    mean = quality.error_carrier / np.maximum(quality.count_carrier, 1)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(mean > 0, -10 * np.log10(np.maximum(mean, 1e-30)), 0.0))


def _carrier_hz(run: Run) -> npt.NDArray[np.float64]:
    spacing_hz = 8 * run.width_hz / 7 / run.n_fft
    n = 1 + 6816 * run.n_fft // 8192
    return (np.arange(n) - (n - 1) // 2) * spacing_hz


def _carrier_table(quality: Quality, hits: npt.NDArray[np.bool_], run: Run) -> Table:
    level, frequency = _mer_of(quality), _carrier_hz(run)
    rows = tuple(
        (int(k), float(frequency[k]), float(level[k]), bool(hits[k]))
        for k in np.flatnonzero(quality.error_carrier > 0)
    )
    return Table(
        name="mer_by_carrier", columns=(("carrier", "1"), ("frequency_hz", "Hz"), ("mer_db", "dB"), ("hit", "")),
        rows=rows,
    )


def _over_time(runs: list[Run]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    numbers, times, levels = [], [], []
    for run in runs:
        if run.quality is None or not run.quality.symbol_number:
            continue
        number = np.concatenate(run.quality.symbol_number)
        error, power = np.concatenate(run.quality.symbol_error), np.concatenate(run.quality.symbol_power)
        size = max(1, -(-number.size * len(runs) // MOST_ROWS))
        edges = np.arange(0, number.size, size)
        error, power = np.add.reduceat(error, edges), np.add.reduceat(power, edges)
        period_s = (run.end_s - run.start_s) / max(run.symbols, 1)
        numbers.append(number[edges])
        times.append(run.start_s + number[edges] * period_s)
        levels.append(10 * np.log10(np.maximum(power, 1e-30) / np.maximum(error, 1e-30)))
    if not numbers:
        return np.zeros(0, np.int64), np.zeros(0), np.zeros(0)
    return np.concatenate(numbers), np.concatenate(times), np.concatenate(levels)


def _symbol_table(runs: list[Run], quality: Quality) -> Table:
    del quality
    numbers, times, levels = _over_time(runs)
    rows = tuple((int(n), float(t), float(v)) for n, t, v in zip(numbers, times, levels, strict=True))
    return Table(name="mer_by_symbol", columns=(("symbol", "1"), ("time_s", "s"), ("mer_db", "dB")), rows=rows)


def _pictures(
    quality: Quality, hits: npt.NDArray[np.bool_], run: Run, runs: list[Run], channel: npt.NDArray[np.complex128],
    echoes: tuple[EchoPath, ...], findings: dict[str, Finding],
) -> dict[str, dict[str, object]]:
    if run.mode is None:
        return {}
    elementary_s = run.mode.elementary_period_s
    n = channel.size
    weights = np.hanning(n + 2)[1:-1]
    size = 1 << int(np.ceil(np.log2(4 * n)))
    response = np.fft.fftshift(np.fft.ifft(channel * weights, size))
    delay = (np.arange(size) - size // 2) * run.n_fft / size
    power = np.abs(response) ** 2
    main = int(np.argmax(power))
    level = 10 * np.log10(np.maximum(power / power[main], 1e-12))
    shown = np.abs(delay - delay[main]) <= 1.3 * float(run.mode.guard) * run.n_fft
    seen = quality.error_carrier > 0
    _, times, levels = _over_time(runs)
    mer_finding = findings["mer_db"]
    guard_s = run.mode.guard_s
    earliest = min(echo.delay for echo in echoes) * elementary_s
    return {
        "constellation": {"counts": quality.density, "reach": DENSITY_REACH, "finding": mer_finding,
                          "mode": run.mode.text()},
        "impulse_response": {
            "delay_s": (delay[shown] - delay[main]) * elementary_s, "level_db": level[shown], "guard_s": guard_s,
            "first_s": earliest, "mode": run.mode.text(), "echoes": [(e.delay * elementary_s, e.level_db) for e in echoes],
        },
        "mer_by_carrier": {"frequency_hz": _carrier_hz(run)[seen], "mer_db": _mer_of(quality)[seen], "hit": hits[seen],
                           "finding": mer_finding, "mode": run.mode.text()},
        "mer_by_symbol": {"time_s": times, "mer_db": levels, "finding": mer_finding, "mode": run.mode.text()},
    }  # fmt: skip

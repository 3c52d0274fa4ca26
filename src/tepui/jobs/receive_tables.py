"""Tables and pictures of a reception: echoes, locks, MER by carrier and over time.

Theory  What the receiver summed per carrier and per symbol, in decibels.
Source  [TR101290] 9.18 for MER; see evidence/reception.py.
Holds   One mode; runs of the same mode are shown one after the other.
"""

import numpy as np
import numpy.typing as npt
from scipy.constants import speed_of_light

from tepui.chain.reception.quality import DENSITY_REACH, Quality
from tepui.chain.reception.runs import Run
from tepui.evidence.reception import EchoPath
from tepui.ground.findings import Finding, Table

MOST_ROWS = 2000


def echo_table(echoes: tuple[EchoPath, ...], *, elementary_s: float, guard_s: float) -> Table:
    """Paths in order of delay after the strongest; beyond the guard counted from the earliest."""
    earliest = min(echo.delay for echo in echoes) * elementary_s
    rows = []
    for echo in sorted(echoes, key=lambda echo: echo.delay):
        delay = echo.delay * elementary_s
        beyond = delay - earliest > guard_s
        rows.append((float(delay), float(delay * speed_of_light), float(echo.level_db), bool(beyond)))
    return Table(
        name="echoes",
        columns=(("delay_s", "s"), ("path_m", "m"), ("level_db", "dB"), ("beyond_guard", "")),
        rows=tuple(rows),
    )


def locks_table(runs: list[Run]) -> Table:
    """Stretches of time over which a signal was held."""
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
    return np.asarray((np.arange(n) - (n - 1) // 2) * spacing_hz, dtype=np.float64)


def carrier_table(quality: Quality, hits: npt.NDArray[np.bool_], run: Run) -> Table:
    """MER of every data carrier over all symbols."""
    level, frequency = _mer_of(quality), _carrier_hz(run)
    rows = tuple(
        (int(k), float(frequency[k]), float(level[k]), bool(hits[k])) for k in np.flatnonzero(quality.error_carrier > 0)
    )
    return Table(
        name="mer_by_carrier",
        columns=(("carrier", "1"), ("frequency_hz", "Hz"), ("mer_db", "dB"), ("hit", "")),
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


def symbol_table(runs: list[Run]) -> Table:
    """MER over all carriers, symbol by symbol or in groups of symbols where there are many."""
    numbers, times, levels = _over_time(runs)
    rows = tuple((int(n), float(t), float(v)) for n, t, v in zip(numbers, times, levels, strict=True))
    return Table(name="mer_by_symbol", columns=(("symbol", "1"), ("time_s", "s"), ("mer_db", "dB")), rows=rows)


def pictures(
    *,
    quality: Quality,
    hits: npt.NDArray[np.bool_],
    run: Run,
    runs: list[Run],
    channel: npt.NDArray[np.complex128],
    echoes: tuple[EchoPath, ...],
    findings: dict[str, Finding],
) -> dict[str, dict[str, object]]:
    """The arrays that report/pictures draws, under the names it knows."""
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
        "constellation": {
            "counts": quality.density,
            "reach": DENSITY_REACH,
            "finding": mer_finding,
            "mode": run.mode.text(),
        },
        "impulse_response": {
            "delay_s": (delay[shown] - delay[main]) * elementary_s,
            "level_db": level[shown],
            "guard_s": guard_s,
            "first_s": earliest,
            "mode": run.mode.text(),
            "echoes": [(e.delay * elementary_s, e.level_db) for e in echoes],
        },
        "mer_by_carrier": {
            "frequency_hz": _carrier_hz(run)[seen],
            "mer_db": _mer_of(quality)[seen],
            "hit": hits[seen],
            "finding": mer_finding,
            "mode": run.mode.text(),
        },
        "mer_by_symbol": {"time_s": times, "mer_db": levels, "finding": mer_finding, "mode": run.mode.text()},
    }

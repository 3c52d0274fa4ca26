"""Whether the doubt of shoulders from narrow sweeps is true: seeded transmitters through seeded 8-bit receivers.

A case is a mode, a transmitter (soft limiter, third order, or one with memory), a receiver with faults of its own and
three settings of pad and front end; every setting is a sweep of short recordings at rising frequencies. The truth is
read by code of this folder (numpy) from the whole transmission, 0.2 s of it, the slope beside the channel and the
highest value in band as averaging without end would show them. Judged are all three settings together, every two of
them, and each sweep against what truly stood behind the receiver's front end. Printed: how many 95 % intervals hold the
truth, and the mean half width of those with a value over twice the root mean square error (asked: 93 to 99 %, at most
1.5).
Run: .venv/bin/python benchmarks/coverage_stitched.py [CASES [FIRST [FOLDER]]]; spectra are kept in FOLDER, if named.
"""

import itertools
import pickle
import sys
from collections import defaultdict
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import scipy.fft

sys.path.insert(0, str(Path(__file__).resolve().parent))

from endless_top import endless_top_db

from tepui.chain.amplifiers.models import odd_polynomial, rapp
from tepui.jobs.set_findings import judged
from tepui.jobs.set_sweeps import SetOptions, find_channel, spectra_of, swept
from tepui.practice.air import Air, loop_waveform, memory_polynomial, send_loop
from tepui.practice.front_end import FrontEnd
from tepui.practice.listening import Listener, ReceiverSetting, sweep
from tepui.practice.receiver import PhaseNoise
from tepui.practice.tuner import NARROW_8_BIT, SteppedReceiver, with_faults
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording, Stretch, recording_from_samples

LOOP_S = 0.2  # of the transmission; each recording is a quarter of it and less
SIDES = ("lower", "upper")
FULL_SCALE_DBM = 4.0


@dataclass(frozen=True)
class Case:
    """What is drawn for one number."""

    text: str
    air: Air
    receiver: SteppedReceiver
    level_dbm: float
    settings: tuple[tuple[ReceiverSetting, ...], ...]
    duration_s: float


def mode_of(rng: np.random.Generator) -> Mode:
    return Mode(
        width_hz=float(rng.choice([6e6, 7e6, 8e6])),
        n_fft=int(rng.choice([2048, 8192])),
        guard=Fraction(1, int(rng.choice([4, 8, 16, 32]))),
        constellation=str(rng.choice(["QPSK", "16QAM", "64QAM"])),
        code_rate=Fraction(2, 3),
    )


def _smooth(wanted: float) -> int:
    """A whole number close to this whose transform is quick."""
    products = (2**a * 3**b * 5**c for a in range(12) for b in range(4) for c in range(4))
    return min(products, key=lambda n: abs(n - wanted))


def air_of(number: int, rng: np.random.Generator) -> tuple[str, Air]:
    """A transmitter whose shoulders lie between about -26 and -40 dB."""
    mode = mode_of(rng)
    centre_hz = float(rng.choice([436e6, 1275e6, 2346e6])) + 125e3 * int(rng.integers(-8, 9))
    wave = loop_waveform(mode, n_symbols=_smooth(LOOP_S / mode.symbol_s), seed=number, factor=3)
    tilt_db = float(rng.normal(0, 0.4))

    def tilted(offset_hz: np.ndarray) -> np.ndarray:
        return np.asarray(10 ** (tilt_db * np.clip(offset_hz / mode.width_hz, -1.5, 1.5) / 20))

    kind = ("Rapp", "third order", "memory")[number % 3]
    share = 10 ** (rng.uniform(-34, -24) / 20) / np.sqrt(3)
    if kind == "Rapp":
        smoothness, back_off_db, turn = rng.uniform(1.5, 3.0), rng.uniform(5.5, 10.0), np.radians(rng.uniform(0, 15))

        def amplifier(x: np.ndarray) -> np.ndarray:
            power = np.abs(x) ** 2
            bent = rapp(x, gain_ratio=1.0, saturated_w=1.0, smoothness=smoothness)
            return np.asarray(bent * np.exp(1j * turn * power / (1 + power)))

        drive_w = float(10 ** (-back_off_db / 10))
    elif kind == "third order":
        turn = np.exp(1j * rng.uniform(-1.2, 1.2))

        def amplifier(x: np.ndarray) -> np.ndarray:
            return odd_polynomial(x, coefficients=(1.0, -share * turn))

        drive_w = 1.0
    else:
        turns = np.exp(1j * rng.uniform(-1.0, 1.0, 3))
        late = round(wave.rate_hz * rng.uniform(20e-9, 60e-9))
        weak = rng.uniform(0.1, 0.4, 2)

        def amplifier(x: np.ndarray) -> np.ndarray:
            rows = [[1.0, -share * turns[0]], [0.0, share * weak[0] * turns[1]], [0.0, share * weak[1] * turns[2]]]
            return memory_polynomial(x, coefficients=rows, delay_samples=max(1, late))

        drive_w = 1.0
    air = send_loop(wave, amplifier=amplifier, drive_w=drive_w, centre_hz=centre_hz, output_filter=tilted)
    return f"{mode.width_hz / 1e6:g} MHz {mode.n_fft // 1024}K 1/{mode.guard.denominator} {kind}", air


def receiver_of(number: int, rng: np.random.Generator) -> SteppedReceiver:
    """An 8-bit receiver of some make, and one piece of it."""
    rate_hz = float(rng.choice([2.0e6, 2.4e6, 2.4e6, 2.8e6]))
    base = replace(
        NARROW_8_BIT,
        sample_rate_hz=rate_hz,
        filter_cutoff_hz=rate_hz * rng.uniform(0.40, 0.47),
        filter_order=int(rng.integers(3, 7)),
        image_db=float(rng.uniform(-45, -30)),
        dc_dbfs=float(rng.uniform(-50, -30)),
        crystal_ppm=float(rng.choice([5.0, 20.0, 30.0])),
        converter_noise_lsb=float(rng.uniform(0.1, 0.6)),
        phase_noise=PhaseNoise(plateau_dbc_hz=float(rng.uniform(-105, -92)), corner_hz=float(rng.uniform(3e3, 12e3))),
        full_scale_dbm=FULL_SCALE_DBM,
        pad_error_db=float(rng.normal(0, 0.015)),
    )
    return with_faults(base, seed=number, step_std_db=float(rng.uniform(0.2, 0.6)))


def case_of(number: int) -> Case:
    """The case with this number; always the same."""
    rng = np.random.default_rng([40, number])
    text, air = air_of(number, rng)
    receiver = receiver_of(number, rng)
    step_db = float(rng.choice([4.0, 6.0, 8.0] if number % 2 else [6.0, 8.0, 10.0]))
    fronts = ((30.0, 2 * step_db), (30.0, step_db), (30.0, 0.0))
    if number % 2:
        fronts = ((24.0, 0.0), (34.0, step_db), (34.0, 0.0))
    top_db = max(front - pad for front, pad in fronts)
    level_dbm = float(rng.uniform(-48, -38))
    # The third order's product of power P has 2 (P / IIP3)^2 of it, spread over three times the width.
    made_db = rng.uniform(-34, -17)
    intercept_dbm = level_dbm + top_db - (made_db - 3) / 2
    noise_db = rng.uniform(-68, -50)  # of the input's noise below the signal, at the largest pad
    lowest_dbm = level_dbm - max(pad for _, pad in fronts)
    figure_db = lowest_dbm + noise_db + 174 - 10 * np.log10(air.mode.occupied_width_hz)
    front_end = FrontEnd(
        first_noise_figure_db=float(np.clip(figure_db, 2.0, 25.0)),
        second_noise_figure_db=6.0,
        input_intercept_dbm=float(level_dbm + 40),
        mixer_intercept_dbm=float(intercept_dbm),
        mixer_phase_rad=receiver.front_end.mixer_phase_rad,
    )
    receiver = replace(receiver, front_end=front_end)
    occupied, rate_hz = air.mode.occupied_width_hz, receiver.sample_rate_hz
    step_hz = rng.uniform(0.42, 0.54) * rate_hz
    reach_hz = occupied / 2 + rng.uniform(1.0e6, 3.0e6)
    count = int(np.ceil(2 * (reach_hz - 0.4 * rate_hz) / step_hz)) + 1
    tuned = air.centre_hz + step_hz * (np.arange(count) - (count - 1) / 2)
    fixed = rng.random() < 0.3  # one gain for all tunings
    coarse = float(rng.choice([2.0, 6.0]))
    power_db = _power_db(air, tuned, receiver)
    settings = []
    for front, pad in fronts:
        level = level_dbm - pad + front - FULL_SCALE_DBM
        wanted = -12.0 - (level + (power_db.max() if fixed else power_db))
        gains = np.clip(2 * np.round(coarse / 2 * np.floor(np.broadcast_to(wanted, count) / coarse)), 0, 60)
        settings.append(
            tuple(
                ReceiverSetting(tuned_hz=float(at), attenuator_db=pad, frontend_gain_db=front, if_gain_db=float(gain))
                for at, gain in zip(tuned, gains, strict=True)
            )
        )
    text += f" {rate_hz / 1e6:g} MS/s step {step_db:g}{' fixed' if fixed else ''}"
    return Case(text, air, receiver, level_dbm, tuple(settings), float(rng.uniform(0.03, 0.06)))


def _power_db(air: Air, tuned_hz: np.ndarray, receiver: SteppedReceiver) -> np.ndarray:
    """Of the whole transmission, what passes the receiver's filter at each tuning. [dB]"""
    lines = np.abs(scipy.fft.fft(air.samples)) ** 2
    away = np.fft.fftfreq(len(lines), 1 / air.rate_hz) + air.centre_hz
    power = [float(lines[abs(away - at) < 0.5 * receiver.sample_rate_hz].sum() / lines.sum()) for at in tuned_hz]
    return np.asarray(10 * np.log10(power))


def truth_of(samples: np.ndarray, air: Air) -> dict[str, float | np.ndarray]:
    """Both shoulders, re the highest value in band, and levels every 0.5 MHz, re the mean in band. [dB]"""
    lines = np.abs(scipy.fft.fft(samples)) ** 2
    frequency = np.fft.fftshift(np.fft.fftfreq(len(lines), 1 / air.rate_hz))
    lines = np.fft.fftshift(lines)
    m = max(1, round(1e3 * air.period_s))
    n = len(lines) // m
    lines, frequency = lines[: n * m].reshape(n, m).mean(axis=1), frequency[: n * m].reshape(n, m).mean(axis=1)
    width, half = 10 * air.mode.carrier_spacing_hz, air.mode.occupied_width_hz / 2
    x = np.arange(-2 * width, 2 * width + 1, frequency[1] - frequency[0])
    kernel = np.exp(-np.pi * (x / width) ** 2)
    density = np.convolve(lines, kernel / kernel.sum(), mode="same")
    mean = lines[np.abs(frequency) <= half].mean()
    level = 10 * np.log10(density / mean)
    highest = endless_top_db(frequency, density / mean, air.mode)
    offsets = np.arange(-10e6, 10.1e6, 0.5e6)
    offsets = offsets[np.abs(np.abs(offsets) - half) > 150e3]
    near = [10 * np.log10(lines[np.abs(frequency - at) < 50e3].mean() / mean) for at in offsets]
    found: dict[str, float | np.ndarray] = {"highest": highest, "profile": np.stack([offsets, np.array(near)])}
    for name, sign in (("lower", -1), ("upper", 1)):
        away = (sign * frequency - half) / 1e3 - 500
        beside = np.abs(away) <= 250
        fit = np.polyfit(away[beside], level[beside], 2)
        grid = np.linspace(-200, 200, 81)
        y = np.polyval(fit, grid)
        line = y[0] + (y[-1] - y[0]) * (grid + 200) / 400
        found[name] = float((y[0] + y[-1]) / 2 + max(0.0, float((y - line).max())) - highest)
    found["worst"] = max(found["lower"], found["upper"])
    return found


def recorded(number: int, folder: Path | None):
    """Text, mode, recordings and truths of a case."""
    kept = None if folder is None else folder / f"{number:04}.recordings"
    if kept is not None and kept.exists():
        text, mode, sent, behind, rows = pickle.loads(kept.read_bytes())
        return text, mode, sent, behind, [_recording(*row) for row in rows]
    case = case_of(number)
    listener = Listener(case.receiver, case.air, level_dbm=case.level_dbm, seed=number)
    rng = np.random.default_rng([41, number])
    mode = case.air.mode
    sent = truth_of(case.air.samples, case.air)
    recordings, behind = [], {}
    for which, settings in enumerate(case.settings):
        whole = listener.behind_front_end(settings[0], name="behind").read(0, len(case.air.samples))
        behind[settings[0].frontend_gain_db - settings[0].attenuator_db] = truth_of(whole, case.air)
        recordings += sweep(
            listener, settings, duration_s=case.duration_s, name=f"s{which}", start_s=float(rng.uniform(0, LOOP_S))
        )
    if kept is not None:
        rows = [
            (one.name, one.sample_rate_hz, one.stretches[0].frequency_hz, dict(one.stretches[0].settings),
             np.rint(one.read(0, one.n_samples).view(np.float32) * 127.5 + 127.5).astype(np.uint8))
            for one in recordings
        ]  # fmt: skip
        kept.write_bytes(pickle.dumps((case.text, mode, sent, behind, rows)))
    return case.text, mode, sent, behind, recordings


def _recording(name: str, rate_hz: float, tuned_hz: float, settings: dict[str, float], codes: np.ndarray) -> Recording:
    samples = ((codes.astype(np.float32) - np.float32(127.5)) / np.float32(127.5)).view(np.complex64)
    bare = recording_from_samples(name, samples, sample_rate_hz=rate_hz, practice=True)
    stretch = Stretch(start=0, count=len(samples), frequency_hz=tuned_hz, settings=settings)
    return replace(bare, stretches=(stretch,), sample_type="cu8")


def made(number: int, folder: Path | None):
    """Channel, spectra and truths of a case."""
    kept = None if folder is None else folder / f"{number:04}.spectra"
    if kept is not None and kept.exists():
        return pickle.loads(kept.read_bytes())
    text, mode, sent, behind, recordings = recorded(number, folder)
    options = SetOptions()
    channel = find_channel(recordings, options)
    spectra = () if isinstance(channel, str) else spectra_of(recordings, channel, options)
    found = (text, channel, spectra, sent, behind, mode.n_fft, mode.width_hz)
    if kept is not None:
        kept.write_bytes(pickle.dumps(found))
    return found


Row = tuple[float, float, float, float]  # error of the value, half width, ends of the interval less the truth; dB


def judged_pairs(channel, spectra, sent, behind, rows: dict[str, list[Row]]) -> str:
    """All three settings and every two of them, into ``rows``; in words what the three say and which two are untrue."""
    aheads, words = sorted(behind), ""
    for used in (aheads, *itertools.combinations(aheads, 2)):
        ahead = [float(one.settings["frontend_gain_db"]) - float(one.settings["attenuator_db"]) for one in spectra]
        kept = tuple(one for one, gain_db in zip(spectra, ahead, strict=True) if gain_db in used)
        seen = swept(kept, (), channel, SetOptions())
        result = judged(seen)
        if not result.sides:
            return " no shoulders"
        if len(used) == 3:
            worst = sent["worst"]
            words += f" {worst:6.1f} behind " + " ".join(f"{behind[gain]['worst'] - worst:+5.1f}" for gain in aheads)
            for one in seen.sweeps:
                for side in SIDES:
                    read, error = getattr(one.sides, side), getattr(one.sides, side).value - behind[one.gain_db][side]
                    rows["one sweep, behind the front end"].append((error, 2 * read.std, error - 2 * read.std,
                                                                    error + 2 * read.std))  # fmt: skip
        for side in SIDES:
            got = result.sides[side]
            if got.low_db is None or got.high_db is None:
                continue
            error = np.nan if got.value_db is None else got.value_db - sent[side]
            low, high = got.low_db - sent[side], got.high_db - sent[side]
            rows[f"{'three' if len(used) == 3 else 'two'} settings: {got.kind}"].append(
                (error, (high - low) / 2, low, high)
            )
            mark = " " if low <= 0 <= high else "!"
            if len(used) == 3:
                words += f"  {error:+5.2f} ({low:+.2f} {high:+.2f}){mark}"
            elif mark == "!":
                words += f"  two {used[0]:g} {used[1]:g} {side} ({low:+.2f} {high:+.2f})!"
    return words


def table(rows: dict[str, list[Row]]) -> str:
    """How many intervals hold, and how wide they are."""
    lines = [f"{'':36}{'n':>5}{'held':>8}{'bias':>9}{'rms':>8}{'half width':>12}{'over 2 rms':>12}"]
    for name, found in sorted(rows.items()):
        error, half, low, high = np.array(found).T
        held = 100 * np.mean((low <= 0) & (high >= 0))
        line = f"{name:36}{error.size:5}{held:7.1f}%"
        if np.isfinite(error).any():
            rms = float(np.sqrt(np.nanmean(error**2)))
            line += f"{np.nanmean(error):9.3f}{rms:8.3f}{half.mean():12.2f}{half.mean() / (2 * rms):12.2f}"
        else:
            line += f"{'':17}{half.mean():12.2f}"
        lines.append(line)
    return "\n".join(lines)


def main() -> None:
    """Print a line for each case and the table, a table after every 20 cases too."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    folder = Path(sys.argv[3]) if len(sys.argv) > 3 else None
    rows: dict[str, list[Row]] = defaultdict(list)
    lost = 0
    for number in range(first, first + cases):
        text, channel, spectra, sent, behind, n_fft, width_hz = made(number, folder)
        line = f"{number:4} {text:46}"
        if isinstance(channel, str) or (channel.n_fft, round(channel.width_hz)) != (n_fft, width_hz):
            lost += 1
            print(line, channel if isinstance(channel, str) else f"taken for {channel.width_hz} {channel.n_fft}")
            continue
        print(line + judged_pairs(channel, spectra, sent, behind, rows), flush=True)
        if (number + 1 - first) % 20 == 0:
            print(table(rows), flush=True)
    print(f"\nchannel not found: {lost} of {cases}\n{table(rows)}")


if __name__ == "__main__":
    main()

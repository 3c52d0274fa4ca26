"""The receiver's frequency from the pilots in narrow slices of the channel: to a few hertz, with no symbol decoded.

Theory  The copy in the guard interval lies one useful symbol later, so that the angle between the two tells the
        frequency up to whole carrier spacings. Which carrier is which is told by power: continual pilots have 16/9 of a
        data carrier's in every symbol and stand at irregular known places, of which any slice holds some. The place at
        which the carriers there stand highest over their like (other multiples of three, which scattered pilots
        share) settles it.
Source  [EN300744] 4.4, 4.5.3, 4.5.4; van de Beek et al. 1997, IEEE Trans. Signal Processing 45, for the angle.
Holds   Slices that show some of the channel; a transmitter whose centre is as told. The crystal that is off in
        frequency is off in time by as much, and is taken so.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import symbol_start
from tepui.evidence.slice_carriers import carrier_powers
from tepui.ground.doubt import Estimate, estimate
from tepui.signals.dvbt.carriers import continual_carriers
from tepui.signals.dvbt.mode import N_CARRIERS
from tepui.signals.recording import Recording

Samples = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]

MOST_PPM = 100.0  # of a crystal's error
PLAIN_SHARE = 0.8  # of the sample rate, free of the filter's edges
LEAST_PILOTS, LEAST_SYMBOLS, MOST_SYMBOLS, MOST_CARRIERS = 4, 12, 60, 700
LEAST_CARRIERS = 60
CLEAR = 5.0  # times what shifts that are wrong scatter by
MOST_SLICES = 4
SLICE_STD_HZ = 8.0  # filters, timing, and the carriers' distance by the receiver's clock (this program's limit)


def tuning_error(
    recordings: Sequence[Recording],
    *,
    centre_hz: float,
    n_fft: int,
    useful_s: float,
    guard_s: float,
) -> Estimate | None:
    """True less shown frequency at the channel's centre, from the slices nearest to it; None where none tells it.

    recordings  of one receiver; those that lie beside the channel are left out
    centre_hz   of the channel, as transmitted
    """
    spacing_hz = 1 / useful_s
    half_hz = (N_CARRIERS[n_fft] - 1) / 2 * spacing_hz
    inside = [
        one
        for one in recordings
        if len(one.stretches) == 1
        and one.stretches[0].frequency_hz is not None
        and not one.stretches[0].settings.get("terminated")
        and abs(one.stretches[0].frequency_hz - centre_hz) - PLAIN_SHARE / 4 * one.sample_rate_hz < half_hz
    ]
    inside.sort(key=lambda one: abs((one.stretches[0].frequency_hz or 0.0) - centre_hz))
    found = []
    for one in inside[:MOST_SLICES]:
        tuned_hz = float(one.stretches[0].frequency_hz or 0.0)
        error_hz = None
        for _ in range(2):  # the crystal that is off in frequency is off in time
            off = 1 + (error_hz or 0.0) / tuned_hz
            error_hz = _of_slice(
                one,
                tuned_hz,
                centre_hz=centre_hz,
                n_fft=n_fft,
                sent_s=useful_s,
                useful_s=useful_s * off,
                guard_s=guard_s * off,
            )
            if error_hz is None:
                break
        if error_hz is not None:
            found.append(error_hz * centre_hz / tuned_hz)
    if not found or np.ptp(found) > spacing_hz / 2:
        return None
    scatter = float(np.ptp(found)) / 2 if len(found) > 1 else 0.02 * spacing_hz
    return estimate(float(np.mean(found)), slices=scatter, clock=SLICE_STD_HZ)


def _of_slice(
    recording: Recording,
    tuned_hz: float,
    *,
    centre_hz: float,
    n_fft: int,
    sent_s: float,
    useful_s: float,
    guard_s: float,
) -> float | None:
    """True less shown frequency in one slice; sent_s is the useful part as sent, useful_s as the receiver counts it."""
    rate_hz = recording.sample_rate_hz
    n_useful, n_guard = useful_s * rate_hz, guard_s * rate_hz
    whole, period = round(n_useful), n_useful + n_guard
    samples = recording.read(0, min(recording.n_samples, round((MOST_SYMBOLS + 3) * period)))
    samples = np.asarray(samples - samples.mean(dtype=np.complex128), dtype=np.complex64)
    n_symbols = int((len(samples) - whole) / period) - 2
    if n_symbols < LEAST_SYMBOLS or n_guard < 8:
        return None
    start, _ = symbol_start(samples, n_useful=n_useful, n_guard=n_guard)
    begins = np.rint(start + period * np.arange(n_symbols)).astype(np.intp)
    part_hz = _by_copy(samples, begins, n_useful=n_useful, n_guard=n_guard, rate_hz=rate_hz)
    spacing_hz = 1 / useful_s
    # Carriers of the slice stand at part_hz + j spacing; nominally the lowest stands at low_hz.
    low_hz = centre_hz - (N_CARRIERS[n_fft] - 1) / 2 / sent_s - tuned_hz
    reach_hz = PLAIN_SHARE * rate_hz / 2
    j = np.arange(math.ceil((-reach_hz - part_hz) / spacing_hz), math.floor((reach_hz - part_hz) / spacing_hz) + 1)
    from_centre_hz = np.abs(j * spacing_hz + part_hz + tuned_hz - centre_hz)
    in_channel = from_centre_hz < (N_CARRIERS[n_fft] - 1) / 2 * spacing_hz - MOST_PPM * 1e-6 * centre_hz
    j = j[in_channel & (np.abs(j * spacing_hz + part_hz) > 2 * spacing_hz)]  # the line at zero left out
    if len(j) < LEAST_CARRIERS:
        return None
    if len(j) > MOST_CARRIERS:
        j = np.sort(j[np.argsort(np.abs(j), kind="stable")[:MOST_CARRIERS]])
    places_hz: Floats = np.asarray(part_hz + j * spacing_hz, dtype=np.float64)
    inside = begins + round(0.5 * n_guard)
    power = _even(carrier_powers(samples, inside, rate_hz=rate_hz, useful_s=useful_s, frequency_hz=places_hz))
    first = round((part_hz - low_hz) / spacing_hz)  # nominal number of the carrier at j = 0
    most = math.ceil(MOST_PPM * 1e-6 * centre_hz / spacing_hz)
    shifts = np.arange(-most, most + 1)
    scores = np.array([_stands_out(power, j + first + shift, n_fft) for shift in shifts])
    known = np.isfinite(scores)
    if np.count_nonzero(known) < 10:
        return None
    best = int(np.nanargmax(scores))
    others = np.delete(scores, best)
    others = others[np.isfinite(others)]
    if scores[best] - np.median(others) < CLEAR * 1.4826 * float(np.median(np.abs(others - np.median(others)))):
        return None
    carrier = first + int(shifts[best])
    true_hz = low_hz + carrier / sent_s
    return float(true_hz - part_hz)


def _by_copy(
    samples: Samples, begins: npt.NDArray[np.intp], *, n_useful: float, n_guard: float, rate_hz: float
) -> float:
    """Frequency of the carriers, up to whole spacings, from the angle between the guard and its source. [Hz]"""
    whole = round(n_useful)
    rows = begins[:, None] + np.arange(round(0.2 * n_guard), max(round(0.2 * n_guard) + 4, round(0.8 * n_guard)))
    rows = rows[(rows + whole < len(samples)).all(axis=1)]
    weights = np.hanning(rows.shape[1] + 2)[1:-1].astype(np.float32)
    copy, source = (np.fft.fft(samples[place] * weights, axis=1) for place in (rows, rows + whole))
    # The useful part is no whole number of samples: what is left turns each frequency by its own angle.
    turn = np.exp(2j * np.pi * np.fft.fftfreq(rows.shape[1]) * (whole - n_useful))
    return float(np.angle(np.vdot(copy, source / turn)) / (2 * math.pi) * rate_hz / n_useful)


def _even(power: Floats) -> Floats:
    """Powers of carriers with the slope of filter and channel taken off. (n,)"""
    width = max(31, len(power) // 12)
    padded = np.pad(power, width // 2, mode="reflect")
    return np.asarray(power / np.convolve(padded, np.ones(width) / width, mode="same")[width // 2 : -(width // 2)])


def _stands_out(power: Floats, carrier: npt.NDArray[np.integer], n_fft: int) -> float:
    """Mean power where continual pilots would be, over that of other multiples of three; nan where too few are."""
    continual = np.isin(carrier, continual_carriers(n_fft))
    thirds = (carrier % 3 == 0) & ~continual & (carrier >= 0) & (carrier < N_CARRIERS[n_fft])
    if np.count_nonzero(continual) < LEAST_PILOTS or not thirds.any():
        return math.nan
    return float(power[continual].mean() / power[thirds].mean())

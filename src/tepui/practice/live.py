"""The practice receiver that runs: a narrow 8-bit receiver at the practice station's coupler, heard without end.

Theory  A stretch of whole symbols goes round and round through the station's amplifier, a pad, and the receiver's front
        end, whose third order bends the whole signal before any filter: b = a - |a|^2 a / P3, with P3 the input
        intercept. Its spectrum is cut to the tuned band, shaped by the filter, and turned back to samples once for
        each setting; noise is drawn anew for every block; then come the image, the line at zero and the converter.
Source  Intercept point from the cubic, common practice (no published source); noise k T0 F; sizes of the faults are
        those of the 8-bit class, indicative, common practice.
Holds   The same symbols return every ``LOOP_S``: spectra of longer looks do not get smoother than that allows. The loop
        is cut to whole samples, as a clock error of less than a part in a hundred thousand would.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.signal

from tepui.chain.waveform.transmit import Transmitter
from tepui.ground.decibels import amplitude_from_db, watts_from_dbm
from tepui.practice.path import noise_w_hz
from tepui.practice.station import MARL_BAY, PracticeStation
from tepui.practice.transmitter import TransmittedSignal
from tepui.signals.live import GainElement, ReceiverInfo

Samples = npt.NDArray[np.complex64]

LOOP_S = 0.1
LEAD_SYMBOLS = 6
MOST_CUTS = 4  # of 2 MB each
RATES_HZ = (0.9e6, 2.4e6)
REACH_HZ = 10e6  # from the channel's centre; beyond, the loop holds nothing
BITS = 8
COUPLED_DBM = -30.0  # mean level at the receiver's connector without a pad
STAGE_INTERCEPT_DBM = 2.0  # of the stage behind the front end's gain, input third order
FULL_SCALE_DBM = 8.0  # carrier that fills the converter with all gains at zero
NOISE_FIGURE_DB = 8.0
CRYSTAL_PPM = 9.0
IMAGE = 0.006 + 0.004j  # -43 dB
DC_DBFS = -38.0
FILTER_HZ, FILTER_ORDER = 0.45, 4  # of the sample rate: half power; Butterworth's shape
TAPS = 63
DRIVE = "DRIVE"
GAINS = (
    GainElement(name=DRIVE, low_db=-6.0, high_db=6.0, step_db=0.5),
    GainElement(name="PAD", low_db=-30.0, high_db=0.0, step_db=1.0),
    GainElement(name="FRONT", low_db=0.0, high_db=30.0, step_db=5.0),
    GainElement(name="IF", low_db=0.0, high_db=40.0, step_db=1.0),
)
START_DB = {DRIVE: 0.0, "PAD": 0.0, "FRONT": 10.0, "IF": 14.0}


class PracticeReceiverLive:
    """The station's coupler and the receiver on it. Gains: DRIVE turns the station's, the rest the receiver's."""

    def __init__(self, station: PracticeStation = MARL_BAY, *, seed: int = 41) -> None:
        self._station = station
        self._rng = np.random.default_rng(seed)
        self._gains = dict(START_DB)
        self._rate_hz, self._tuned_hz = RATES_HZ[1], station.centre_hz
        self._wave = _waveform(station, seed=seed)
        self._amplified: Samples | None = None
        self._bent: Samples | None = None  # spectrum behind the front end
        self._loop: Samples | None = None
        self._cuts: dict[float, Samples] = {}  # the loop by tuned frequency: a watch comes back to the same few
        self._at = 0
        shape = _filter(scipy.fft.fftfreq(TAPS))
        self._taps = (scipy.fft.fftshift(scipy.fft.ifft(shape)) * np.hanning(TAPS)).astype(np.complex64)

    def describe(self, key: str) -> ReceiverInfo:
        """What it says of itself."""
        centre_hz = self._station.centre_hz
        return ReceiverInfo(
            key=key,
            label=f"simulated narrow 8-bit receiver at {self._station.name}, {self._station.call}",
            driver="practice",
            bits=BITS,
            sample_type="ci8",
            rates_hz=(RATES_HZ,),
            frequencies_hz=((centre_hz - REACH_HZ, centre_hz + REACH_HZ),),
            gains=GAINS,
            practice=True,
        )

    def set_rate(self, rate_hz: float) -> float:
        """Set the sample rate. [Hz]"""
        self._rate_hz, self._loop = rate_hz, None
        self._cuts.clear()
        return rate_hz

    def set_frequency(self, frequency_hz: float) -> float:
        """Tune; the crystal's error stays unseen. [Hz]"""
        self._tuned_hz, self._loop = frequency_hz, None
        return frequency_hz

    def set_gain(self, name: str, gain_db: float) -> float:
        """Set one gain, to the nearest step. [dB]"""
        element = next(one for one in GAINS if one.name == name)
        value = round(gain_db / (element.step_db or 1.0)) * (element.step_db or 1.0)
        if value != self._gains[name]:
            self._gains[name], self._loop = value, None
            self._cuts.clear()
            if name != "IF":
                self._bent = None
            if name == DRIVE:
                self._amplified = None
        return value

    def read(self, count: int) -> npt.NDArray[np.int8]:
        """The next samples as codes, (2 count,): I, Q, I, Q."""
        if self._loop is None:
            self._loop = self._kept_cut()
        place = (self._at + np.arange(count)) % len(self._loop)
        self._at = (self._at + count) % len(self._loop)
        heard = self._loop[place]
        deviation = np.sqrt(noise_w_hz(NOISE_FIGURE_DB) * self._rate_hz / 2) * amplitude_from_db(self._behind_db())
        noise = self._rng.standard_normal((count + TAPS - 1, 2), dtype=np.float32) * np.float32(deviation)
        passed = scipy.signal.fftconvolve(noise.view(np.complex64)[:, 0], self._taps, mode="valid")
        heard = np.asarray(heard + passed, dtype=np.complex64)
        heard += np.complex64(IMAGE) * np.conj(heard)
        heard *= np.float32(1 / np.sqrt(watts_from_dbm(FULL_SCALE_DBM)))
        heard += np.complex64(amplitude_from_db(DC_DBFS) * np.exp(0.4j))
        largest = 2 ** (BITS - 1) - 1
        codes = np.clip(np.rint(heard.view(np.float32) * np.float32(largest)), -largest, largest)
        return np.asarray(codes, dtype=np.int8)

    def _behind_db(self) -> float:
        return self._gains["FRONT"] + self._gains["IF"]

    def _kept_cut(self) -> Samples:
        if self._bent is None or len(self._cuts) >= MOST_CUTS:
            self._cuts.clear()
        if self._tuned_hz not in self._cuts:
            self._cuts[self._tuned_hz] = self._cut()
        return self._cuts[self._tuned_hz]

    def _cut(self) -> Samples:
        """One round of the loop in the tuned band, at the converter, without noise; sqrt(W)."""
        spectrum = self._spectrum()
        n, wide_hz = len(spectrum), self._station.mode.sample_rate_hz * 4
        m = round(n * self._rate_hz / wide_hz)
        away_hz = self._tuned_hz * (1 + 1e-6 * CRYSTAL_PPM) - self._station.centre_hz
        first = round(away_hz / wide_hz * n)
        bins = np.take(spectrum, first + np.arange(-(m // 2), m - m // 2), mode="wrap")
        offset = np.arange(-(m // 2), m - m // 2) / m
        shape = _filter(offset)
        gain = amplitude_from_db(self._gains["IF"]) * m / n
        return np.asarray(scipy.fft.ifft(scipy.fft.ifftshift(bins * shape * gain)), dtype=np.complex64)

    def _spectrum(self) -> Samples:
        """Spectrum of the loop behind the front end, in the transform's own order."""
        if self._bent is None:
            if self._amplified is None:
                self._amplified = self._transmitted()
            level_dbm = COUPLED_DBM + self._gains["PAD"] + self._gains["FRONT"]
            field = self._amplified * np.float32(np.sqrt(watts_from_dbm(level_dbm)))
            power = field.real**2 + field.imag**2
            bent = field * (1 - power / np.float32(watts_from_dbm(STAGE_INTERCEPT_DBM)))
            self._bent = np.asarray(scipy.fft.fft(bent.astype(np.complex64)), dtype=np.complex64)
        return self._bent

    def _transmitted(self) -> Samples:
        """One round of the loop as it leaves the amplifier; mean power 1 at the drive the station starts with."""
        station = self._station
        drive_w = station.amplifier.drive_w
        signal = TransmittedSignal(
            waveform=self._wave,
            elementary_rate_hz=station.mode.sample_rate_hz,
            amplifier=station.amplifier,
            drive_w=drive_w * 10 ** (self._gains[DRIVE] / 10),
        )
        plain = replace(signal, drive_w=drive_w).mean_w if self._gains[DRIVE] else signal.mean_w
        symbol = signal.factor * int(station.mode.n_fft * (1 + station.mode.guard))
        n = symbol * (len(self._wave) * signal.factor // symbol - 2 * LEAD_SYMBOLS)
        return signal.read(LEAD_SYMBOLS * symbol, n) * np.float32(1 / np.sqrt(plain))


def _filter(offset: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Amplitude gain of the filter before the converter, over the frequency as a share of the sample rate."""
    return np.asarray(1 / np.sqrt(1 + (offset / FILTER_HZ) ** (2 * FILTER_ORDER)))


@lru_cache(maxsize=1)
def _waveform(station: PracticeStation, *, seed: int) -> Samples:
    """Symbols enough for the loop, of packets that hold nothing but noise."""
    rng = np.random.default_rng(seed)
    count = int(station.mode.net_bit_rate_bps * (LOOP_S + 0.03) / (188 * 8))
    packets = rng.integers(0, 256, (count, 188), dtype=np.uint8)
    packets[:, 0] = 0x47
    modulator = Transmitter(station.mode)
    return np.concatenate([modulator.push(packets), modulator.flush()])

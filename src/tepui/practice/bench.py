"""The practice bench: a stream made, sent, amplified, received and written down, from one seed.

Theory  Packets fill whole symbols at the channel's net rate; the recording begins in the middle of a symbol, as one
        made by hand would, and ends before the transmission does.
Source  the modules it joins; this one adds no number of its own but ``LEAD_S``.
Holds   The whole transmission at the elementary rate is held in memory (64 MB a second for a 7 MHz channel).
"""

from dataclasses import dataclass
from pathlib import PurePath

import numpy as np
import numpy.typing as npt

from tepui.chain.programme.stream import make_stream
from tepui.chain.waveform.transmit import Transmitter
from tepui.practice.path import cn_db
from tepui.practice.receiver import record
from tepui.practice.station import PracticeStation
from tepui.practice.transmitter import TransmittedSignal
from tepui.signals.recording import Recording, recording_from_samples

LEAD_S = 0.0073  # of the transmission before the recording begins: no whole number of symbols in any mode
PICTURE_SIZE = (720, 576)


@dataclass(frozen=True, kw_only=True, eq=False)
class PracticeRun:
    """One run of the bench: what was sent, what was recorded, and what was put in on the way."""

    station: PracticeStation
    packets: npt.NDArray[np.uint8]
    recording: Recording

    @property
    def cn_db(self) -> float:
        """Signal over thermal noise in the occupied width. [dB]"""
        return cn_db(
            level_dbm=self.station.path.level_dbm,
            width_hz=self.station.mode.occupied_width_hz,
            noise_figure_db=self.station.receiver.noise_figure_db,
        )


def make_programme(station: PracticeStation, *, duration_s: float) -> npt.NDArray[np.uint8]:
    """The packets that the station's modulator is given. uint8 (n, 188)"""
    return make_stream(
        service_name=station.service_name,
        provider=station.call,
        net_bit_rate_bps=station.mode.net_bit_rate_bps,
        duration_s=duration_s,
        size=PICTURE_SIZE,
    )


def send(station: PracticeStation, packets: npt.NDArray[np.uint8]) -> TransmittedSignal:
    """The packets on the air, as they leave the final stage; null packets carry the last of them out."""
    modulator = Transmitter(station.mode)
    waveform = np.concatenate([modulator.push(packets), modulator.flush()])
    return TransmittedSignal(
        waveform=waveform,
        elementary_rate_hz=station.mode.sample_rate_hz,
        amplifier=station.amplifier,
        drive_w=station.amplifier.drive_w,
    )


def listen(
    station: PracticeStation,
    signal: TransmittedSignal,
    *,
    duration_s: float,
    seed: int,
    name: str,
    workers: int | None = None,
) -> Recording:
    """What the far receiver records of it, marked as practice."""
    rate_hz = station.receiver.sample_rate_hz
    samples = record(
        signal,
        path=station.path,
        receiver=station.receiver,
        width_hz=station.mode.occupied_width_hz,
        start_s=LEAD_S,
        n_samples=int(duration_s * rate_hz),
        seed=seed,
        workers=workers,
    )
    return recording_from_samples(
        PurePath(name).name, samples, sample_rate_hz=rate_hz, frequency_hz=station.centre_hz, practice=True
    )


def run_bench(station: PracticeStation, *, duration_s: float, seed: int, workers: int | None = None) -> PracticeRun:
    """Programme, transmission and recording of ``duration_s``.

    raises  RangeError where the programme does not fit the mode
    """
    packets = make_programme(station, duration_s=duration_s + 2 * LEAD_S)
    recording = listen(
        station, send(station, packets), duration_s=duration_s, seed=seed, name=station.name, workers=workers
    )
    return PracticeRun(station=station, packets=packets, recording=recording)

"""The practice receiver in this process, without the capture process, and what is true of it."""

import numpy as np

from tepui.evidence.shoulders import shoulders
from tepui.practice.live import PracticeReceiverLive
from tepui.signals.live import LiveBlock, ReceiverStoppedError
from tepui.signals.recording import recording_from_samples
from tepui.signals.spectrum import spectrum_of_recording

EDGE_HZ = 3.328125e6


class Direct:
    """``signals.live.LiveReceiver`` over the simulation; ``stops_after`` samples it stops."""

    def __init__(self, *, rate_hz=2.4e6, stops_after=None, **gains):
        self.made = PracticeReceiverLive()
        self.info = self.made.describe("practice")
        self.rate_hz = self.made.set_rate(rate_hz)
        self.stops_after, self.given = stops_after, 0
        self._gains = {}
        for name, gain_db in {"PAD": 0.0, "FRONT": 0.0, "IF": 34.0, **gains}.items():
            self.set_gain(name, gain_db)

    @property
    def gains_db(self):
        return dict(self._gains)

    def tune(self, frequency_hz):
        return self.made.set_frequency(frequency_hz)

    def set_gain(self, name, gain_db):
        self._gains[name] = self.made.set_gain(name, gain_db)
        return self._gains[name]

    def forget(self):
        """Have the signal made anew."""
        self.made._bent = self.made._loop = None

    def read(self, count):
        if self.stops_after is not None and self.given >= self.stops_after:
            raise ReceiverStoppedError("the receiver practice stopped delivering.")
        self.given += count
        codes = self.made.read(count).astype(np.float32) / 127
        return LiveBlock(samples=codes.view(np.complex64))


def shoulders_db(samples):
    """Both by the standard procedure, which has its own tests against truth files, on a wide stretch without noise."""
    wide = recording_from_samples("wide", samples / np.abs(samples).max(), sample_rate_hz=32e6, practice=True)
    spectrum = spectrum_of_recording(wide, resolution_bandwidth_hz=2e3)
    found = shoulders(
        spectrum, centre_offset_hz=0, occupied_width_hz=2 * EDGE_HZ, carrier_spacing_hz=8e6 / 8192, floor=None
    )
    return found.lower.shown.value, found.upper.shown.value


def sent_db(receiver):
    """What the practice station sends."""
    return shoulders_db(receiver.made._transmitted())


def behind_front_end_db(receiver):
    """What is left of it behind the practice receiver's front end."""
    return shoulders_db(np.fft.ifft(receiver.made._spectrum()))

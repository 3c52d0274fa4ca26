"""A driver over the receiver library: enumerate, open, describe, set, read.

Theory  Samples are asked for in the converter's own whole numbers where the driver has them, so that rounding and
        clipping can be seen later; numbers of 12 bits in 16 are moved up to the top of the word.
Source  SoapySDR 0.8, Device.h: formats and error codes.
Holds   Channel 0. Automatic gain is switched off: a level that moves by itself cannot be measured with.
"""

import ctypes
import math
from ctypes import byref, c_double, c_int, c_longlong, c_size_t, c_void_p
from typing import Any

import numpy as np

from tepui.ground.errors import InputError, RangeError
from tepui.instruments.driver import Bytes, Took
from tepui.instruments.library import LOG_ERROR, OVERFLOW, RECEIVE, TIMEOUT, LogHandler, Range, load_library
from tepui.signals.live import GainElement, ReceiverInfo, ReceiverStoppedError

READ_TIMEOUT_US = 100_000
DRAINS = 200  # reads after a stop, to empty what the driver still holds
FORMATS = {"CS8": "ci8", "CS16": "ci16_le", "CF32": "cf32_le"}

_last_error = [""]


def _remember(level: int, message: bytes) -> None:
    if level <= LOG_ERROR:
        _last_error[0] = " ".join(message.decode("utf-8", "replace").split())


_HANDLER = LogHandler(_remember)  # the library keeps a pointer to it


def opened_library() -> Any:
    """The library, with its log kept instead of printed: only the last error counts, for our own sentence."""
    library = load_library()
    library.SoapySDR_registerLogHandler(_HANDLER)
    library.SoapySDR_setLogLevel(LOG_ERROR)
    return library


def _why(library: Any) -> str:
    told = " ".join((library.SoapySDRDevice_lastError() or b"").decode("utf-8", "replace").split())
    reason = told or _last_error[0]
    return f" ({reason.rstrip('.')})" if reason else ""


def found_devices(library: Any) -> list[dict[str, str]]:
    """What the drivers see: one dictionary of their own words each."""
    count = c_size_t(0)
    listed = library.SoapySDRDevice_enumerateStrArgs(b"", byref(count))
    devices = []
    for number in range(count.value):
        entry = listed[number]
        devices.append(
            {
                entry.keys[i].decode("utf-8", "replace"): entry.vals[i].decode("utf-8", "replace")
                for i in range(entry.size)
            }
        )
    if count.value:
        library.SoapySDRKwargsList_clear(listed, count)
    return devices


class SoapyDriver:
    """One receiver, opened. ``arguments`` are the library's own, "driver=NAME,serial=..."."""

    def __init__(self, arguments: str) -> None:
        self._library = library = opened_library()
        self._stream: c_void_p | None = None
        self._device = library.SoapySDRDevice_makeStrArgs(arguments.encode())
        if not self._device:
            raise InputError(
                f"the receiver {arguments} cannot be opened{_why(library)}: see that it is plugged in and that no "
                "other program holds it."
            )
        if library.SoapySDRDevice_getNumChannels(self._device, RECEIVE) < 1:
            self.close()
            raise InputError(f"the device {arguments} does not receive; 'tepui receivers' lists those that do.")
        if library.SoapySDRDevice_hasGainMode(self._device, RECEIVE, 0):
            library.SoapySDRDevice_setGainMode(self._device, RECEIVE, 0, False)
        self._format, self.bits, self._shift = self._native()

    def _text(self, pointer: int | None) -> str:
        if not pointer:
            return ""
        text = ctypes.string_at(pointer).decode("utf-8", "replace")
        self._library.SoapySDR_free(pointer)
        return text

    def _native(self) -> tuple[str, int | None, int]:
        """Format to ask for, bits of the converter, and by how many bits its codes are moved up."""
        scale = c_double(0.0)
        name = self._text(self._library.SoapySDRDevice_getNativeStreamFormat(self._device, RECEIVE, 0, byref(scale)))
        exact = math.log2(scale.value) if scale.value >= 1 else 0.0
        power = round(exact) if abs(exact - round(exact)) < 0.01 else None
        if name == "CS8" and power == 7:
            return "CS8", 8, 0
        if name == "CS16" and power is not None and 7 <= power <= 15:
            return "CS16", power + 1, 15 - power
        bits = {"CS12": 12, "CU8": 8, "CU16": 16, "CS8": 8}.get(name)
        return "CF32", bits, 0

    def _channel(self, function: str, *more: Any) -> Any:
        return getattr(self._library, f"SoapySDRDevice_{function}")(self._device, RECEIVE, 0, *more)

    def _done(self, code: int, what: str) -> None:
        if code:
            raise RangeError(
                f"the receiver does not accept {what}{_why(self._library)}; 'tepui receivers' says its limits."
            )

    def _ranges(self, function: str) -> tuple[tuple[float, float], ...]:
        count = c_size_t(0)
        listed = self._channel(function, byref(count))
        found = tuple((listed[i].minimum, listed[i].maximum) for i in range(count.value))
        if count.value:
            self._library.SoapySDR_free(ctypes.cast(listed, c_void_p))
        return found

    def _gains(self) -> tuple[GainElement, ...]:
        count = c_size_t(0)
        listed = self._channel("listGains", byref(count))
        names = [listed[i].decode("utf-8", "replace") for i in range(count.value)]
        if count.value:
            self._library.SoapySDRStrings_clear(byref(listed), count)
        found = []
        for name in names:
            limits: Range = self._channel("getGainElementRange", name.encode())
            found.append(
                GainElement(name=name, low_db=limits.minimum, high_db=limits.maximum, step_db=limits.step or None)
            )
        return tuple(found)

    def describe(self, key: str) -> ReceiverInfo:
        """What the driver says of the receiver."""
        library = self._library
        return ReceiverInfo(
            key=key,
            label=self._text(library.SoapySDRDevice_getHardwareKey(self._device)) or key,
            driver=self._text(library.SoapySDRDevice_getDriverKey(self._device)),
            bits=self.bits,
            sample_type=FORMATS[self._format],
            rates_hz=self._ranges("getSampleRateRange"),
            frequencies_hz=self._ranges("getFrequencyRange"),
            gains=self._gains(),
        )

    def set_rate(self, rate_hz: float) -> float:
        """Set the sample rate; returns the one in force. [Hz]"""
        self._done(self._channel("setSampleRate", rate_hz), f"{rate_hz / 1e6:g} MS/s")
        return float(self._channel("getSampleRate"))

    def set_gain(self, name: str, gain_db: float) -> float:
        """Set one gain element; returns the gain in force. [dB]"""
        self._done(self._channel("setGainElement", name.encode(), gain_db), f"{gain_db:g} dB of {name}")
        return float(self._channel("getGainElement", name.encode()))

    def set_frequency(self, frequency_hz: float) -> float:
        """Tune; returns the frequency in force. [Hz]"""
        self._done(self._channel("setFrequency", frequency_hz, None), f"{frequency_hz / 1e6:g} MHz")
        return float(self._channel("getFrequency"))

    def start(self) -> None:
        """Let samples flow."""
        if self._stream is None:
            self._stream = self._opened_stream()
        code = self._library.SoapySDRDevice_activateStream(self._device, self._stream, 0, 0, 0)
        if code:
            raise ReceiverStoppedError(f"the receiver does not start{_why(self._library)}; unplug it and try again.")

    def _opened_stream(self) -> c_void_p:
        channel = c_size_t(0)
        for name in dict.fromkeys((self._format, "CF32")):
            stream = self._library.SoapySDRDevice_setupStream(
                self._device, RECEIVE, name.encode(), byref(channel), 1, None
            )
            if stream:
                if name != self._format:
                    self._format, self._shift = name, 0
                return c_void_p(stream)
        raise InputError(
            f"the receiver gives no samples{_why(self._library)}: its driver offers no stream to receive from."
        )

    def stop(self) -> None:
        """Stop the flow, and read away what the driver still holds."""
        if self._stream is None:
            return
        self._library.SoapySDRDevice_deactivateStream(self._device, self._stream, 0, 0)
        waste = np.empty(8 * 4096, np.uint8)
        for _ in range(DRAINS):
            if self._read(waste, 4096, timeout_us=0) <= 0:
                break

    def _read(self, space: Bytes, count: int, *, timeout_us: int) -> int:
        buffers = (c_void_p * 1)(space.ctypes.data)
        flags, time_ns = c_int(0), c_longlong(0)
        return int(
            self._library.SoapySDRDevice_readStream(
                self._device, self._stream, buffers, count, byref(flags), byref(time_ns), timeout_us
            )
        )

    def read(self, space: Bytes, count: int) -> Took:
        """Write up to ``count`` samples into ``space``.

        raises  ReceiverStoppedError
        """
        code = self._read(space, count, timeout_us=READ_TIMEOUT_US)
        if code == TIMEOUT:
            return Took(count=0)
        if code == OVERFLOW:
            return Took(count=0, overflow=True)
        if code < 0:
            raise ReceiverStoppedError(
                f"the receiver stopped delivering (its driver says {code}{_why(self._library)}); see that it is "
                "plugged in."
            )
        if self._shift:
            codes = space[: 4 * code].view(np.int16)
            np.left_shift(codes, self._shift, out=codes)
        return Took(count=code)

    def close(self) -> None:
        """Give the receiver back."""
        if self._stream is not None:
            self._library.SoapySDRDevice_closeStream(self._device, self._stream)
            self._stream = None
        if self._device:
            self._library.SoapySDRDevice_unmake(self._device)
            self._device = None

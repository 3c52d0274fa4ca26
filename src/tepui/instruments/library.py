"""The receiver library: SoapySDR's C interface, found and bound when asked for.

Theory  One library speaks to many receivers through driver modules. Its binary interface is versioned; 0.7 has another
        signature for streams, so only 0.8 is bound.
Source  SoapySDR 0.8, Device.h, Types.h, Errors.h and Logger.h (open source, Boost licence).
Holds   Loaded in the capture process only: a driver module that crashes takes that process and not the program.
"""

import ctypes
import ctypes.util
import os
import sys
from ctypes import POINTER, Structure, c_bool, c_char_p, c_double, c_int, c_long, c_longlong, c_size_t, c_void_p
from typing import Any

from tepui.ground.errors import InputError

PLACE = "TEPUI_SOAPYSDR"
ABI = "0.8"
RECEIVE = 1
TIMEOUT, OVERFLOW = -1, -4
LOG_ERROR = 3
NAMES = {
    "linux": ("libSoapySDR.so.0.8", "libSoapySDR.so"),
    "darwin": ("libSoapySDR.dylib", "/opt/homebrew/lib/libSoapySDR.dylib", "/usr/local/lib/libSoapySDR.dylib"),
    "win32": ("SoapySDR.dll",),
}
CURES = {
    "linux": "on Debian and its relatives install libsoapysdr0.8 and the soapysdr-module package of your receiver",
    "darwin": "install SoapySDR and the module of your receiver with your package manager",
    "win32": f"install SoapySDR with your receiver's module and put its folder on PATH, or name its DLL in {PLACE}",
}


class Range(Structure):
    """SoapySDRRange."""

    _fields_ = (("minimum", c_double), ("maximum", c_double), ("step", c_double))


class Kwargs(Structure):
    """SoapySDRKwargs."""

    _fields_ = (("size", c_size_t), ("keys", POINTER(c_char_p)), ("vals", POINTER(c_char_p)))


LogHandler = ctypes.CFUNCTYPE(None, c_int, c_char_p)
_TEXT = c_void_p  # char * that the caller frees
_DEVICE, _STREAM = c_void_p, c_void_p
_SIZE = POINTER(c_size_t)
_CHANNEL = (_DEVICE, c_int, c_size_t)
SIGNATURES: dict[str, tuple[Any, tuple[Any, ...]]] = {
    "SoapySDR_getABIVersion": (c_char_p, ()),
    "SoapySDR_getLibVersion": (c_char_p, ()),
    "SoapySDR_free": (None, (c_void_p,)),
    "SoapySDR_setLogLevel": (None, (c_int,)),
    "SoapySDR_registerLogHandler": (None, (LogHandler,)),
    "SoapySDRStrings_clear": (None, (POINTER(POINTER(c_char_p)), c_size_t)),
    "SoapySDRKwargs_clear": (None, (POINTER(Kwargs),)),
    "SoapySDRKwargsList_clear": (None, (POINTER(Kwargs), c_size_t)),
    "SoapySDRDevice_lastError": (c_char_p, ()),
    "SoapySDRDevice_enumerateStrArgs": (POINTER(Kwargs), (c_char_p, _SIZE)),
    "SoapySDRDevice_makeStrArgs": (_DEVICE, (c_char_p,)),
    "SoapySDRDevice_unmake": (c_int, (_DEVICE,)),
    "SoapySDRDevice_getDriverKey": (_TEXT, (_DEVICE,)),
    "SoapySDRDevice_getHardwareKey": (_TEXT, (_DEVICE,)),
    "SoapySDRDevice_getNumChannels": (c_size_t, (_DEVICE, c_int)),
    "SoapySDRDevice_getNativeStreamFormat": (_TEXT, (*_CHANNEL, POINTER(c_double))),
    "SoapySDRDevice_setupStream": (_STREAM, (_DEVICE, c_int, c_char_p, _SIZE, c_size_t, POINTER(Kwargs))),
    "SoapySDRDevice_closeStream": (c_int, (_DEVICE, _STREAM)),
    "SoapySDRDevice_activateStream": (c_int, (_DEVICE, _STREAM, c_int, c_longlong, c_size_t)),
    "SoapySDRDevice_deactivateStream": (c_int, (_DEVICE, _STREAM, c_int, c_longlong)),
    "SoapySDRDevice_readStream": (
        c_int,
        (_DEVICE, _STREAM, POINTER(c_void_p), c_size_t, POINTER(c_int), POINTER(c_longlong), c_long),
    ),
    "SoapySDRDevice_hasGainMode": (c_bool, _CHANNEL),
    "SoapySDRDevice_setGainMode": (c_int, (*_CHANNEL, c_bool)),
    "SoapySDRDevice_listGains": (POINTER(c_char_p), (*_CHANNEL, _SIZE)),
    "SoapySDRDevice_getGainElementRange": (Range, (*_CHANNEL, c_char_p)),
    "SoapySDRDevice_setGainElement": (c_int, (*_CHANNEL, c_char_p, c_double)),
    "SoapySDRDevice_getGainElement": (c_double, (*_CHANNEL, c_char_p)),
    "SoapySDRDevice_setFrequency": (c_int, (*_CHANNEL, c_double, POINTER(Kwargs))),
    "SoapySDRDevice_getFrequency": (c_double, _CHANNEL),
    "SoapySDRDevice_getFrequencyRange": (POINTER(Range), (*_CHANNEL, _SIZE)),
    "SoapySDRDevice_setSampleRate": (c_int, (*_CHANNEL, c_double)),
    "SoapySDRDevice_getSampleRate": (c_double, _CHANNEL),
    "SoapySDRDevice_getSampleRateRange": (POINTER(Range), (*_CHANNEL, _SIZE)),
}


class LibraryMissingError(InputError):
    """The receiver library is not on this machine, or is of another kind."""


def load_library() -> Any:
    """The library, bound.

    raises  LibraryMissingError: one sentence with what to install
    """
    given = os.environ.get(PLACE)
    found = ctypes.util.find_library("SoapySDR")
    names = (given,) if given else (*NAMES.get(sys.platform, NAMES["linux"]), *((found,) if found else ()))
    for name in names:
        try:
            library = ctypes.CDLL(name)
        except OSError:
            continue
        return _bound(library)
    cure = CURES.get(sys.platform, CURES["linux"])
    where = f"at {given}, which {PLACE} names" if given else "on this machine"
    raise LibraryMissingError(
        f"the receiver library SoapySDR was not found {where}: {cure}; the receiver named practice needs none."
    )


def _bound(library: Any) -> Any:
    try:
        for name, (result, arguments) in SIGNATURES.items():
            function = getattr(library, name)
            function.restype, function.argtypes = result, arguments
        version = (library.SoapySDR_getABIVersion() or b"").decode("ascii", "replace")
    except AttributeError as missing:
        raise LibraryMissingError(
            f"the receiver library found is not SoapySDR {ABI} ({missing}); install SoapySDR {ABI}."
        ) from missing
    if not version.startswith(ABI):
        raise LibraryMissingError(
            f"the receiver library has the binary interface {version or 'of no version'}; tepui knows {ABI} only: "
            f"install SoapySDR {ABI}."
        )
    return library

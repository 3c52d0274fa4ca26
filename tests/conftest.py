"""What every test may ask for."""

import ctypes.util
import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from hypothesis import settings

from machine_interface import read_document
from nomenclature import nomenclature_keys

# The same cases in every run, and no verdict on their time: a busy machine is no defect.
settings.register_profile("tepui", deadline=None, derandomize=True)
settings.load_profile("tepui")


@pytest.fixture
def nomenclature() -> dict[str, str]:
    """Key -> unit of every quantity in docs/nomenclature.md."""
    return nomenclature_keys()


@pytest.fixture
def read_json() -> Callable[[str], dict[str, Any]]:
    """Reads the text of a JSON document and checks all of its shape against docs/machine-interface.md."""
    return read_document


BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")


def find_browser() -> str | None:
    """Path of an installed browser of the Chromium family."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def pytest_ignore_collect(collection_path: Any) -> bool | None:
    """Leave the browser's tests out where there is no browser; the last lines say so."""
    return True if "browser" in collection_path.name and find_browser() is None else None


@cache
def driver_can_be_built() -> bool:
    """Whether a driver module of the receiver library can be built here."""
    if shutil.which("g++") is None or ctypes.util.find_library("SoapySDR") is None:
        return False
    words = ["g++", "-E", "-x", "c++", "-"]
    text = "#include <SoapySDR/Device.hpp>"
    return subprocess.run(words, input=text, text=True, capture_output=True, check=False).returncode == 0


@pytest.fixture(scope="session")
def can_build_driver() -> bool:
    """Whether the tests on a built driver module can run; the last lines say so where not."""
    return driver_can_be_built()


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say in the last lines what was not run here, and the one command that changes it."""
    if find_browser() is None:
        terminalreporter.write_line(
            "NOT RUN: the tests of the pages in a browser, for none of the Chromium family is installed; "
            "'./run test --with-browser' installs one on Debian and its kin."
        )
    if not driver_can_be_built():
        terminalreporter.write_line(
            "NOT RUN: the tests of the path from a receiver's driver, for they need g++ and SoapySDR's headers; on "
            "Debian and its kin 'apt-get install g++ libsoapysdr-dev' brings both."
        )

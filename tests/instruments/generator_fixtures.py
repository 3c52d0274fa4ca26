"""The generator module, built once; where it cannot be built its tests are left out and the last lines say so.

No conftest.py: there is one of that name, and tests import from it.
"""

import os
import subprocess
from pathlib import Path

import pytest

SOURCE = Path(__file__).with_name("generator_module.cpp")
NOT_RUN = "a driver module cannot be built: g++ or SoapySDR's headers are missing"


@pytest.fixture(scope="session")
def module_folder(tmp_path_factory, can_build_driver):
    """The folder with the built module."""
    if not can_build_driver:
        if os.environ.get("CI") == "true":
            pytest.fail(NOT_RUN)
        pytest.skip(NOT_RUN)
    shared = tmp_path_factory.getbasetemp().parent if "PYTEST_XDIST_WORKER" in os.environ else None
    folder = (shared or tmp_path_factory.getbasetemp()) / "generator-module"
    folder.mkdir(exist_ok=True)
    built = folder / "generator.so"
    if not built.exists():
        part = folder / f"{os.getpid()}.part"
        command = ["g++", "-std=c++14", "-O1", "-shared", "-fPIC", str(SOURCE), "-o", str(part), "-lSoapySDR"]
        subprocess.run(command, check=True)
        part.replace(built)
    return folder


@pytest.fixture
def generator(module_folder, monkeypatch):
    """The receiver library finds the generator, and what else is installed stays out."""
    monkeypatch.setenv("SOAPY_SDR_PLUGIN_PATH", str(module_folder))
    return "generator"

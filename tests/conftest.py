"""What every test may ask for."""

from collections.abc import Callable
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

"""What every test may ask for."""

from collections.abc import Callable
from typing import Any

import pytest

from machine_interface import read_document
from nomenclature import nomenclature_keys


@pytest.fixture
def nomenclature() -> dict[str, str]:
    """Key -> unit of every quantity in docs/nomenclature.md."""
    return nomenclature_keys()


@pytest.fixture
def read_json() -> Callable[[str], dict[str, Any]]:
    """Reads the text of a JSON document and checks all of its shape against docs/machine-interface.md."""
    return read_document

"""Kernels compile once: a second process must load them, whatever else in the tree has changed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tepui.ground import kernels

# A package of the same shape as ours, with one kernel, so that the test compiles in a second.
KERNEL = """
import numpy as np
from tepui.ground.kernels import kernel

@kernel("float64(float64[::1])")
def total(values):
    result = 0.0
    for n in range(values.shape[0]):
        result += values[n]
    return result

assert total(np.ones(5)) == 5.0
stats = total.stats
print(sum(stats.cache_hits.values()), sum(stats.cache_misses.values()))
"""


@pytest.fixture
def run_kernel(tmp_path):
    module = tmp_path / "place" / "total_kernels.py"
    module.parent.mkdir()
    module.write_text(KERNEL, encoding="utf-8")
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    def run(before=""):
        done = subprocess.run(
            [sys.executable, "-c", f"{before}\nimport total_kernels"],
            cwd=module.parent,
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        return tuple(int(word) for word in done.stdout.split())

    run.module = module
    return run


def test_tool_a_second_process_loads_what_the_first_compiled(run_kernel):
    assert run_kernel() == (0, 1)
    assert run_kernel() == (1, 0)
    (run_kernel.module.parent / "other.py").write_text("changed = True\n", encoding="utf-8")
    os.utime(run_kernel.module)
    assert run_kernel() == (1, 0)
    # A library that imports numba before us must not send us to another cache.
    assert run_kernel(before="import numba") == (1, 0)
    run_kernel.module.write_text(KERNEL.replace("5", "6"), encoding="utf-8")
    assert run_kernel() == (0, 1)


def test_law_every_kernel_module_of_the_tree_is_known():
    assert kernels.kernel_sources()
    for name in kernels.kernel_modules():
        assert name.startswith("tepui.")
        assert name.endswith("kernels")
        assert not name.startswith("tepui.ground")


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setattr(kernels, "kernels_home", lambda: tmp_path)
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    kernels.cache_folder.cache_clear()
    yield tmp_path
    kernels.cache_folder.cache_clear()


def test_law_the_folder_follows_the_sources(home, monkeypatch, tmp_path):
    source = tmp_path / "a_kernels.py"
    source.write_text("one", encoding="utf-8")
    monkeypatch.setattr(kernels, "PACKAGE_ROOT", tmp_path)
    first = kernels.cache_folder()
    kernels.cache_folder.cache_clear()
    source.write_text("two", encoding="utf-8")
    second = kernels.cache_folder()
    assert first.parent == second.parent == home
    assert first != second


def test_law_old_caches_go_and_the_last_used_stay(home):
    for age, name in enumerate(["new", "newer", "old", "older", "oldest"]):
        (home / name).mkdir()
        os.utime(home / name, (1e9 - age, 1e9 - age))
    assert kernels.remove_old_caches(keep=2) == 3
    assert {path.name for path in home.iterdir()} == {"new", "newer"}


def test_law_ready_is_only_what_was_marked_in_this_place(home, monkeypatch):
    assert not kernels.kernels_ready()
    kernels.cache_folder().mkdir(parents=True)
    kernels.mark_kernels_ready()
    assert kernels.kernels_ready()
    monkeypatch.setattr(kernels, "PACKAGE_ROOT", Path("elsewhere"))
    assert not kernels.kernels_ready()

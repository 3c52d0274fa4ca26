"""The set-up step compiles every module in fresh processes, says so, and names what fails."""

import pytest

from tepui.desk import setup
from tepui.ground import kernels
from tepui.ground.errors import UnfinishedError


@pytest.fixture
def modules(tmp_path, monkeypatch):
    """Stand-ins for kernel modules that leave a mark instead of compiling."""
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    for name in ("one_kernels", "two_kernels", "three_kernels"):
        (tmp_path / f"{name}.py").write_text(
            f"import os, pathlib\npathlib.Path({str(tmp_path)!r}, '{name}.done').write_text(str(os.getpid()))\n",
            encoding="utf-8",
        )
    return tmp_path


@pytest.mark.parametrize("processes", [1, 2])
def test_law_every_module_is_imported_once_in_another_process(modules, processes):
    setup.compile_modules(["one_kernels", "two_kernels", "three_kernels"], processes=processes)
    workers = {path.read_text(encoding="utf-8") for path in modules.glob("*.done")}
    assert len(list(modules.glob("*.done"))) == 3
    assert 1 <= len(workers) <= processes


def test_limit_a_module_that_fails_is_named_with_its_reason(modules):
    (modules / "bad_kernels.py").write_text("raise RuntimeError('no such type')\n", encoding="utf-8")
    with pytest.raises(UnfinishedError, match=r"^bad_kernels would not compile \(RuntimeError: no such type\)"):
        setup.compile_modules(["bad_kernels", "one_kernels"], processes=1)


def test_limit_a_module_that_talks_out_of_turn_does_not_hang_the_set_up(modules):
    (modules / "loud_kernels.py").write_text("print('hello', flush=True)\n", encoding="utf-8")
    with pytest.raises(UnfinishedError, match=r"^loud_kernels would not compile \(no message\)"):
        setup.compile_modules(["loud_kernels"], processes=1)


def test_law_a_module_in_the_folder_we_are_in_takes_no_place(modules, tmp_path_factory, monkeypatch):
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (elsewhere / "one_kernels.py").write_text("raise RuntimeError('not mine')\n", encoding="utf-8")
    monkeypatch.chdir(elsewhere)
    setup.compile_modules(["one_kernels"], processes=1)
    assert (modules / "one_kernels.done").exists()


def test_law_it_speaks_once_and_then_holds_its_peace(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(kernels, "kernels_home", lambda: tmp_path)
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(setup, "compile_modules", lambda modules, *, processes: kernels.cache_folder().mkdir())
    kernels.cache_folder.cache_clear()
    try:
        setup.ensure_kernels(processes=2)
        said = capsys.readouterr()
        setup.ensure_kernels(processes=2)
    finally:
        kernels.cache_folder.cache_clear()
    assert said.out == ""
    assert said.err.startswith("tepui: compiling kernels, once, about ")
    assert "\ntepui: kernels compiled in " in said.err
    assert capsys.readouterr().err == ""

"""The way in: ``run`` at the root, on Pythons old and new, set up once and then out of the way."""

import ast
import importlib.machinery
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "run"


@pytest.fixture
def run(tmp_path, monkeypatch):
    """The file as a module, moved to a small tree of its own."""
    loader = importlib.machinery.SourceFileLoader("tepui_run", str(SOURCE))
    module = importlib.util.module_from_spec(importlib.util.spec_from_loader("tepui_run", loader))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    loader.exec_module(module)
    (tmp_path / "src" / "tepui" / "signals").mkdir(parents=True)
    (tmp_path / "src" / "tepui" / "signals" / "a_kernels.py").write_text("one", encoding="utf-8")
    for name in ("uv.lock", "pyproject.toml"):
        (tmp_path / name).write_text(name, encoding="utf-8")
    module.ROOT = str(tmp_path)
    module.ENVIRONMENT = str(tmp_path / ".venv")
    module.STAMP = str(tmp_path / ".venv" / "tepui-stamp")
    module.TOOLS = str(tmp_path / ".tools")
    return module


@pytest.fixture
def calls(run, monkeypatch):
    """What the set-up would have started; the first call makes the environment, as uv does."""
    made = []

    def call(command, **settings):
        made.append([Path(str(word)).name for word in command])
        python = Path(run.program("python"))
        python.parent.mkdir(parents=True, exist_ok=True)
        python.touch()
        return 0

    monkeypatch.setattr(run.subprocess, "call", call)
    monkeypatch.setattr(run, "find_uv", lambda: "uv")
    return made


def test_law_it_reads_on_old_pythons_and_asks_for_nothing_but_the_standard_library():
    tree = ast.parse(SOURCE.read_text(encoding="ascii"), feature_version=(3, 8))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert imported <= set(sys.stdlib_module_names)
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    # Newer than the refusal of an old Python may be: f-strings (3.6), := (3.8), starred displays (3.5), annotations.
    newer = (ast.JoinedStr, ast.NamedExpr, ast.AnnAssign, ast.Starred)
    assert not [node for node in ast.walk(tree) if isinstance(node, newer)]
    assert os.name == "nt" or os.access(SOURCE, os.X_OK)


@pytest.mark.parametrize("version", [(2, 7, 18), (3, 6, 0), (3, 7, 16)])
def test_limit_too_old_a_python_is_one_sentence_with_the_cure(run, version, monkeypatch):
    monkeypatch.setattr(run, "starts", lambda name: False)
    with pytest.raises(run.SetupError) as refusal:
        run.require_python(version)
    sentence = str(refusal.value)
    assert sentence.startswith(f"this is Python {version[0]}.{version[1]}, and the start needs 3.8 or later; cure: '")
    assert "\n" not in sentence
    assert sentence.endswith("run'.")
    run.require_python((3, 8, 0))
    run.require_python((3, 14, 0))


def test_limit_a_newer_python_that_is_there_is_named(run, monkeypatch):
    assert run.starts(sys.executable)
    assert not run.starts("python3.no-such")
    monkeypatch.setattr(run, "starts", lambda name: name in ("python3.7", "python3.9", "python3.11"))
    with pytest.raises(run.SetupError, match=r"cure: 'python3\.11 run'\.$"):
        run.require_python((3, 7, 16))


@pytest.mark.parametrize(
    ("apt", "cure"), [("/usr/bin/apt", "sudo apt install python3-pip"), (None, "-m ensurepip --user")]
)
def test_limit_missing_pip_is_one_sentence_with_the_cure(run, monkeypatch, capsys, apt, cure):
    monkeypatch.setattr(run.shutil, "which", lambda name: apt if name == "apt" else None)
    monkeypatch.setattr(run, "answers", lambda command: None)
    assert run.main(["--version"]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("tepui: setting up needs pip or uv, and this Python has neither; run '")
    assert cure in said.err
    assert said.err.count("\n") == 1


@pytest.mark.parametrize(
    ("said", "version"), [("uv 0.13.9 (x86_64)\n", (0, 13, 9)), ("uv 1.0.0\n", (1, 0, 0)), ("no", None), (None, None)]
)
def test_limit_versions_of_uv(run, monkeypatch, said, version):
    monkeypatch.setattr(run, "answers", lambda command: said)
    assert run.uv_version("uv") == version


@pytest.mark.parametrize(("on_path", "used"), [("uv 0.13.9", "own"), ("uv 0.4.0", "fetched"), (None, "fetched")])
def test_law_ones_own_uv_is_used_where_it_is_new_enough(run, monkeypatch, on_path, used):
    fetched = []
    monkeypatch.setattr(run.shutil, "which", lambda name: "own")
    monkeypatch.setattr(run, "answers", lambda command: on_path if command[0] == "own" else None)
    monkeypatch.setattr(run, "fetch_uv", lambda: fetched.append(True))
    assert (run.find_uv() == "own") is (used == "own")
    assert bool(fetched) is (used == "fetched")


def test_law_the_second_start_does_nothing(run, calls):
    run.set_up(False)
    assert [command[0] for command in calls] == [
        "uv",
        Path(run.program("python")).name,
        Path(run.program("python")).name,
    ]
    assert "--frozen" in calls[0]
    assert "--no-dev" in calls[0]
    calls.clear()
    run.set_up(False)
    assert calls == []


@pytest.mark.parametrize("what", ["uv.lock", "pyproject.toml", "src/tepui/signals/a_kernels.py"])
def test_law_a_change_is_noticed(run, calls, tmp_path, what):
    run.set_up(False)
    calls.clear()
    (tmp_path / what).write_text("changed", encoding="utf-8")
    run.set_up(False)
    assert calls


def test_law_other_sources_may_change(run, calls, tmp_path):
    run.set_up(False)
    calls.clear()
    (tmp_path / "src" / "tepui" / "signals" / "other.py").write_text("new", encoding="utf-8")
    run.set_up(False)
    assert calls == []


def test_law_what_the_tests_need_is_brought_once_and_stays(run, calls, tmp_path):
    run.set_up(False)
    calls.clear()
    run.set_up(True)
    assert "--no-dev" not in calls[0]
    calls.clear()
    run.set_up(False)
    assert calls == []
    (tmp_path / "uv.lock").write_text("changed", encoding="utf-8")
    run.set_up(False)
    assert "--no-dev" not in calls[0]


def test_law_a_moved_tree_gets_a_new_environment(run, calls, tmp_path):
    run.set_up(False)
    stamp = Path(run.STAMP)
    stamp.write_text(stamp.read_text(encoding="utf-8").replace(str(tmp_path), "elsewhere"), encoding="utf-8")
    left_over = tmp_path / ".venv" / "left-over"
    left_over.touch()
    run.set_up(False)
    assert not left_over.exists()


@pytest.mark.parametrize("failing", [0, 2])
def test_limit_a_set_up_that_failed_is_tried_again(run, calls, monkeypatch, capsys, failing):
    call = run.subprocess.call

    def fail(command, **settings):
        call(command, **settings)
        return 1 if len(calls) == failing + 1 else 0

    monkeypatch.setattr(run.subprocess, "call", fail)
    assert run.main(["--version"]) == 3
    assert "stands above" in capsys.readouterr().err
    assert not Path(run.STAMP).exists()


def test_law_pytest_gets_two_processes_unless_told_otherwise(run):
    assert run.test_command([])[1:] == ["-m", "pytest", "-n", "2"]
    assert run.test_command(["tests/ground", "-k", "doubt"])[1:] == [
        "-m",
        "pytest",
        "-n",
        "2",
        "tests/ground",
        "-k",
        "doubt",
    ]
    assert run.test_command(["-n", "0"])[1:] == ["-m", "pytest", "-n", "0"]
    assert run.test_command(["--pdb"])[1:] == ["-m", "pytest", "--pdb"]


@pytest.mark.parametrize(("words", "handed"), [([], ["demo"]), (["receive", "-38 dB"], ["receive", "-38 dB"])])
def test_law_run_becomes_the_program(run, calls, tmp_path, words, handed):
    if os.name == "nt":  # there run waits for the program instead
        return
    shutil.copy(SOURCE, tmp_path / "run")
    run.set_up(False)
    python, program = Path(run.program("python")), Path(run.program("tepui"))
    python.unlink()
    python.symlink_to(sys.executable)
    program.write_text(
        f"#!{sys.executable}\nimport os, sys\nprint(os.getpid(), sys.argv[1:], os.getcwd())\nsys.exit(7)\n",
        encoding="utf-8",
    )
    program.chmod(0o755)
    process = subprocess.Popen(
        [sys.executable, str(tmp_path / "run"), *words], stdout=subprocess.PIPE, cwd="/", text=True
    )
    out, _ = process.communicate(timeout=20)
    assert out == f"{process.pid} {handed} /\n"
    assert process.returncode == 7

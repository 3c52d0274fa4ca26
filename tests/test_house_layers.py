"""How the tree is built: what a module may import, what its head says, and that imports are quiet."""

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent / "src" / "tepui"
MODULES = sorted(ROOT.rglob("*.py"))
PHYSICS = ("signals", "chain", "prediction", "evidence", "practice")
LONGEST = 500
# Who may name a heavy library, wherever in the module it stands: a pattern for the path below src/tepui.
ALLOWED = {
    "numba": r".*kernels\.py",
    "matplotlib": r"report/.*",
    "av": r"chain/programme/.*",
    "PIL": r"(chain/programme|report)/.*",
}


def place(path):
    return path.relative_to(ROOT).as_posix()


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{place(path)} imports relatively"
            yield node.module


@pytest.mark.parametrize("library", sorted(ALLOWED))
def test_law_heavy_libraries_stay_in_their_places(library):
    users = {place(path) for path in MODULES if any(name.split(".")[0] == library for name in imports(path))}
    assert {user for user in users if not re.fullmatch(ALLOWED[library], user)} == set()


def test_law_a_package_module_holds_a_docstring_only():
    for path in MODULES:
        if path.name == "__init__.py":
            body = ast.parse(path.read_text(encoding="utf-8")).body
            rest = body[1:]
            assert ast.get_docstring(ast.Module(body=body, type_ignores=[])), place(path)
            if path.parent == ROOT:
                (version,) = rest
                assert version.targets[0].id == "__version__"
            else:
                assert rest == [], place(path)


def test_law_no_package_is_empty():
    for path in MODULES:
        if path.name == "__init__.py":
            assert [other for other in path.parent.rglob("*.py") if other.name != "__init__.py"], place(path)


def test_law_modules_of_the_physics_say_what_they_believe():
    silent = []
    for path in MODULES:
        if path.name != "__init__.py" and place(path).startswith(PHYSICS):
            head = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
            silent += [f"{place(path)}: {word}" for word in ("Theory", "Source", "Holds") if f"\n{word}" not in head]
    assert silent == []


def test_law_modules_stay_small():
    lengths = {place(path): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST and "kernels" not in name} == {}


QUIET = """
import builtins, importlib, os, pathlib, sys
seen = []
def watch(event, arguments):
    if event == "open" and isinstance(arguments[1], str) and set(arguments[1]) & set("wax+"):
        seen.append(("write", str(arguments[0])))
    if event.startswith("socket.") and event not in ("socket.__new__", "socket.gethostname"):
        seen.append((event, str(arguments)))
sys.addaudithook(watch)
before = dict(os.environ)
for name in {names!r}:
    importlib.import_module(name)
changed = set(os.environ.items()) ^ set(before.items())
print([item for item in seen if "__pycache__" not in item[1]], sorted(changed))
"""


# Kernel modules are the one exception: they load, or make, their compiled code; so they are left out, with their users.
def test_law_imports_touch_neither_files_nor_network_nor_settings():
    quiet = []
    for path in MODULES:
        name = ".".join(path.relative_to(ROOT.parent).with_suffix("").parts)
        if place(path).startswith(("ground", "tables", "cli", "files", "report")) and "kernels" not in place(path):
            quiet.append(name.removesuffix(".__init__"))
    done = subprocess.run(
        [sys.executable, "-B", "-c", QUIET.format(names=quiet)], capture_output=True, text=True, check=True
    )
    assert done.stdout == "[] []\n"


# import-linter reads the contracts of pyproject.toml; the second test is there to see that they can be broken.
def lint_imports(root, places=""):
    environment = {**os.environ, "PYTHONPATH": str(places)}
    program = Path(sys.executable).with_name("lint-imports" + (".exe" if os.name == "nt" else ""))
    return subprocess.run(
        [program, "--no-cache", "--config", str(root / "pyproject.toml")],
        cwd=root,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


def test_tool_imports_run_downhill():
    done = lint_imports(ROOT.parent.parent)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    ("importing", "imported"),
    [
        ("ground/decibels.py", "tepui.signals.windows"),
        ("tables/load.py", "tepui.signals.windows"),
        ("chain/waveform/ofdm.py", "tepui.chain.reception.symbols"),
        ("evidence/crest.py", "tepui.practice.chirp"),
        ("files/wav.py", "tepui.report.theme"),
        ("jobs/statements.py", "tepui.files.wav"),
        ("jobs/receive.py", "tepui.desk.keep"),
    ],
)
def test_limit_an_uphill_or_sideways_import_breaks_a_contract(tmp_path, importing, imported):
    shutil.copy(ROOT.parent.parent / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT, tmp_path / "src" / "tepui", ignore=shutil.ignore_patterns("*.csv", "*.ttf", "__pycache__"))
    module = tmp_path / "src" / "tepui" / importing
    module.write_text(module.read_text(encoding="utf-8") + f"\nimport {imported}\n", encoding="utf-8")
    done = lint_imports(tmp_path, tmp_path / "src")
    assert done.returncode == 1
    assert f"-> {imported}" in done.stdout

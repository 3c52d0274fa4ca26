"""The contract of the command line: exit codes, one sentence, an empty stdout after a failure."""

import errno
import importlib
import os
import pkgutil
import signal
import subprocess
import sys
import types

import pytest

import tepui.cli.verbs
from tepui import __version__
from tepui.cli import main as front
from tepui.cli.catalogue import VERBS
from tepui.ground.errors import FormatError, UnfinishedError

PYTHON_PROBE = """
import sys, time
from tepui.cli.main import main
main({words!r})
print(*sorted(sys.modules), sep="\\n", file=sys.stderr)
"""


@pytest.fixture
def verb(monkeypatch):
    """Installs a verb named probe whose run is the given function."""

    def install(run):
        module = types.ModuleType("tepui.cli.verbs.probe")
        module.EXAMPLE = "tepui probe"
        module.add_arguments = lambda parser: parser.add_argument("--strict", action="store_true")
        module.run = run
        monkeypatch.setitem(sys.modules, "tepui.cli.verbs.probe", module)
        monkeypatch.setitem(VERBS, "probe", "Probe.")

    monkeypatch.delenv(front.TRACE, raising=False)
    return install


def fail_with(problem):
    def run(arguments):
        print("half of the answer")
        raise problem

    return run


@pytest.mark.parametrize(
    ("problem", "code", "sentence"),
    [
        (FormatError("a.png is a picture."), 2, "a.png is a picture."),
        (UnfinishedError("the disk refuses."), 3, "the disk refuses."),
        (MemoryError(), 3, "the machine's memory is used up; close other programs or give a shorter recording."),
        (OSError(errno.ENOSPC, "No space left on device", "out.ts"), 3,
         "the disk is full (out.ts); make room and start again."),
        (FileNotFoundError(errno.ENOENT, "No such file or directory", "a.wav"), 2,
         "no such file or directory (a.wav)."),
        (PermissionError(errno.EACCES, "Permission denied", "a.wav"), 2, "permission denied (a.wav)."),
        (OSError(errno.EIO, "Input/output error"), 3, "input/output error."),
        (ZeroDivisionError("division by\nzero"), 3,
         "this is a fault of tepui's own (ZeroDivisionError: division by zero); TEPUI_TRACE=1 shows where."),
        (KeyboardInterrupt(), 130, "stopped."),
    ],
)  # fmt: skip
def test_law_every_failure_is_one_sentence_and_a_code(verb, capsys, problem, code, sentence):
    verb(fail_with(problem))
    assert front.main(["probe"]) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"tepui: {sentence}\n"


def test_law_a_trace_only_where_asked_for(verb, capsys, monkeypatch):
    verb(fail_with(ZeroDivisionError()))
    monkeypatch.setenv(front.TRACE, "1")
    assert front.main(["probe"]) == 3
    assert "Traceback" in capsys.readouterr().err
    verb(fail_with(FormatError("a.png is a picture.")))
    assert front.main(["probe"]) == 2
    assert capsys.readouterr().err == "tepui: a.png is a picture.\n"


def test_limit_a_name_cannot_break_the_line_or_command_the_terminal(verb, capsys):
    verb(fail_with(FormatError("a\nb\x1b[2J.wav cannot be opened.")))
    assert front.main(["probe"]) == 2
    assert capsys.readouterr().err == "tepui: a?b?[2J.wav cannot be opened.\n"


@pytest.mark.parametrize("code", [0, 1])
def test_law_what_succeeded_is_printed(verb, capsys, code):
    verb(lambda arguments: print("the answer") or code)
    assert front.main(["probe", "--strict"]) == code
    assert capsys.readouterr() == ("the answer\n", "")


def test_law_every_verb_has_json(verb, capsys):
    verb(lambda arguments: print(arguments.json) or 0)
    front.main(["probe", "--json"])
    front.main(["probe"])
    assert capsys.readouterr().out == "True\nFalse\n"


def test_law_signals_are_left_as_they_were(verb):
    verb(lambda arguments: 0)
    before = signal.getsignal(signal.SIGTERM)
    front.main(["probe"])
    assert signal.getsignal(signal.SIGTERM) is before


def test_limit_version_and_overview(capsys):
    assert front.main(["--version"]) == 0
    assert capsys.readouterr().out == f"tepui {__version__}\n"
    for words in ([], ["--help"], ["-h"]):
        assert front.main(words) == 0
        page = capsys.readouterr().out
        assert all(f"  {verb}" in page and summary in page for verb, summary in VERBS.items())


@pytest.mark.parametrize(
    ("word", "sentence"),
    [
        ("recieve", "recieve is no verb of tepui, did you mean receive?"),
        ("xyzzy", "xyzzy is no verb of tepui; see 'tepui --help'."),
        ("", "the first word is empty, and a verb is needed; see 'tepui --help'."),
        ("--verson", "the first word must be a verb, not --verson; see 'tepui --help'."),
    ],
)
def test_limit_an_unknown_verb_is_answered_with_the_nearest(capsys, word, sentence):
    assert front.main([word]) == 2
    assert capsys.readouterr() == ("", f"tepui: {sentence}\n")


def test_law_the_catalogue_and_the_modules_agree():
    modules = {module.name for module in pkgutil.iter_modules(tepui.cli.verbs.__path__)}
    assert set(VERBS) == modules


@pytest.mark.parametrize("verb_name", sorted(VERBS))
def test_law_every_verb_explains_itself_with_an_example(capsys, verb_name):
    assert front.main([verb_name, "--help"]) == 0
    page = capsys.readouterr().out
    example = importlib.import_module(f"tepui.cli.verbs.{verb_name}").EXAMPLE
    assert example.startswith(f"tepui {verb_name}")
    assert "example:" in page
    assert all(line in page for line in example.splitlines())
    assert "--json" in page
    assert VERBS[verb_name] in page


# A lower bound on what start-up costs is which modules it loads; time is not asserted.
def test_law_python_starts_it_too(capfd):
    import subprocess
    import sys

    assert subprocess.run([sys.executable, "-m", "tepui", "--version"], check=False).returncode == 0
    assert capfd.readouterr().out.split() == ["tepui", __version__]


@pytest.mark.parametrize("words", [["--version"], ["--help"], *([verb, "--help"] for verb in sorted(VERBS)), ["xyzzy"]])
def test_law_help_loads_nothing_heavy(words):
    done = subprocess.run(
        [sys.executable, "-c", PYTHON_PROBE.format(words=words)], capture_output=True, text=True, check=True
    )
    loaded = set(done.stderr.split())
    assert "tepui.cli.main" in loaded
    roots = {name.split(".")[0] for name in loaded}
    assert not roots & {"numpy", "numba", "scipy", "matplotlib", "av", "PIL", "platformdirs", "asyncio", "sqlite3"}
    assert not {
        name for name in loaded if name.startswith(("tepui.desk", "tepui.jobs", "tepui.chain", "tepui.signals"))
    }


WRITER = """
import sys, time, types
from pathlib import Path
from tepui.cli import main as front
from tepui.desk.keep import kept_stream

def run(arguments):
    print("half of the answer")
    with kept_stream(Path(sys.argv[1])) as stream:
        stream.write(b"half")
        stream.flush()
        print("writing", file=sys.stderr, flush=True)
        time.sleep(60)

module = types.ModuleType("probe")
module.EXAMPLE, module.add_arguments, module.run = "", lambda parser: None, run
sys.modules["tepui.cli.verbs.probe"] = module
front.VERBS["probe"] = "Probe."
sys.exit(front.main(["probe"]))
"""


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_law_stopping_leaves_nothing_half_written(tmp_path, name):
    if os.name == "nt":  # there a console event takes the place of a signal and cannot be sent to one process
        return
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(tmp_path / "out.ts")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert writer.stderr.readline() == "writing\n"
    assert len(list(tmp_path.iterdir())) == 1
    writer.send_signal(getattr(signal, name))
    out, err = writer.communicate(timeout=20)
    assert (writer.returncode, out, err) == (130, "", "tepui: stopped.\n")
    assert list(tmp_path.iterdir()) == []


def test_law_a_reader_that_leaves_is_no_failure(tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "tepui.cli.main", "--help"], stdout=writing, stderr=subprocess.PIPE, check=False
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize(("closed", "left"), [(1, "stderr"), (2, "stdout")])
def test_law_what_is_meant_for_a_closed_stream_goes_nowhere(tmp_path, closed, left):
    if os.name == "nt":  # descriptors are closed by the shell's own words there
        return
    command = [sys.executable, "-m", "tepui.cli.main", "receive", "missing.wav"]
    done = subprocess.run(
        ["/bin/sh", "-c", f'exec "$@" {closed}>&-', "sh", *command], cwd=tmp_path, capture_output=True, check=False
    )
    assert done.returncode == 2
    assert (getattr(done, left) == b"") is (closed == 2)


def test_law_a_full_disk_behind_stdout_is_one_sentence():
    if not os.path.exists("/dev/full"):
        return
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "tepui.cli.main", "--help"], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert (done.returncode, done.stderr) == (3, b"tepui: the disk is full; make room and start again.\n")


def test_law_a_terminal_that_cannot_show_a_sign_gets_a_question_mark():
    script = "import sys; from tepui.cli import main as f; f.VERBS['x'] = '± µ'; sys.exit(f.main(['--help']))"
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=True,
    )
    assert b"? ?" in done.stdout


@pytest.mark.parametrize(("name", "says"), [("missing.toml", "neither a station file"), ("notes.txt", ".toml")])
def test_message_of_a_bench_on_what_is_no_station(tmp_path, capsys, name, says):
    (tmp_path / "notes.txt").write_text("no station\n", encoding="utf-8")
    assert front.main(["bench", str(tmp_path / name)]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1

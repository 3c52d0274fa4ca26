"""The set-up step: compile every kernel once, in several processes, and say so before it starts.

A kernel module compiles as it is imported (see ground.kernels), so each process imports one module after another
and leaves the result in the cache that all later runs load from.
"""

import os
import queue
import subprocess
import sys
import threading
import time
from pathlib import Path

from tepui.ground.errors import UnfinishedError
from tepui.ground.kernels import (
    PACKAGE_ROOT,
    cache_folder,
    kernel_modules,
    kernels_ready,
    mark_kernels_ready,
    remove_old_caches,
)
from tepui.ground.tasks import default_workers

# Processor time of one kernel and of starting one process, seen on the README's machine when others used it too; for
# the announcement only.
SECONDS_PER_KERNEL = 0.5
SECONDS_TO_START = 1.0

WORKER = """
import importlib, sys
for name in sys.stdin:
    importlib.import_module(name.strip())
    print(name.strip(), flush=True)
"""


def ensure_kernels(*, processes: int | None = None) -> None:
    """Compile what is not yet compiled, with a line before and after it; a fraction of a second where all is there.

    raises  UnfinishedError, naming the module that would not compile
    """
    if kernels_ready():
        return
    modules = _largest_first(kernel_modules())
    count = min(processes or default_workers(), len(modules)) or 1
    _say(f"compiling kernels, once, about {_expected_s(modules, count):.0f} s")
    begun_s = time.monotonic()
    compile_modules(modules, processes=count)
    mark_kernels_ready()
    removed = remove_old_caches()
    swept = f", {removed} old cache{'s' if removed > 1 else ''} removed" if removed else ""
    _say(f"kernels compiled in {time.monotonic() - begun_s:.0f} s{swept}")


def compile_modules(modules: list[str], *, processes: int) -> None:
    """Import every module in one of ``processes`` fresh processes, so that the cache holds its kernels.

    raises  UnfinishedError, naming the module that would not compile
    """
    todo: queue.SimpleQueue[str] = queue.SimpleQueue()
    for name in modules:
        todo.put(name)
    failures: list[str] = []
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(cache_folder())}
    workers = [
        subprocess.Popen(
            [sys.executable, "-P", "-c", WORKER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env=environment,
        )
        for _ in range(processes)
    ]
    feeders = [threading.Thread(target=_feed, args=(worker, todo, failures), daemon=True) for worker in workers]
    try:
        for feeder in feeders:
            feeder.start()
        for feeder in feeders:
            feeder.join()
    finally:
        for worker in workers:
            worker.kill()
            worker.communicate()
    if failures:
        raise UnfinishedError(failures[0])


def _feed(worker: "subprocess.Popen[str]", todo: "queue.SimpleQueue[str]", failures: list[str]) -> None:
    assert worker.stdin is not None
    assert worker.stdout is not None
    assert worker.stderr is not None
    while not failures:
        try:
            name = todo.get_nowait()
        except queue.Empty:
            return
        try:
            worker.stdin.write(name + "\n")
            worker.stdin.flush()
            answer = worker.stdout.readline()
        except OSError:
            answer = ""
        if answer.strip() != name:
            worker.kill()
            lines = worker.stderr.read().strip().splitlines() or ["no message"]
            failures.append(f"{name} would not compile ({lines[-1]}); this is a fault of tepui or of its set-up.")


def _source(module: str) -> Path:
    return PACKAGE_ROOT.parent.joinpath(*module.split(".")).with_suffix(".py")


def _largest_first(modules: list[str]) -> list[str]:
    return sorted(modules, key=lambda name: _source(name).stat().st_size, reverse=True)


def _expected_s(modules: list[str], processes: int) -> float:
    kernels = sum(_source(name).read_text(encoding="utf-8").count("@kernel(") for name in modules)
    return SECONDS_TO_START + kernels * SECONDS_PER_KERNEL / processes


def _say(sentence: str) -> None:
    print(f"tepui: {sentence}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    ensure_kernels()

"""Compiled kernels: one decorator, one cache that survives between runs.

Theory  A kernel compiled for stated argument types can be kept on disk; the cache is valid for one set of kernel
        sources, one compiler version and one kind of CPU, so its folder is named by a hash of the three.
Source  numba's documentation on NUMBA_CACHE_DIR (read when numba is first imported) and on ``cache=True``: an entry
        is found again by the module's folder and by the content of its file, whatever else in the tree changed.
Holds   Modules named ``*kernels.py`` in this package hold all kernels. Signatures are always given, so importing
        such a module compiles or loads all of it. A kernel takes what other modules know as arguments: a constant
        it captures from elsewhere is frozen into the cache, which sees the kernel sources only.
"""

import hashlib
import os
import platform
import shutil
import sys
from collections.abc import Callable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

Function = TypeVar("Function", bound=Callable[..., Any])
PACKAGE_ROOT = Path(__file__).resolve().parent.parent


def kernel_sources() -> list[Path]:
    """Every module that holds kernels, in a fixed order."""
    return sorted(path for path in PACKAGE_ROOT.rglob("*kernels.py") if path.is_file())


def kernel_modules() -> list[str]:
    """Dotted names of the kernel modules, this one left out."""
    paths = [path.relative_to(PACKAGE_ROOT.parent) for path in kernel_sources()]
    return [".".join(path.with_suffix("").parts) for path in paths if path.parts[1] != "ground"]


def _cpu() -> str:
    try:
        for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
            if line.startswith("flags"):
                return line
    except OSError:
        pass
    return f"{platform.machine()} {platform.processor()}"


@cache
def cache_folder() -> Path:
    """Where compiled kernels of exactly these sources, this compiler and this CPU are kept."""
    if "NUMBA_CACHE_DIR" in os.environ:
        return Path(os.environ["NUMBA_CACHE_DIR"])
    digest = hashlib.sha256()
    for path in kernel_sources():
        digest.update(path.relative_to(PACKAGE_ROOT).as_posix().encode() + b"\0" + path.read_bytes())
    words = f"{version('numba')} {version('numpy')} {sys.version_info[:2]} {_cpu()}"
    digest.update(words.encode())
    return kernels_home() / digest.hexdigest()[:20]


def kernels_home() -> Path:
    """The folder that holds one cache per tree, compiler and CPU."""
    from platformdirs import user_cache_path

    return user_cache_path("tepui", appauthor=False) / "kernels"


def _marker() -> Path:
    place = hashlib.sha256(str(PACKAGE_ROOT).encode()).hexdigest()[:12]
    return cache_folder() / f"complete-{place}"


def kernels_ready() -> bool:
    """Whether every kernel of this tree, in this place, has been compiled and kept."""
    return _marker().is_file()


def mark_kernels_ready() -> None:
    """Note that every kernel has been compiled; the set-up step's last act."""
    if cache_folder().is_dir():
        _marker().touch()


def remove_old_caches(*, keep: int = 3) -> int:
    """Remove all but the ``keep`` most recently used caches; returns how many went."""
    home = kernels_home()
    if not home.is_dir():
        return 0
    folders = sorted((path for path in home.iterdir() if path.is_dir()), key=lambda path: path.stat().st_mtime)
    old = [path for path in folders[:-keep] if path != cache_folder()]
    for path in old:
        shutil.rmtree(path, ignore_errors=True)
    return len(old)


@cache
def _choose_cache() -> bool:
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)  # remove_old_caches goes by it
    except OSError:
        return False
    if not os.access(folder, os.W_OK):
        return False
    os.environ["NUMBA_CACHE_DIR"] = str(folder)
    import numba

    # A library may have imported numba before us, and so before the environment named our folder.
    numba.config.CACHE_DIR = str(folder)
    return True


def kernel(signature: str | list[str], *, fast: bool = False) -> Callable[[Function], Function]:
    """Compile a function for the given argument types, without the interpreter's lock, and keep it.

    signature  numba types, for instance ``"void(float32[::1], int8[::1])"``; several as a list
    fast       let the compiler reorder floating-point sums (faster; the last digits differ between CPUs)
    """
    keep = _choose_cache()
    import numba

    flags = {"reassoc", "contract", "nsz", "arcp"} if fast else False
    return numba.njit(signature, cache=keep, nogil=True, fastmath=flags, error_model="numpy")  # type: ignore[no-any-return]


def part(function: Function) -> Function:
    """A small function that kernels call; it is compiled into them and has no life of its own."""
    _choose_cache()
    import numba

    return numba.njit(nogil=True, fastmath={"reassoc", "contract", "nsz", "arcp"}, error_model="numpy")(function)  # type: ignore[no-any-return]

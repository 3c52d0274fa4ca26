"""Compiled kernels: one decorator, one cache that survives between runs.

Theory  A kernel compiled for stated argument types can be kept on disk; the cache is valid for one set of kernel
        sources, one compiler version and one kind of CPU, so its folder is named by a hash of the three.
Source  numba's documentation on NUMBA_CACHE_DIR: read once, when numba is first imported.
Holds   Modules named ``*kernels.py`` in this package hold all kernels, and import this module before anything
        that imports numba. Signatures are always given, so importing such a module compiles or loads all of it.
"""

import hashlib
import os
import platform
import shutil
import sys
from collections.abc import Callable
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


def cache_folder() -> Path:
    """Where compiled kernels of exactly this tree, compiler and CPU are kept."""
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


def _choose_cache() -> None:
    if "NUMBA_CACHE_DIR" not in os.environ and "numba" not in sys.modules:
        folder = cache_folder()
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            return
        os.environ["NUMBA_CACHE_DIR"] = str(folder)


def kernel(signature: str | list[str], *, fast: bool = False) -> Callable[[Function], Function]:
    """Compile a function for the given argument types, without the interpreter's lock, and keep it.

    signature  numba types, for instance ``"void(float32[::1], int8[::1])"``; several as a list
    fast       let the compiler reorder floating-point sums (faster; the last digits differ between CPUs)
    """
    _choose_cache()
    import numba

    flags = {"reassoc", "contract", "nsz", "arcp"} if fast else False
    return numba.njit(signature, cache=True, nogil=True, fastmath=flags, error_model="numpy")  # type: ignore[no-any-return]

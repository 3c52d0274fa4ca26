"""The one seam for parallel work: the same function over many items, results in the items' order.

Theory  Kernels release the interpreter's lock, so threads scale; a cluster is the same call with another executor.
Source  common practice (no published source); concurrent.futures is the interface.
Holds   Functions without shared state. Results never depend on the number of workers.
"""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")


def default_workers() -> int:
    """How many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))  # type: ignore[attr-defined,unused-ignore]
    except AttributeError:
        return os.cpu_count() or 1


def map_tasks(
    function: Callable[[Item], Outcome],
    items: Iterable[Item],
    *,
    workers: int | None = None,
    executor: Executor | None = None,
) -> list[Outcome]:
    """Apply ``function`` to every item; outcomes come back in the items' order.

    workers   number of threads; None takes what the machine offers, 1 runs here without a pool
    executor  any concurrent.futures executor (a cluster's, say) to use in place of threads
    raises    whatever ``function`` raises first, in the items' order
    """
    if executor is not None:
        return list(executor.map(function, items))
    count = default_workers() if workers is None else workers
    todo = list(items)
    if count <= 1 or len(todo) <= 1:
        return [function(item) for item in todo]
    with ThreadPoolExecutor(max_workers=min(count, len(todo))) as pool:
        return list(pool.map(function, todo))

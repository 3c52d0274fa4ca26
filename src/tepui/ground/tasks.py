"""The one seam for parallel work: the same function over many items, results in the items' order.

Theory  Kernels release the interpreter's lock, so threads scale; a cluster is the same call with another executor.
Source  common practice (no published source); concurrent.futures is the interface.
Holds   Functions without shared state. Results never depend on the number of workers.
"""

import itertools
import os
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, ThreadPoolExecutor
from functools import cache
from typing import TypeVar, cast

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")


def default_workers() -> int:
    """How many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))  # type: ignore[attr-defined,unused-ignore]
    except AttributeError:
        return os.cpu_count() or 1


@cache
def _shared_threads() -> ThreadPoolExecutor:
    """Threads that outlive a call: starting them anew costs more than a short task."""
    return ThreadPoolExecutor(max_workers=4 * default_workers(), thread_name_prefix="tepui")


def map_tasks(
    function: Callable[[Item], Outcome],
    items: Iterable[Item],
    *,
    workers: int | None = None,
    executor: Executor | None = None,
) -> list[Outcome]:
    """Apply ``function`` to every item; outcomes come back in the items' order.

    workers   number of threads, the caller's own among them; None takes what the machine offers, 1 runs here alone
    executor  any concurrent.futures executor (a cluster's, say) to use in place of threads
    raises    whatever ``function`` raises first, in the items' order
    """
    if executor is not None:
        return list(executor.map(function, items))
    count = default_workers() if workers is None else workers
    todo = list(items)
    if count <= 1 or len(todo) <= 1:
        return [function(item) for item in todo]
    outcomes: list[Outcome | None] = [None] * len(todo)
    failures: list[tuple[int, BaseException]] = []
    numbers = itertools.count()

    def work() -> None:
        while (number := next(numbers)) < len(todo) and not failures:
            try:
                outcomes[number] = function(todo[number])
            except BaseException as failure:
                failures.append((number, failure))

    # The caller works too, so a task may itself map tasks: nothing ever waits for a thread that is not there.
    helpers = [_shared_threads().submit(work) for _ in range(min(count, len(todo)) - 1)]
    work()
    for helper in helpers:
        if not helper.cancel():
            helper.result()
    if failures:
        raise min(failures, key=lambda pair: pair[0])[1]
    return cast(list[Outcome], outcomes)

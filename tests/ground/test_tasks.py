"""Work in parallel gives what work in order gives."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from tepui.ground.tasks import default_workers, map_tasks


def slow_square(n):
    time.sleep(0.002 * (5 - n % 5))
    return n * n


@pytest.mark.parametrize("workers", [None, 1, 2, 7])
def test_law_results_keep_the_order_whatever_the_workers(workers):
    assert map_tasks(slow_square, range(12), workers=workers) == [n * n for n in range(12)]


def test_law_another_executor_gives_the_same():
    with ThreadPoolExecutor(3) as pool:
        assert map_tasks(slow_square, range(6), executor=pool) == [0, 1, 4, 9, 16, 25]


def test_law_two_workers_do_work_at_the_same_time():
    meeting = threading.Barrier(2, timeout=10)
    assert len(map_tasks(lambda _: meeting.wait(), range(2), workers=2)) == 2


def test_law_a_failure_comes_out():
    with pytest.raises(ZeroDivisionError):
        map_tasks(lambda n: 1 // n, [1, 0, 2], workers=2)
    assert default_workers() >= 1

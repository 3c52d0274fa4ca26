"""The ring between two processes, both ends in one: numbers in, the same numbers out, or a count of what was lost."""

import threading
from multiprocessing.shared_memory import SharedMemory

import numpy as np
import pytest

from tepui.instruments.ring import HEAD_BYTES, RING_BYTES, Ring

SAMPLE = 8  # bytes: one number of 64 bits


@pytest.fixture
def ends():
    memory = SharedMemory(create=True, size=HEAD_BYTES + RING_BYTES)
    other = SharedMemory(memory.name)
    lock = threading.Lock()
    writer, reader = (Ring(one, lock, sample_bytes=SAMPLE) for one in (memory, other))
    yield writer, reader
    writer.close()
    reader.close()
    memory.unlink()


def write(ring, count, *, start, after_break=False):
    done = 0
    while done < count:
        space = ring.space(count - done)
        n = len(space) // SAMPLE
        space.view(np.int64)[:] = np.arange(start + done, start + done + n)
        ring.advance(n, after_break=after_break and done == 0)
        done += n


def numbers(given):
    return given.stored.view(np.int64)


def test_law_what_went_in_comes_out_in_order_across_the_end(ends):
    writer, reader = ends
    total, step = 3 * writer.capacity, writer.most - 777
    for start in range(0, total, step):
        write(writer, step, start=start)
        got = numbers(reader.read(step))
        while len(got) < step:
            got = np.concatenate([got, numbers(reader.read(step - len(got)))])
        assert (got == np.arange(start, start + step)).all()
    assert reader.read(1) is None


def test_law_overrun_is_counted_exactly_and_nothing_old_is_given(ends):
    writer, reader = ends
    write(writer, 100, start=0)
    assert (numbers(reader.read(40)) == np.arange(40)).all()
    total = writer.capacity + writer.capacity // 2
    write(writer, total - 100, start=100)
    given = reader.read(1000)
    assert numbers(given)[0] == 40 + given.lost
    assert numbers(given)[0] > total - writer.capacity
    assert (np.diff(numbers(given)) == 1).all()
    assert reader.read(10).lost == 0


def test_law_a_new_setting_hides_what_was_before_it(ends):
    writer, reader = ends
    write(writer, 500, start=0)
    writer.begin_epoch()
    write(writer, 50, start=500)
    reader.seek_epoch()
    assert (numbers(reader.read(1000)) == np.arange(500, 550)).all()


def test_law_breaks_stand_where_they_were(ends):
    writer, reader = ends
    write(writer, 300, start=0)
    write(writer, 200, start=300, after_break=True)
    assert reader.read(250).breaks == ()
    assert reader.read(250).breaks == (50,)

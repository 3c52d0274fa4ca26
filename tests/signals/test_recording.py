"""A recording as a reader of blocks, and the screen its samples pass."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.ground.errors import FormatError, RangeError
from tepui.signals.recording import (
    Recording,
    SampleScreen,
    Stretch,
    recording_from_samples,
    require_usable_samples,
)


def noise(n, seed=1):
    rng = np.random.default_rng(seed)
    return ((rng.standard_normal(n) + 1j * rng.standard_normal(n)) * 0.1).astype(np.complex64)


def recording_as(samples, *, sample_type="ci16_le"):
    """The same samples, said to be stored as ``sample_type``."""
    plain = recording_from_samples("bench", samples, sample_rate_hz=8e6)
    return Recording(
        name="bench",
        sample_rate_hz=8e6,
        n_samples=plain.n_samples,
        stretches=plain.stretches,
        sample_type=sample_type,
        source=plain.source,
    )


@given(n=st.integers(1, 300), size=st.integers(1, 400))
def test_law_blocks_put_together_are_the_recording(n, size):
    samples = noise(n)
    recording = recording_from_samples("x", samples, sample_rate_hz=1e6)
    blocks = list(recording.blocks(size))
    assert all(len(block) == size for block in blocks[:-1])
    assert np.array_equal(np.concatenate(blocks), samples)


def test_limit_reads_are_cut_to_what_exists():
    recording = recording_from_samples("x", noise(10), sample_rate_hz=1e6, frequency_hz=437e6)
    assert len(recording.read(7, 100)) == 3
    assert len(recording.read(10, 5)) == 0
    assert len(recording.read(99, 5)) == 0
    assert recording.centre_hz == 437e6
    assert recording.duration_s == 10e-6
    assert recording.read(0, 10).dtype == np.complex64
    with pytest.raises(RangeError, match="not 5 from -1"):
        recording.read(-1, 5)


def test_limit_a_recording_cannot_be_changed_from_outside():
    samples = noise(10)
    recording = recording_from_samples("x", samples, sample_rate_hz=1e6, practice=True)
    samples[:] = 0
    assert recording.practice
    assert recording.read(0, 10).any()
    with pytest.raises(ValueError, match="read-only"):
        recording.read(0, 10)[0] = 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"sample_rate_hz": 0.0}, "sample_rate_hz must be a number above zero in Hz, not 0."),
        ({"stretches": ()}, "x must hold at least one sample in one stretch."),
        ({"stretches": (Stretch(start=0, count=6), Stretch(start=5, count=5))}, "the stretch at sample 5 overlaps"),
        ({"stretches": (Stretch(start=0, count=11),)}, "leaves the recording"),
    ],
)
def test_limit_contradictions_are_refused(changes, sentence):
    plain = recording_from_samples("x", noise(10), sample_rate_hz=1e6)
    parts = {
        "name": "x",
        "sample_rate_hz": 1e6,
        "n_samples": 10,
        "stretches": plain.stretches,
        "sample_type": "cf32",
        "source": plain.source,
    }
    with pytest.raises(RangeError, match=sentence):
        Recording(**{**parts, **changes})


@pytest.mark.parametrize(("start", "count", "frequency_hz"), [(-1, 5, None), (0, 0, None), (0, 5, float("nan"))])
def test_limit_stretches_are_checked(start, count, frequency_hz):
    with pytest.raises(RangeError, match="stretch"):
        Stretch(start=start, count=count, frequency_hz=frequency_hz)


def test_limit_in_memory_needs_one_row():
    with pytest.raises(RangeError, match="one row"):
        recording_from_samples("x", np.ones((2, 3)), sample_rate_hz=1e6)
    with pytest.raises(RangeError, match="at least one sample"):
        recording_from_samples("x", [], sample_rate_hz=1e6)


def test_limit_the_screen_counts_zeros_and_full_scale():
    # By hand: two zero samples, three with an axis at a last code (+1 or -1), one of them with both.
    samples = np.array([0, 0, 1, -1j, 1 - 1j, 0.5, -0.99 + 0.1j], dtype=np.complex64)
    screen = SampleScreen(recording_as(samples))
    screen.look(samples[:3], start=0)
    screen.look(samples[3:], start=3)
    counts = screen.finish()
    assert (counts.n_samples, counts.n_zero, counts.n_full_scale, counts.peak) == (7, 2, 3, 1.0)


def test_limit_floating_point_has_no_known_full_scale():
    samples = np.array([3 + 4j, -0.0 + 0.0j], dtype=np.complex64)
    screen = SampleScreen(recording_as(samples, sample_type="cf32_le"))
    screen.look(samples, start=0)
    counts = screen.finish()
    assert counts.n_full_scale is None
    assert counts.n_zero == 1
    assert counts.peak == 4.0


@pytest.mark.parametrize("bad", [complex("nan"), complex(0, float("inf")), complex(float("-inf"), 0)])
def test_limit_the_first_bad_sample_is_named(bad):
    samples = noise(1000)
    samples[[800, 900]] = bad
    recording = recording_as(samples, sample_type="cf32_le")
    screen = SampleScreen(recording)
    screen.look(samples[:500], start=0)
    with pytest.raises(FormatError) as refusal:
        screen.look(samples[500:], start=500)
    assert str(refusal.value) == (
        "bench: sample 800 (0.000100 s) is not a finite number, and nothing can be computed from it; "
        "record or convert it again."
    )
    with pytest.raises(FormatError, match="sample 800 "):
        require_usable_samples(recording)


def test_limit_nothing_but_zeros():
    with pytest.raises(FormatError) as refusal:
        require_usable_samples(recording_as(np.zeros(70000, np.complex64)))
    assert str(refusal.value) == (
        "bench holds nothing but zeros (70000 samples); check the receiver and its input, and record again."
    )


def test_limit_nothing_but_one_value():
    # An unsigned file of zero bytes reads -1 - 1j throughout.
    with pytest.raises(FormatError, match="nothing but one and the same value"):
        require_usable_samples(recording_as(np.full(70000, -1 - 1j, np.complex64)))


def test_limit_a_late_start_is_no_fault():
    samples = np.zeros(300_000, np.complex64)
    samples[299_990] = 0.1  # between all the places a quick look probes
    require_usable_samples(recording_as(samples))

import pytest
import scipy.signal

from tepui.ground.errors import ChoiceError
from tepui.signals.windows import WINDOWS, effective_averages, noise_bandwidth_bins, window_weights


# Harris 1978, Proc. IEEE 66, table 1: equivalent noise bandwidth in bins (rectangle, Hanning alpha = 2,
# 4-sample Blackman-Harris at -92 dB). Heinzel, Rüdiger and Schilling 2002, appendix D: FTSRS flat top 3.7702.
# Both from memory.
@pytest.mark.parametrize(
    ("name", "printed", "digit"),
    [("rectangular", 1.00, 0.005), ("hann", 1.50, 0.005), ("blackman-harris", 2.00, 0.005), ("flat-top", 3.7702, 5e-5)],
)
def test_published_noise_bandwidths(name, printed, digit):
    assert noise_bandwidth_bins(window_weights(name, 4096)) == pytest.approx(printed, abs=digit)


# scipy.signal.get_window (scipy 1.13 or later), periodic windows
@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("hann", "hann"),
        ("blackman-harris", "blackmanharris"),
        ("flat-top", ("general_cosine", [1, 1.93, 1.29, 0.388, 0.028])),
        ("rectangular", "boxcar"),
    ],
)
def test_tool_weights_equal_an_independent_library(name, other):
    theirs = scipy.signal.get_window(other, 500, fftbins=True)
    assert window_weights(name, 500) == pytest.approx(theirs / theirs.max(), abs=1e-12)


# Welch 1967: two half-overlapped Hann segments share (1/6)^2 of their variance, so many are worth K / (1 + 2/36).
def test_published_overlap_of_hann_segments():
    weights = window_weights("hann", 512)
    assert effective_averages(weights, hop=256, n_segments=10_000) == pytest.approx(10_000 / (1 + 2 / 36), rel=1e-4)


def test_limit_segments_without_overlap_are_independent():
    assert effective_averages(window_weights("hann", 64), hop=64, n_segments=9) == pytest.approx(9)


def test_a_name_that_is_no_window_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match=r"window must be .*hann.*not hanning\. Nearest: hann\."):
        window_weights("hanning", 64)


def test_locked_names():
    assert list(WINDOWS) == ["rectangular", "hann", "blackman-harris", "flat-top"]

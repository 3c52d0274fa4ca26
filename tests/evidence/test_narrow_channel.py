"""The channel of a set found blind, on the cut sweeps (data/sweeps/README.md), and what contradicts it."""

import dataclasses

import pytest
from sweep_signals import cut_sweep, truth

from tepui.evidence.narrow_channel import RoughEdges, place_channel, rough_edges, strongest
from tepui.evidence.slice_symbols import slice_symbols
from tepui.jobs.set_grouping import grouped


@pytest.fixture(scope="module")
def sweep():
    return cut_sweep("hot_att6")


def bare(recordings):
    return [
        dataclasses.replace(one, stretches=tuple(dataclasses.replace(part, settings={}) for part in one.stretches))
        for one in recordings
    ]


@pytest.mark.parametrize("named", [True, False])
def test_tool_channel_of_a_sweep(sweep, named):
    recordings = sweep if named else bare(sweep)
    known = truth()
    found = place_channel(
        rough_edges(recordings), slice_symbols(strongest(recordings, 3)), width_hz=None, centre_hz=None
    )
    assert (found.width_hz, found.n_fft) == (pytest.approx(7e6), 2048)
    assert (found.symbols.useful_s, found.symbols.guard_s) == pytest.approx((known["useful_s"], known["guard_s"]))
    off_hz = known["channel_centre_hz"] * known["sweeps"]["hot"]["crystal_ppm"] * 1e-6
    assert found.centre_hz == pytest.approx(known["channel_centre_hz"] - off_hz, abs=20e3)


def test_law_what_is_told_and_not_seen_is_refused(sweep):
    edges = rough_edges(sweep)
    assert "is 6.67 MHz wide, and the carriers of a 8 MHz channel fill 7.61" in place_channel(
        edges, None, width_hz=8e6, centre_hz=None
    )
    assert "too far from 1276.000 MHz for a receiver's error" in place_channel(
        edges, None, width_hz=7e6, centre_hz=1276e6
    )
    assert "does not show both edges" in place_channel(
        RoughEdges(lower_hz=1e9, upper_hz=None), None, width_hz=None, centre_hz=None
    )


def test_law_sets_and_single_recordings(sweep):
    found = grouped(sweep, width_hz=None)
    assert [name for name, _ in found.sets] == ["hot_att6"]
    assert found.single == ()
    assert grouped(sweep[:1], width_hz=None).sets == ()
    lost = dataclasses.replace(
        sweep[0], name="lost", stretches=(dataclasses.replace(sweep[0].stretches[0], frequency_hz=None),)
    )
    assert grouped([*sweep, lost], width_hz=None).single == (lost,)
    assert grouped(sweep, width_hz=0.333e6).sets == ()  # shown whole in each


def test_law_drive_settings_are_sets_of_their_own(sweep):
    def driven(recordings, setting):
        return [
            dataclasses.replace(
                one,
                stretches=tuple(
                    dataclasses.replace(part, settings={**part.settings, "setting_dbm": setting})
                    for part in one.stretches
                ),
            )
            for one in recordings
        ]

    found = grouped([*driven(sweep, 3.0), *driven(sweep, 6.0)], width_hz=None)
    assert [name for name, _ in found.sets] == ["hot_att6 at 3 dBm", "hot_att6 at 6 dBm"]

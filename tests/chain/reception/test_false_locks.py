"""A few of the trials of benchmarks/false_locks.py; the thousand are a long run of their own."""

import pytest
from false_locks import KINDS, signal_of

from tepui.chain.reception.receive import receive


@pytest.mark.parametrize("trial", range(600, 600 + 2 * len(KINDS)))
def test_law_what_is_not_dvbt_is_not_found(trial):
    kind, recording = signal_of(trial)
    assert not receive(recording, workers=1).found, kind

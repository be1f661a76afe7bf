"""Faults of the engine, slips of the hands, a cable that comes off, a kill, and second thoughts.

A sample of seeds; ``long.py`` plays as many as there is time for.
"""

import pytest

from tests.journeys.families import FAMILIES, play

QUICK = [(name, seed) for name in FAMILIES if name != "screen" for seed in range(2)]


@pytest.mark.parametrize(("family", "seed"), QUICK)
def test_a_journey_with_trouble_comes_to_its_end_and_to_the_truth(tmp_path, family, seed):
    if family == "killed":
        pytest.importorskip("signal")
    told = play(tmp_path, family, seed)
    assert not told.faults
    assert not told.wrong_clear

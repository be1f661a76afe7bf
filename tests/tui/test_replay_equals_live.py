"""A replay comes to the events that the live sitting came to, to the last bit."""

from pathlib import Path

import pytest

from captures.record.replay import Played
from captures.record.verify import State, verify
from drivers.simulated.scenario import scenario_names
from tests.tui.fumbling import fumble
from tui.cli import main
from tui.commands.library import Made, make_capture


def assert_replays(path: Path) -> int:
    assert verify(path).state is State.WHOLE
    with Played(path) as played:
        count = sum(len(moment.events) for moment in played.moments())
        comparison = played.replay.comparison
        assert comparison.exact, [d.sentence for d in comparison.differences[:5]]
        assert comparison.equal
        assert not played.reasons()
    return count


@pytest.mark.parametrize("batch", range(10))
def test_hundreds_of_fumbled_sittings_replay_to_the_last_bit(batch, tmp_path):
    kinds = set()
    for seed in range(batch * 30, batch * 30 + 30):
        for path in fumble(tmp_path, seed):
            assert_replays(path)
            kinds |= {line.split('"', 4)[3] for line in path.read_text("utf-8").splitlines()}
    # All that can come in has come in, in each batch.
    assert kinds >= {"reading", "told", "meter-set", "gap", "card-began", "passed-over", "hold"}


@pytest.mark.parametrize("name", scenario_names())
def test_every_scenario_replays_as_the_driver_read_it(name, tmp_path):
    for seed in (3, 4):
        path = tmp_path / f"{seed}.jsonl"
        make_capture(Made(scenario=name, seed=seed, nplc=3), path)
        assert assert_replays(path) > 15


def test_a_job_of_the_demo_replays(tmp_path, capsys):
    assert main(["demo", "--plain", "--jobs", str(tmp_path), "--seed", "6"]) == 0
    (job,) = tmp_path.iterdir()
    capsys.readouterr()
    assert main(["replay", str(job), "--check"]) == 0
    assert "each as it was recorded" in capsys.readouterr().out

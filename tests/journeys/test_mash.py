"""Seeded random keys over every screen there is: nothing breaks, nothing is made up.

``keys_a_run`` is small here; ``MASH_KEYS=10000 pytest tests/journeys/test_mash.py`` presses more.
"""

import asyncio
import contextlib
import json
import os
import random
from concurrent.futures import CancelledError
from typing import Any

import pytest

from captures.job.job import LOG_NAME, Job
from captures.job.verify_job import verify_job
from captures.record.verify import State
from meterlink.events import Evidence
from tests.journeys.cues import Cues
from tests.journeys.engines import draw
from tests.journeys.hands import Hurried
from tests.journeys.journey import PLAYED_CARDS, Bench
from tests.journeys.screens import Screen, keys_of
from tui.screen.keys import KEYS, ON_SCREEN
from tui.settings import PROFILES

KEYS_A_RUN = int(os.environ.get("MASH_KEYS", "400"))
SETTING = {key.key for key in ON_SCREEN if key.name in {"gestures", "sound", "speech", "theme"}}
LEAVING = {"q", "ctrl+q", "ctrl+c"}
NAMED = (
    *("space", "enter", "escape", "tab", "shift+tab", "up", "down", "left", "right"),
    *("home", "end", "pageup", "pagedown", "backspace", "delete", "ctrl+u", "f1", "ctrl+g"),
)
EVERY = (
    *keys_of("abcdefghijklmnoprstuvwxyzABCXYZ0123456789.,-/?!°Ω%"),
    *NAMED,
    *(key.key for key in (*KEYS, *ON_SCREEN)),
    *(key.asked for key in (*KEYS, *ON_SCREEN) if key.asked),
)
MASHED = sorted(set(EVERY) - LEAVING - SETTING)


async def mash(face: Screen, keys: list[str], rng: random.Random, count: int, done: list[str]):
    """Press ``count`` of ``keys``, or as many as it takes to leave the screen."""
    for _ in range(count):
        if face.app._exit or not face.app.is_running:
            return
        done.append(rng.choice(keys))
        await face._press(done[-1])
        if rng.random() < 0.2:
            await asyncio.sleep(0.001)


def mashed(face: Screen, rng: random.Random, count: int, keys: list[str] = MASHED) -> int:
    """Press keys a handful at a time, so that no single wait is long; return how many."""
    done: list[str] = []
    while len(done) < count and face.alive():
        with contextlib.suppress(RuntimeError, CancelledError):  # a key may have left the screen
            face.do(mash(face, keys, rng, min(100, count - len(done)), done))
    return len(done)


@pytest.mark.parametrize("size", ["80x24", "140x40"])
@pytest.mark.parametrize("seed", [1, 2])
def test_keys_on_the_bench_make_nothing_up(tmp_path, seed, size):
    rng = random.Random(f"bench {seed} {size}")
    patient = draw(PROFILES.get("pump-set-demo"), seed)
    words = ["--card", rng.choice(PLAYED_CARDS), "--profile", "pump-set-demo", "--new", "pump 7"]
    with Bench(tmp_path, patient) as bench, bench.face(size, words) as face:
        cues = Cues(tmp_path / "jobs", bench.clock.now, face.alive)
        cues.until(lambda: bool(cues.asked))
        (file,) = tmp_path.rglob("settings.toml")
        before = file.read_bytes()
        assert mashed(face, rng, KEYS_A_RUN) == KEYS_A_RUN
        assert face.alive(), face.errors()
        assert not face.errors()
        assert file.read_bytes() == before
        cues.look()
    assert face.fault is None
    judged = cues.after(0, "verdict")
    # The tips touched nothing all the while: whatever was judged was typed or said, and says so.
    assert {verdict["evidence"] for verdict in judged if verdict["value"] is None} <= {
        Evidence.SAID.value
    }
    assert not [v for v in judged if v["value"] is None and v["clear"]]
    assert not cues.after(0, "hold", "lead-zero") or cues.after(0, "entry")
    assert {p.state for p in verify_job(Job(cues.folder))} == {State.WHOLE}


def screen_of(folder: Any, clock: Hurried, words: list[str]) -> Screen:
    return Screen(folder, clock, words, (100, 30))


@pytest.mark.parametrize("seed", [1])
def test_keys_on_the_choosing_page(tmp_path, seed, mocker):
    mocker.patch("tui.screen.choosing.find_meters", return_value=[])
    rng, pressed = random.Random(f"choosing {seed}"), 0
    staying = sorted(set(MASHED) - {"escape"})  # it leaves this page
    while pressed < KEYS_A_RUN:  # as often as a key left it all the same
        clock = Hurried(tmp_path / "clock")
        with screen_of(tmp_path, clock, ["bench", "--jobs", str(tmp_path / "jobs")]) as face:
            pressed += mashed(face, rng, KEYS_A_RUN - pressed, staying)
        assert face.fault is None, face.errors()
    assert not (tmp_path / "jobs").exists()


@pytest.mark.parametrize("seed", [1])
def test_keys_over_a_replay_change_nothing(tmp_path, seed):
    from importlib import resources

    capture = resources.files("captures") / "library" / "fuel-tap.jsonl"
    before = capture.read_bytes()
    clock = Hurried(tmp_path / "clock")
    with screen_of(tmp_path, clock, ["replay", str(capture)]) as face:
        assert mashed(face, random.Random(f"replay {seed}"), KEYS_A_RUN) == KEYS_A_RUN
    assert face.fault is None, face.errors()
    assert capture.read_bytes() == before


@pytest.mark.parametrize("seed", [1])
def test_keys_at_practice_leave_what_is_kept_readable(tmp_path, seed):
    clock = Hurried(tmp_path / "clock")
    jobs = tmp_path / "jobs"
    words = ["practice", "--seed", "3", "--trainee", "Ines", "--trainees", str(tmp_path / "kept")]
    with screen_of(tmp_path, clock, [*words, "--jobs", str(jobs)]) as face:
        assert mashed(face, random.Random(f"practice {seed}"), KEYS_A_RUN) == KEYS_A_RUN
    assert face.fault is None, face.errors()
    for log in jobs.glob(f"*/{LOG_NAME}"):
        assert {p.state for p in verify_job(Job(log.parent))} == {State.WHOLE}
    for kept in (tmp_path / "kept").rglob("*.jsonl"):
        assert all(json.loads(line) for line in kept.read_bytes().splitlines())

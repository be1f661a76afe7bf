"""The pace of a replay, by clocks that stand still, and of a player by a real one."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from math import inf
from pathlib import Path
from types import SimpleNamespace

import pytest

from captures.training.catalogue import Made
from drivers.clock import MonotonicClock
from meterlink.bench.snapshot import Update
from meterlink.events import Contact, Held, Judged, Note
from tui.commands.library import make_capture
from tui.replay.pacing import Pacing, at_time, at_touch
from tui.replay.player import ReplayPlayer


def played(pacing: Pacing, t: float, now: float, *events: object, touches: int = 0) -> None:
    pacing.played(SimpleNamespace(t=t, touches=touches), events, now)  # type: ignore[arg-type]


@pytest.mark.parametrize("speed", [0.5, 1.0, 8.0])
def test_a_record_is_due_at_its_own_pace_times_the_speed(speed):
    pacing = Pacing(speed)
    assert pacing.wait_s(0.0, now=100.0) == 0.0
    assert pacing.wait_s(4.0, now=100.0) == 4.0 / speed
    assert pacing.wait_s(4.0, now=100.0 + 3.0 / speed) == pytest.approx(1.0 / speed)
    assert pacing.wait_s(4.0, now=900.0) == 0.0


def test_as_fast_as_can_be_waits_for_nothing():
    pacing = Pacing(inf)
    assert pacing.wait_s(0.0, now=5.0) == 0.0
    assert pacing.wait_s(1e6, now=5.0) == 0.0


def test_what_passes_while_it_is_paused_is_no_part_of_it():
    pacing = Pacing()
    pacing.wait_s(0.0, now=0.0)
    played(pacing, t=2.0, now=2.0)
    pacing.pause()
    assert pacing.wait_s(3.0, now=50.0) == inf
    pacing.go(now=60.0)
    assert pacing.wait_s(3.0, now=60.0) == 1.0


def test_another_speed_holds_from_here_on():
    pacing = Pacing()
    pacing.wait_s(0.0, now=0.0)
    played(pacing, t=10.0, now=10.0)
    pacing.faster(now=10.0)
    assert pacing.speed == 2.0
    assert pacing.wait_s(14.0, now=10.0) == 2.0
    for _ in range(20):
        pacing.slower(now=10.0)
    assert pacing.wait_s(11.0, now=10.0) == 8.0
    for _ in range(20):
        pacing.faster(now=10.0)
    assert pacing.speed == 32.0


def test_a_step_goes_to_the_next_thing_that_happens_and_waits_there():
    pacing = Pacing(paused=True)
    assert pacing.wait_s(1.0, now=0.0) == inf
    pacing.step()
    assert not pacing.running_on
    assert pacing.wait_s(1.0, now=0.0) == 0.0
    played(pacing, t=1.0, now=0.0)
    assert pacing.wait_s(9.0, now=0.0) == 0.0
    played(pacing, 9.0, 0.0, Contact(t=9.0))
    assert pacing.wait_s(9.1, now=0.0) == inf


@pytest.mark.parametrize(
    ("until", "before", "there"),
    [
        (at_time(5.0), {"t": 4.9}, {"t": 5.0}),
        (at_touch(2), {"t": 1.0, "touches": 1}, {"t": 3.0, "touches": 2}),
    ],
)
def test_it_runs_on_to_the_moment_and_goes_on_at_its_pace(until, before, there):
    pacing = Pacing()
    pacing.run_on(until)
    assert pacing.running_on
    played(pacing, now=0.0, **before)
    assert pacing.running_on
    played(pacing, now=1.0, **there)
    assert not pacing.running_on
    assert pacing.wait_s(there["t"] + 3.0, now=1.0) == 3.0


# --- a player on a real record ------------------------------------------------------------------


@pytest.fixture(scope="module")
def capture(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("made") / "good.jsonl"
    make_capture(Made(scenario="spring-service", seed=1, nplc=3), path)
    return path


@pytest.fixture
def player_at(capture) -> Iterator[Callable[[Pacing], ReplayPlayer]]:
    """Return what makes a player of the capture; all are closed at the end."""
    with ExitStack() as stack:

        def make(pacing: Pacing) -> ReplayPlayer:
            player = ReplayPlayer(capture, MonotonicClock(), pacing)
            stack.callback(lambda: player.close())
            return player

        yield make


class Watching:
    """A face that keeps what it was shown."""

    def __init__(self, player: ReplayPlayer) -> None:
        self.events: list[object] = []
        self.idle = 0
        player.show(self)

    def __call__(self, seen: Update) -> None:
        self.events += seen.events
        self.idle += not seen.events


def test_a_player_keeps_the_pace(player_at):
    player = player_at(Pacing(32.0))
    watching = Watching(player)
    began = time.perf_counter()
    player.run(threading.Event())
    took = time.perf_counter() - began
    assert player.finished
    assert took >= player.played.replay.t / 32.0 * 0.95
    assert watching.idle > 3  # the value moves between events too


def test_a_player_that_is_paused_is_woken_by_its_controls_and_by_the_wish_to_stop(player_at):
    player = player_at(Pacing(inf, paused=True))
    watching = Watching(player)
    stepped = threading.Event()
    player.show(lambda seen: stepped.set() if seen.events else None)
    stop = threading.Event()
    thread = threading.Thread(target=player.run, args=(stop,))
    thread.start()
    assert not watching.events
    player.step()
    assert stepped.wait(5.0)
    first = len(watching.events)
    assert first > 0
    stop.set()
    thread.join(5.0)
    assert not thread.is_alive()
    assert not player.finished


def test_going_back_plays_the_record_again_to_the_touch_before(player_at):
    player = player_at(Pacing(inf))
    watching = Watching(player)
    starts = []
    player.on_restart = lambda: starts.append(player.played.replay.touches)

    def back_once(seen: Update) -> None:
        if player.played.replay.touches == 3 and not starts:
            player.previous_touch()

    player.show(back_once)
    player.run(threading.Event())
    assert starts == [0]
    assert player.finished
    assert player.played.replay.comparison.exact
    contacts = [event.t for event in watching.events if isinstance(event, Contact)]
    assert contacts[3:6] == contacts[:3]  # the first three were seen twice


def test_hidden_verdicts_are_asked_for_before_they_are_shown(player_at):
    player = player_at(Pacing(inf))
    watching = Watching(player)
    asked = []

    def ask(question, gone):
        assert not any(
            isinstance(event, Judged) and event.t == question.judged.t for event in watching.events
        )
        assert isinstance(watching.events[-1], Held)
        asked.append((question.judged.step, question.judged.position))
        return "in-window"

    player.ask = ask
    looks = []
    player.show(lambda seen: looks.append(seen.look))
    player.run(threading.Event())
    assert asked == [
        ("primary", ""),
        ("secondary", ""),
        ("stop-switch", "stop"),
        ("stop-switch", "run"),
    ]
    primary = [look.criterion for look in looks if look.step == "primary"]
    assert primary[0] is None
    assert primary[-1] is not None  # the window is shown once the verdict was said


def test_notes_come_as_events_right_after_what_they_are_pinned_to(capture, player_at):
    notes = capture.with_name("good.notes.toml")
    notes.write_text(
        'format = 1\n[[note]]\ntouch = 2\nwhen = "held"\nsay = "b"\n'
        '[[note]]\nat = "1 s"\nsay = "a"\n',
        encoding="utf-8",
    )
    try:
        player = player_at(Pacing(inf))
    finally:
        notes.unlink()
    watching = Watching(player)
    player.run(threading.Event())
    said = [event for event in watching.events if isinstance(event, Note)]
    assert [note.text for note in said] == ["a", "b"]
    at = watching.events.index(said[1])
    assert isinstance(watching.events[at - 1], Held)
    assert 1.0 <= said[0].t < 1.1

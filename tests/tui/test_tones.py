"""Tones: each piece of news has a rhythm of its own, and the newest cuts what still plays."""

import threading
from itertools import combinations

from tui.announcing.announcer import PATTERNS, Tones, Tune


def test_rhythms_differ_in_strokes_or_in_time():
    for a, b in combinations(Tune, 2):
        first, second = PATTERNS[a], PATTERNS[b]
        gap = abs(sum(first) / len(first) - sum(second) / len(second))
        assert len(first) != len(second) or gap > 0.1


def test_a_tune_is_as_many_strokes_as_its_pattern():
    strokes: list[int] = []
    enough = threading.Event()

    def bell() -> None:
        strokes.append(1)
        if len(strokes) == len(PATTERNS[Tune.AGAIN]):
            enough.set()

    tones = Tones(bell)
    tones.play(Tune.AGAIN)
    assert enough.wait(5)
    tones.close()
    assert len(strokes) == 4


def test_the_newest_replaces_what_still_plays():
    strokes: list[str] = []
    first, last = threading.Event(), threading.Event()

    def bell() -> None:
        strokes.append(".")
        (last if first.is_set() else first).set()

    tones = Tones(bell)
    tones.play(Tune.OPEN)  # three slow strokes
    assert first.wait(5)
    tones.play(Tune.IN_WINDOW)  # one: the second and third of the other never come
    assert last.wait(5)
    tones.close()
    assert strokes == [".", "."]


def test_playing_returns_at_once_though_the_bell_hangs():
    struck, hang = threading.Event(), threading.Event()

    def bell() -> None:
        struck.set()
        hang.wait(5)

    tones = Tones(bell)
    tones.play(Tune.OUT)
    assert struck.wait(5)
    for _ in range(1000):
        tones.play(Tune.OUT)
    assert not hang.is_set()
    hang.set()
    tones.close()

"""What is heard: the right tune, and a sentence with value, verdict and what is next."""

from types import SimpleNamespace

import pytest

from meterlink.bench.snapshot import Update
from meterlink.events import (
    Asked,
    CardEnded,
    Contact,
    Evidence,
    Gap,
    Judged,
    StepReopened,
    Verdict,
    Zeroed,
)
from meterlink.steps.watch import Dropout
from tests.tui.bench_cards import card, profile
from tui.announcing.announcer import Announcer, Tune


class Heard:
    """Takes down what would be played and said."""

    def __init__(self) -> None:
        self.tunes: list[Tune] = []
        self.said: list[str] = []

    def play(self, tune: Tune) -> None:
        self.tunes.append(tune)

    def say(self, words: str) -> None:
        self.said.append(words)


@pytest.fixture
def heard():
    announcer = Announcer(card(), profile())
    ear = Heard()
    announcer.player = announcer.speaker = ear
    return SimpleNamespace(
        ear=ear, tell=lambda *events: announcer(Update(events, None)), announcer=announcer
    )


def judged(verdict, *, step="primary", value=0.84, clear=True, position=""):
    return Judged(
        t=1.0,
        step=step,
        contact_t=0.5,
        value=value,
        corrected=value,
        u=0.01,
        verdict=verdict,
        probability=0.99 if clear else 0.6,
        clear=clear,
        position=position,
        evidence=Evidence.SAME_TOUCH if verdict is Verdict.OPEN else None,
    )


@pytest.mark.parametrize(
    ("event", "tune"),
    [
        (judged(Verdict.IN_WINDOW), Tune.IN_WINDOW),
        (judged(Verdict.IN_WINDOW, clear=False), Tune.IN_WINDOW),
        (judged(Verdict.BELOW), Tune.OUT),
        (judged(Verdict.ABOVE), Tune.OUT),
        (judged(Verdict.SHORT), Tune.OUT),
        (judged(Verdict.OPEN, value=None), Tune.OPEN),
        # A switch that should be open and is: that is good news, not an open winding.
        (judged(Verdict.OPEN, step="stop-switch", position="run", value=None), Tune.IN_WINDOW),
        (judged(Verdict.OPEN, step="stop-switch", position="stop", value=None), Tune.OPEN),
        (StepReopened(t=1.0, step="primary"), Tune.AGAIN),
        (Zeroed(t=1.0, step="lead-zero", value=0.13, u=0, dof=9, resolution=0.001), Tune.IN_WINDOW),
        (Dropout(t=1.0, step="wire-watch", lasted_s=0.1, depth=None), Tune.OUT),
    ],
)
def test_each_piece_of_news_has_its_tune(heard, event, tune):
    heard.tell(event)
    assert heard.ear.tunes == [tune]


def test_what_is_no_news_makes_no_sound(heard):
    heard.tell(Contact(t=1.0))
    heard.tell()
    assert heard.ear.tunes == []
    assert heard.ear.said == []


def test_a_sentence_has_value_verdict_and_next_step(heard):
    heard.tell(judged(Verdict.IN_WINDOW))
    assert heard.ear.said == ["Primary winding: 0.84 ohms, within limits. Lift the probes."]


def test_one_moment_is_one_sentence(heard):
    heard.tell(judged(Verdict.ABOVE, value=5300.0), Asked(t=1.0, step="primary", say="Go on."))
    assert heard.ear.said == [
        "Primary winding: 5.3 kilo ohms, above limits. Lift the probes. Go on."
    ]
    assert heard.ear.tunes == [Tune.OUT]


def test_a_close_verdict_says_so(heard):
    heard.tell(judged(Verdict.IN_WINDOW, clear=False))
    assert "but close" in heard.ear.said[0]


def test_what_is_said_can_steer_nothing(heard):
    heard.tell(Asked(t=1.0, step="primary", say="do\x1b[2J this"))
    assert heard.ear.said[0].isprintable()


def test_the_end_is_said(heard):
    heard.tell(CardEnded(t=9.0, card="every-kind"))
    assert heard.ear.said == ["The card is done."]


def test_either_can_be_off(heard):
    heard.announcer.player = None
    heard.tell(judged(Verdict.IN_WINDOW))
    heard.announcer.player, heard.announcer.speaker = heard.ear, None
    heard.tell(judged(Verdict.IN_WINDOW))
    assert len(heard.ear.said) == len(heard.ear.tunes) == 1


def test_a_meter_that_goes_away_and_comes_back_is_heard():
    announcer = Announcer(card(), profile())
    lost = Gap(t=1.0, until=None, why="it was unplugged; plug it in again")
    assert announcer.tune(lost) is Tune.AGAIN
    assert "unplugged" in announcer.words(lost)
    assert announcer.words(Gap(t=1.0, until=9.0, why="it was unplugged")) == "The meter is back."

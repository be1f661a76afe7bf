"""Whatever is said and read, in any order, on every shipped card and every shipped profile."""

import math
from importlib.resources import files

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from meterlink.bench.bench import Bench
from meterlink.bench.progress import Progress
from meterlink.card import Card, left_out, read_card, steps_on
from meterlink.commands import Back, CallOpen, Confirm, Deny, Enter, Gestures, How, Redo, Skip, Zero
from meterlink.events import (
    Asked,
    CardEnded,
    CommandReceived,
    Evidence,
    Gap,
    Judged,
    StepBegan,
    StepEnded,
    StepReopened,
    Verdict,
)
from meterlink.profile import Profile, read_profile
from meterlink.reading import Quantity, Reading
from meterlink.source import Setting
from meterlink.steps.worker import NOT_SURE, ON_METAL

DATA = files("meterlink") / "data"


def _shipped(kind: str) -> dict[str, bytes]:
    found = sorted((DATA / kind).iterdir(), key=lambda file: file.name)
    return {f.name.removesuffix(".toml"): f.read_bytes() for f in found if f.name.endswith(".toml")}


CARD_FILES, PROFILE_FILES = _shipped("cards"), _shipped("profiles")
CARDS = {name: read_card(data, name, CARD_FILES.__getitem__) for name, data in CARD_FILES.items()}
PROFILES = {name: read_profile(data, name) for name, data in PROFILE_FILES.items()}
PAIRS = [(card, profile) for card in CARDS for profile in PROFILES]

HOWS = st.sampled_from(How)
WORDS = st.sampled_from(
    [
        *(
            "",
            "yes",
            "no",
            "n",
            "open",
            "OL",
            ON_METAL,
            NOT_SURE,
            "unknown",
            "maybe",
            "“”",
            "\x1b[2J",
        ),
        *("19 °C", "0.84 ohm", "5 Mohm", "-3 ohm", "0.3 mm", "9.5 N·m", "84 lbf·in", "4.7 kohm 1%"),
        *("good", "f", "2", "fouled", "whole", "strong", "none", "yellow violet red gold"),
    ]
)


def commands(card: Card) -> st.SearchStrategy:
    """Any command, as any hand could give it."""
    steps = st.sampled_from(["", "no-such-step", *(step.id for step in card.step)])
    return st.one_of(
        st.builds(Confirm, how=HOWS),
        st.builds(Deny, how=HOWS),
        st.builds(CallOpen, how=HOWS),
        st.builds(Redo, step=steps),
        st.builds(Skip, reason=st.sampled_from(["", "none at hand"])),
        st.builds(Back),
        st.builds(Zero),
        st.builds(Gestures, on=st.booleans()),
        st.builds(Enter, text=WORDS, how=HOWS),
    )


OVER = math.inf
VALUES = st.sampled_from(
    [OVER, OVER, 0.1, 0.2, 0.85, 5200.0, 1.2e6, 20e6, -5.0, -math.inf, math.nan]
)
SPELLS = st.tuples(
    VALUES, st.integers(1, 25), st.sampled_from([*[Quantity.RESISTANCE] * 4, Quantity.TEMPERATURE])
)
METER = st.one_of(
    st.just(Setting(range=1e3)),
    st.just(Setting(lost=("Turn the knob to ohms.",))),
    st.floats(0.1, 9.0).map(lambda lasts: Gap(t=0.0, until=lasts, why="the meter went away")),
)


class Played:
    """A bench at work, with all that happened, and what was told and read before each event."""

    def __init__(self, card: Card, profile: Profile) -> None:
        self.bench = Bench(card, profile)
        self.card, self.profile = card, profile
        self.t = 0.0
        self.events = list(self.bench.begin(0.0))

    def do(self, act) -> list:
        """Do one thing, whatever it is; return what it makes happen."""
        before = len(self.events)
        match act:
            case (value, count, quantity):
                for _ in range(count):
                    self.t += 0.1
                    over = math.isinf(value)
                    reading = Reading(self.t, value, quantity, overload=over, resolution=0.01)
                    self.events += self.bench.feed(reading)
            case Setting():
                self.events += self.bench.set_meter(act, self.t)
            case Gap(until=lasts):
                began = Gap(t=self.t, until=None, why=act.why)
                self.events += self.bench.gap(began)
                self.t += lasts
                self.events += self.bench.gap(Gap(t=began.t, until=self.t, why=act.why))
            case _:
                self.events += self.bench.tell(act, self.t)
        return self.events[before:]

    def all(self, kind) -> list:
        return [event for event in self.events if isinstance(event, kind)]

    def finish(self) -> None:
        """Come to the end of the card, by skipping whatever is left."""
        for _ in range(2 * len(self.card.step)):
            if self.bench.progress.ended:
                return
            self.do(Confirm())
            if not self.bench.progress.ended:
                self.do(Skip(reason="that is enough"))
        raise AssertionError(f"the card does not end; it is at {self.bench.progress.current}")


QUICK = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.parametrize(("card", "profile"), PAIRS)
@QUICK
@given(data=st.data())
def test_no_order_of_things_breaks_the_bench_or_makes_an_open_nobody_called(card, profile, data):
    played = Played(CARDS[card], PROFILES[profile])
    anything = st.one_of(commands(played.card), SPELLS, METER)
    acts = data.draw(st.lists(anything, max_size=40))
    for act in acts:
        happened = played.do(act)
        check_what_was_said(act, happened)
    played.finish()
    check_every_step(played)
    check_fold(played)
    after = data.draw(st.lists(commands(played.card), min_size=1, max_size=5))
    for command in after:
        assert played.do(command)[0] == CommandReceived(t=played.t, command=command)


def check_what_was_said(act, happened: list) -> None:
    """An open that nobody measured comes of one thing only; and every command is answered."""
    said = [event for event in happened if getattr(event, "evidence", None) is Evidence.SAID]
    for event in said:
        typed = isinstance(act, Enter) and act.how not in (How.PEDAL, How.PROBES)
        stays_open = getattr(event, "outcome", "") == "none"  # a watch that saw nothing close
        assert stays_open or (typed and act.text in (ON_METAL, "5 Mohm", "20 Mohm"))
    for event in happened:
        if isinstance(event, Judged):
            assert not (event.evidence is Evidence.SAID and event.clear)
            if event.verdict is Verdict.OPEN:
                assert event.evidence is not None
    if isinstance(act, Confirm):
        assert not [e for e in happened if isinstance(e, Judged) and e.value is None]
    if not isinstance(act, tuple | Setting | Gap | Gestures):
        assert len(happened) > 1, f"{act} was not answered"


def check_every_step(played: Played) -> None:
    """Every step that the engine has ended or never came to pass; what it lacks says why."""
    progress = played.bench.progress
    on = {step.id for step in steps_on(played.card, played.profile)}
    lacks = {step.id for step in left_out(played.card, played.profile)}
    for step in played.card.step:
        outcome = progress.outcome(step.id)
        known = step.outcomes
        assert outcome or not progress.applies(step)
        assert known is None or not outcome or outcome in known
        if step.id in lacks:
            assert outcome == "skipped"
            assert progress.results[step.id].reason
    assert {event.step for event in played.all(StepBegan)} <= on
    assert {event.step for event in played.all(Judged)} <= on
    assert not lacks & {event.step for event in played.all(StepReopened)}
    assert isinstance(played.all(CardEnded)[-1], CardEnded)


def check_fold(played: Played) -> None:
    """The record alone tells the same, and a bench made from it is at its end, too."""
    folded = Progress(played.card)
    folded.apply_all(played.events)
    assert {s: r.outcome for s, r in folded.results.items()} == {
        s: r.outcome for s, r in played.bench.progress.results.items()
    }
    again = Bench(played.card, played.profile, past=played.events)
    assert not [e for e in again.begin(played.t) if isinstance(e, StepBegan | StepEnded)]


@pytest.mark.parametrize(("card", "profile"), PAIRS)
def test_a_question_that_is_refused_or_answered_in_between_is_said_again(card, profile):
    played = Played(CARDS[card], PROFILES[profile])
    seen = set()
    while played.bench.step is not None:
        step = played.bench.step
        assert step.id not in seen
        seen.add(step.id)
        (began,) = [e for e in played.events if isinstance(e, StepBegan) and e.step == step.id]
        question = next(
            e.say for e in played.events[played.events.index(began) :] if isinstance(e, Asked)
        )
        for nonsense in (Redo(step="no-such-step"), CallOpen(how=How.PEDAL), Zero()):
            played.do(nonsense)
            assert question in played.bench.asked.say
            assert played.bench.asked.say != question
        played.do(Confirm())
        if played.bench.step is step:
            played.do(Skip(reason="for this test"))
    assert played.bench.progress.ended

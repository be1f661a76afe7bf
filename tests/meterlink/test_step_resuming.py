"""Kill the program after any event and open the job again: the card stands where it was."""

from collections.abc import Callable

import pytest

from captures.record.records import decode, encode
from meterlink.card import BenchEvent
from meterlink.commands import Confirm, Deny, Enter, Redo
from meterlink.events import (
    CommandReceived,
    Entered,
    Event,
    Judged,
    StepBegan,
    StepEnded,
    StepReopened,
    Zeroed,
)
from meterlink.steps.meter_check import MeterChecked
from tests.meterlink.bench_hands import (
    AMBIENT,
    GAP,
    LEAD_ZERO,
    MODULE,
    OVER,
    PRIMARY,
    SECONDARY,
    SWITCH,
    Hands,
    card,
)

CHECK = 'kind = "meter-check"\nid = "meter-check"\ntitle = "Meter check"'
ASK = 'kind = "confirmation"\nid = "ask"\ntitle = "Another switch?"'
SOAK = (
    'kind = "soak"\nid = "soak"\ntitle = "Soak"\nwinding = "secondary"\nlasts = "30 s"\n'
    'every = "10 s"\nonly_if = [{ step = "ask", was = ["no"] }]'
)
WATCH = 'kind = "watch"\nid = "watch"\ntitle = "Watch"\nbetween = ["a", "b"]\nlasts = "10 s"\n'
CARD = card(AMBIENT, LEAD_ZERO, CHECK, PRIMARY, SECONDARY, MODULE, SWITCH, ASK, SOAK, WATCH, GAP)

DO: dict[str, Callable[[Hands], object]] = {
    "cautions": lambda h: h.tell(Confirm()),
    "ambient": lambda h: h.tell(Enter(text="20 °C")),
    "lead-zero": lambda h: h.touch(0.12),
    "meter-check": lambda h: h.tell(Enter(text="100 ohm 1%")).touch(100.3, step=0.01),
    "primary": lambda h: h.touch(0.97),
    "secondary": lambda h: h.touch(5200.0, step=1.0),
    "switch": lambda h: h.read(0.3).read(OVER, 2).read(0.3).read(OVER, 1),
    "ask": lambda h: h.tell(Deny()),
    "soak": lambda h: h.read(5200.0, 40, step=1.0),
    "watch": lambda h: h.read(0.3, 5).read(OVER, 0.5).read(0.3, 12),
    "gap": lambda h: h.tell(Enter(text="0.30 mm")),
}
"""What hands do at each step, from its beginning to its end."""


def work_to_the_end(hands: Hands) -> Hands:
    for _ in range(40):
        current = hands.bench.progress.current
        if current is None:
            return hands
        DO[current](hands)
    raise AssertionError(f"stuck at {hands.bench.progress.current}")


def outcomes(hands: Hands) -> dict[str, str]:
    return {step: result.outcome for step, result in hands.bench.progress.results.items()}


WHOLE = work_to_the_end(Hands(CARD)).events
ENDED = {event.step: event.outcome for event in WHOLE if isinstance(event, StepEnded)}


def from_disk(events: list[BenchEvent]) -> list[Event]:
    """Write and read back, as the job log does."""
    return [event for event in map(decode, map(encode, events)) if isinstance(event, Event)]


@pytest.fixture(scope="module")
def reopened() -> list[tuple[int, Hands]]:
    """The bench after every prefix of the events of a whole card."""
    return [(n, Hands(CARD, past=from_disk(WHOLE[:n]))) for n in range(len(WHOLE) + 1)]


def test_the_whole_card_did_end_as_hands_meant_it_to():
    assert ENDED["primary"] == "in-window"
    assert ENDED["meter-check"] == "passed"
    assert ENDED["switch"] == "passed"
    assert ENDED["watch"] == "some"
    assert len(WHOLE) > 80


def test_it_stands_at_the_step_where_it_was(reopened):
    for n, hands in reopened:
        past = WHOLE[:n]
        done = {event.step for event in past if isinstance(event, StepEnded)}
        begun = [event.step for event in past if isinstance(event, StepBegan)]
        # The module needs nobody: it says that resistance cannot tell, and the card goes on.
        done.add("module")
        expected = begun[-1] if begun and begun[-1] not in done else None
        if expected is None:  # killed between two steps: the next one
            coming = (e.step for e in WHOLE[n:] if isinstance(e, StepBegan))
            expected = next((step for step in coming if step not in done), None)
        assert hands.bench.progress.current == expected, (n, past[-1] if past else None)


def test_every_held_value_is_there_with_lead_zero_and_temperature(reopened):
    for n, hands in reopened:
        progress, past = hands.bench.progress, WHOLE[:n]
        zeros = [event for event in past if isinstance(event, Zeroed)]
        warmth = [e.value for e in past if isinstance(e, Entered) and e.unit == "celsius"]
        assert progress.lead_zero == (zeros[-1] if zeros else None)
        assert progress.temperature == (warmth[-1] if warmth else None)
        for event in past:
            if isinstance(event, Judged):
                assert event.position in progress.results[event.step].judged
            if isinstance(event, MeterChecked):
                assert progress.results[event.step].own.checked == event
        held = [event for event in past if isinstance(event, Judged) and not event.position]
        for event in held:
            assert progress.results[event.step].judged[""] == event


def test_what_is_left_to_do_leads_to_the_same_outcomes(reopened):
    for n, hands in reopened[::7]:
        assert outcomes(work_to_the_end(hands)) == ENDED, n


def test_a_value_held_before_the_break_need_not_be_measured_again():
    at = next(i for i, e in enumerate(WHOLE) if isinstance(e, Judged) and e.step == "primary")
    hands = Hands(CARD, past=WHOLE[: at + 1])
    assert hands.bench.progress.current == "primary"
    assert "was held before" in hands.bench.asked.say
    hands.tell(Confirm())
    assert hands.bench.progress.outcome("primary") == "in-window"


def test_a_value_held_before_the_break_can_be_measured_again():
    at = next(i for i, e in enumerate(WHOLE) if isinstance(e, Judged) and e.step == "primary")
    hands = Hands(CARD, past=WHOLE[: at + 1]).twice(0.6)
    assert hands.bench.progress.outcome("primary") == "below"


def test_a_lead_zero_taken_before_the_break_still_counts():
    at = next(i for i, e in enumerate(WHOLE) if isinstance(e, Zeroed))
    hands = Hands(CARD, past=WHOLE[: at + 1])
    assert "The lead zero is" in hands.bench.asked.say
    hands.tell(Confirm())
    assert hands.bench.progress.outcome("lead-zero") == "done"


def test_a_redo_that_was_cut_short_is_where_the_card_stands():
    first = Hands(CARD)
    for step in ("cautions", "ambient", "lead-zero", "meter-check", "primary"):
        DO[step](first)
    first.tell(Redo(step="ambient", reason="misread"))
    at = next(i for i, e in enumerate(first.events) if isinstance(e, StepReopened))
    for past in (first.events[: at + 1], first.events):
        hands = Hands(CARD, past=past)
        assert hands.bench.progress.current == "ambient"
        assert hands.bench.progress.temperature is None
        assert hands.bench.progress.outcome("primary") == "in-window"


def test_twice_broken_is_no_different():
    for n in (30, 60, 90):
        once = Hands(CARD, past=WHOLE[:n])
        twice = Hands(CARD, past=[*WHOLE[:n], *once.events])
        assert twice.bench.progress.current == once.bench.progress.current
        assert outcomes(twice) == outcomes(once)


def test_commands_in_the_log_are_who_and_when_and_how():
    told = [event.command for event in WHOLE if isinstance(event, CommandReceived)]
    assert [command.text for command in told if isinstance(command, Enter)] == [
        "20 °C",
        "100 ohm 1%",
        "0.30 mm",
    ]

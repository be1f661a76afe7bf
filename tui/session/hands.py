"""Joins simulated hands and a session: the hands hear the bench, and the bench hears the hands."""

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

from drivers.simulated.bench import SimulatedBench
from drivers.simulated.lent import BorrowedHands, Greeting, port_of
from meterlink.bench.snapshot import Update
from meterlink.card import BenchEvent
from meterlink.steps.entry import CautionStep
from tui.session.session import Session


def connect_hands(sitting: Session, bench: SimulatedBench) -> None:
    """Let the hands see what the bench says, and the bench hear what the hands say."""
    hands = bench.hands

    def see(seen: Update) -> None:
        for event in seen.events:
            hands.notice(event)

    def speak() -> None:
        for command in hands.take_said():
            sitting.tell(command)

    sitting.show(see)
    sitting.between = speak


@contextmanager
def borrowing(sitting: Session, *, person: bool) -> Iterator[bool]:
    """Let the hands of a simulated meter in another process play, where it lends them.

    ``person``: somebody is there to acknowledge cautions and answer what the hands cannot.
    Yields whether there are hands.
    """
    port = port_of(sitting.meter)
    if port is None:
        yield False
        return
    steps = sitting.bench.card.step
    greeting = Greeting(
        steps=[step.id for step in steps],
        cautions=[step.id for step in steps if isinstance(step, CautionStep)],
        person=person,
    )
    unheard: deque[BenchEvent] = deque()
    with BorrowedHands(port, greeting) as hands:

        def speak() -> None:
            events = [unheard.popleft() for _ in range(len(unheard))]
            if not hands.there:
                return
            for command in hands.hear(events):
                sitting.tell(command)

        sitting.show(lambda seen: unheard.extend(seen.events))
        sitting.between = speak
        try:
            yield hands.there
        finally:
            sitting.between = None

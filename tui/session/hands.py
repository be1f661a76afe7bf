"""Joins simulated hands and a session: the hands hear the bench, and the bench hears the hands."""

from drivers.simulated import SimulatedBench
from tui.session.session import Session, Update


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

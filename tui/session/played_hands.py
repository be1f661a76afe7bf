"""The hands of the simulated bench, to be played by a person on the screen."""

from collections.abc import Mapping, Sequence

from drivers.simulated import SimulatedBench
from meterlink.circuit.condition import controls
from meterlink.circuit.places import places


class BenchHands:
    """The hands of ``bench``, with what they can reach on its engine."""

    def __init__(self, bench: SimulatedBench) -> None:
        self._hands = bench.hands
        self._switches = {switch.name: switch.positions for switch in bench.scenario.engine.switch}
        engine, start = bench.scenario.engine, bench.scenario.bench.controls
        self.places: Sequence[str] = tuple(places(engine))
        self.controls: Mapping[str, Sequence[str]] = {
            name: _first(positions, start.get(name)) for name, positions in controls(engine).items()
        }

    def closes(self, control: str, position: str) -> bool | None:
        """Return whether a switch in this position is meant to be closed; None: no switch."""
        positions = self._switches.get(control)
        return None if positions is None else positions[position] == "closed"

    def take(self) -> None:
        """Take the hands from the script."""
        self._hands.take()

    def place(self, red: str, black: str) -> None:
        """Put each tip on a place."""
        self._hands.place(red, black)

    def lift(self) -> None:
        """Take both tips off."""
        self._hands.lift()

    def switch(self, control: str, position: str) -> None:
        """Put a switch or fitting into a position."""
        self._hands.switch(control, position)


def _first(positions: Sequence[str], start: str | None) -> tuple[str, ...]:
    """Return ``positions`` with the one that things begin in first."""
    if start is None or start not in positions:
        return tuple(positions)
    return (start, *(position for position in positions if position != start))

"""A whole card worked by the scripted hands, through the real driver over a real socket."""

import threading
from importlib import resources
from typing import NamedTuple

from drivers.opening import open_source
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.bench.bench import Bench
from meterlink.card import BenchEvent, read_card
from meterlink.events import Event
from meterlink.profile import read_profile

MOST_READINGS = 30_000


class Worked(NamedTuple):
    """What came of it."""

    outcomes: dict[str, str]
    """By step."""
    events: list[Event]
    readings: int
    bench: Bench


def shipped(kind: str, name: str) -> bytes:
    """Return a profile or card that ships with the program."""
    return resources.files("meterlink").joinpath("data", kind, f"{name}.toml").read_bytes()


def work(name: str, seed: int = 1) -> Worked:
    """Run the scenario called ``name`` to the end of its card."""
    scenario = load_scenario(name)
    card = read_card(shipped("cards", scenario.card), name, lambda other: shipped("cards", other))
    profile = read_profile(shipped("profiles", scenario.profile), name)
    bench = Bench(card, profile, accuracy=scenario.accuracy())
    events: list[Event] = []
    count = 0
    with SimulatedBench(scenario, seed=seed) as sim:
        source = open_source(sim.port, clock=sim.clock)
        setup = None

        def take(said: list[BenchEvent]) -> None:
            for event in said:
                events.append(event)
                sim.hands.notice(event)

        try:
            take(bench.begin(0.0))
            for reading in source.readings(threading.Event()):
                count += 1
                assert count < MOST_READINGS, bench.progress.current
                take(list(bench.feed(reading)))
                for command in sim.hands.take_said():
                    take(bench.tell(command, reading.t))
                if bench.progress.ended:
                    break
                if bench.setup is not None and bench.setup != setup:
                    setup = bench.setup
                    bench.setting = source.prepare(setup)
        finally:
            source.close()
    outcomes = {step: result.outcome for step, result in bench.progress.results.items()}
    return Worked(outcomes, events, count, bench)

"""``meterlink demo``: the whole job on the simulated bench, through the real driver."""

import argparse
import threading
from typing import TYPE_CHECKING, Final

from tui.commands._options import seed
from tui.plain.prompts import has_screen

if TYPE_CHECKING:
    from captures.job.job import JobWriter
    from drivers.simulated.bench import SimulatedBench
    from tui.session.session import Session

NAME: Final = "demo"
HELP: Final = "run the whole job on the built-in simulated bench; no meter needed"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare scenario, seed, jobs folder and face."""
    parser.add_argument("--scenario", default="spring-service", help="which bench to simulate")
    parser.add_argument("--seed", type=seed, default=1, help="same seed, same run (default 1)")
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument(
        "--plain", action="store_true", help="a line per event instead of the screen"
    )


def run(args: argparse.Namespace) -> int:
    """Run it on the screen, or plain where standard output is no terminal."""
    from drivers.clock import MonotonicClock
    from drivers.opening import open_source
    from drivers.simulated.bench import SimulatedBench
    from drivers.simulated.scenario import load_scenario
    from tui.session.hands import connect_hands
    from tui.session.setup import job_store, session, settings_of
    from tui.settings.shelf import CARDS, PROFILES

    plain = args.plain or not has_screen()
    scenario = load_scenario(args.scenario)
    card, profile = CARDS.get(scenario.card), PROFILES.get(scenario.profile)
    simulated = {"simulated": True, "scenario": scenario.id, "seed": args.seed}
    settings = settings_of(card, profile) | simulated
    clock = None if plain else MonotonicClock()
    with (
        SimulatedBench(scenario, seed=args.seed, clock=clock) as bench,
        job_store(args.jobs).create(scenario.title, settings=settings) as job,
    ):
        source = open_source(bench.port, clock=bench.clock)
        try:
            with session(job, source, bench.clock, card, profile, settings=simulated) as sitting:
                connect_hands(sitting, bench)
                code = _run_plain(sitting) if plain else _run_screen(sitting, bench, job)
        finally:
            source.close()
    for path in (job.job.log_path, *job.job.captures()):
        print(f"wrote {path}")
    return code


def _run_plain(sitting: "Session") -> int:
    from tui.announcing.teller import Teller
    from tui.plain.plain_face import PlainFace

    face = PlainFace(
        Teller(sitting.bench.card, sitting.bench.profile), trouble=lambda: sitting.trouble
    )
    sitting.show(face)
    sitting.run(threading.Event())
    face.end(sitting.bench.progress)
    return 0


def _run_screen(sitting: "Session", bench: "SimulatedBench", job: "JobWriter") -> int:
    from tui.screen.app import BenchApp
    from tui.session.hands import BenchHands

    bench.hands.leave("cautions")  # a person acknowledges those
    hands = BenchHands(bench)
    app = BenchApp(sitting, title=bench.scenario.title, hands=hands, where=str(job.folder))
    return app.run() or 0

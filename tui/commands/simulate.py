"""The simulated bench: ``simulate`` puts a meter on a port, ``demo`` plays the whole job."""

import argparse
import contextlib
import random
import threading
from typing import Final

from captures.job.job import JobWriter
from drivers.clock import MonotonicClock
from drivers.frames.store import load
from drivers.opening import open_source
from drivers.simulated.bench import LineFault, LineFaults, SimulatedBench
from drivers.simulated.scenario import load_scenario, scenario_names
from drivers.simulated.serve import PtyPort, StreamPort, TcpPort, has_ptys
from drivers.simulated.streaming_meter import OHMS, StreamFaults, StreamingMeter, touches
from meterlink.errors import UsageError
from meterlink.quantities.notation import parse_as
from tui.announcing.teller import Teller
from tui.commands.shared import frames_option, jobs_option, json_option, print_json, seed
from tui.plain.plain_face import PlainFace
from tui.plain.prompts import has_screen
from tui.session.hands import BenchHands, connect_hands
from tui.session.session import Session
from tui.session.setup import job_store, session, settings_of
from tui.settings import CARDS, PROFILES

_WIRE: Final = "text-number-unit"
_USUAL_CARD: Final = "ignition-check"
"""What ``meterlink bench`` works where no card is named."""
_OFTEN: Final = 0.1
_SELDOM: Final = 0.02


def add_simulate(parser: argparse.ArgumentParser) -> None:
    """Declare the meter, its port, and what is to go wrong."""
    what = parser.add_mutually_exclusive_group()
    frames_option(what, f"a meter that streams in this frame format (default {_WIRE})")
    what.add_argument("--scpi", action="store_true", help="a bench with a SCPI meter")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--pty", action="store_true", help="on a pseudo-terminal (default where there are any)"
    )
    where.add_argument(
        "--tcp", metavar="PORT", nargs="?", const=0, type=_port, help="on a TCP port, 0 for any"
    )
    parser.add_argument("--seed", type=seed, default=1, help="of values and faults (default 1)")
    parser.add_argument(
        "--scenario",
        metavar="NAME",
        help="a bench with a SCPI meter, and hands that play this for whoever reads it",
    )
    parser.add_argument("--ohms", metavar="OHM", nargs="+", help="resistances to probe in turn")
    parser.add_argument("--rate", metavar="HZ", type=_positive, help="readings a second")
    parser.add_argument(
        "--flag", metavar="FLAG", action="append", default=[], help="such as hold or battery_low"
    )
    parser.add_argument(
        "--mind-speed",
        action="store_true",
        help="be garbled for who opens the pseudo-terminal at another speed",
    )
    parser.add_argument(
        "--seconds", metavar="S", type=_positive, help="stop by itself after this time"
    )
    faults = parser.add_argument_group("faults, each with the share of frames that it strikes")
    for name, share, text in (
        ("drop", _OFTEN, "lose a few bytes"),
        ("flip", _OFTEN, "turn a bit over"),
        ("insert", _OFTEN, "put bytes in that nobody sent"),
        ("split", _OFTEN, "send in pieces with pauses"),
        ("stall", _SELDOM, "be silent for a while"),
        ("unplug", _SELDOM, "pull the plug and put it back under another name"),
        ("endless", _SELDOM, "send bytes without an end"),
    ):
        faults.add_argument(
            f"--{name}",
            metavar="SHARE",
            nargs="?",
            const=share,
            default=0.0,
            type=_share,
            help=text,
        )
    faults.add_argument(
        "--away", metavar="S", type=_positive, default=2.0, help="how long a stall or unplugging is"
    )
    faults.add_argument(
        "--wrong-settings", action="store_true", help="send at another speed than the format's"
    )
    json_option(parser, text="say where it is as a JSON object")
    parser.set_defaults(run=_run_simulate)


def _run_simulate(args: argparse.Namespace) -> int:
    """Serve until interrupted, or for ``--seconds``."""
    stop = threading.Event()
    with contextlib.ExitStack() as stack:
        if args.scpi or args.scenario is not None:
            _start_scpi(args, stack)
        else:
            _start_wire(args, stack)
        # Waited for in short pieces, as Windows lets no interrupt into a long one.
        left = args.seconds
        while left is None or left > 0:
            stop.wait(0.2 if left is None else min(0.2, left))
            left = None if left is None else left - 0.2
    return 0


def _start_wire(args: argparse.Namespace, stack: contextlib.ExitStack) -> None:
    wire = load(args.wire or _WIRE)
    unknown = [flag for flag in args.flag if flag not in wire.description.flags]
    if unknown:
        raise UsageError(f"the frame format {wire.name} has no flag {unknown[0]}")
    ohms = [parse_as(text, "ohm").value for text in args.ohms or ()] or OHMS
    rate = args.rate or wire.description.rate.usual_hz
    faults = StreamFaults(
        drop=args.drop,
        flip=args.flip,
        insert=args.insert,
        split=args.split,
        stall=args.stall,
        stall_s=args.away,
        unplug=args.unplug,
        unplug_s=args.away,
        endless=args.endless,
        wrong_settings=args.wrong_settings,
    )
    port = _open_port(args)
    meter = StreamingMeter(
        wire,
        port,
        for_each_reader=lambda: touches(random.Random(args.seed), rate, ohms),  # noqa: S311
        flags=args.flag or None,
        rate_hz=rate,
        faults=faults,
        mind_speed=args.mind_speed,
        seed=args.seed,
        moved=lambda name: _say_where(args, name, wire.name),
    )
    stack.enter_context(meter)
    _say_where(args, port.name, wire.name)
    if not args.json:
        print("  its probes begin with the first reader, and again for the next", flush=True)


def _start_scpi(args: argparse.Namespace, stack: contextlib.ExitStack) -> None:
    if args.wire is not None:
        raise UsageError("a scenario has a SCPI meter; leave --frames out, or give --ohms to probe")
    for name in ("drop", "flip", "insert", "split", "endless", "wrong_settings", "ohms", "flag"):
        if getattr(args, name):
            raise UsageError(f"--{name.replace('_', '-')} is for a meter that streams, not --scpi")
    scenario = load_scenario(args.scenario or scenario_names()[0])
    bench = stack.enter_context(
        SimulatedBench(
            scenario, seed=args.seed, clock=MonotonicClock(), tcp_port=args.tcp or 0, lend=True
        )
    )
    for share, mischief in ((args.stall, LineFaults.STALL), (args.unplug, LineFaults.DROP)):
        if share:
            bench.trouble(LineFault(what=mischief, after=round(1 / share)))
    port = bench.serial_device() if args.pty else bench.port
    if args.json:
        _say_where(args, port, None)
        return
    card = "" if scenario.card == _USUAL_CARD else f" --card {scenario.card}"
    print(f"port {port}", flush=True)
    print(
        f"  try: meterlink bench --port {port} --profile {scenario.profile}{card}\n"
        f"  “{scenario.title}” waits for a reader; its hands play each step as that bench asks "
        "for it,\n  and again for the next. For any other reader they probe in turn.",
        flush=True,
    )


def _open_port(args: argparse.Namespace) -> StreamPort:
    if args.tcp is not None or not (args.pty or has_ptys()):
        return TcpPort(args.tcp or 0)
    return PtyPort()


def _say_where(args: argparse.Namespace, port: str, wire: str | None) -> None:
    """Say where the meter is; the first word on the line after “port” is the port alone."""
    if args.json:
        print_json({"port": port, "wire": wire or "scpi"})
        return
    with_wire = f" --frames {wire}" if wire is not None else ""
    print(f"port {port}", flush=True)
    print(f"  try: meterlink read --port {port}{with_wire}", flush=True)


def _share(text: str) -> float:
    share = float(text)
    if not 0 <= share <= 1:
        raise argparse.ArgumentTypeError(f"{text} is no share; give 0 to 1")
    return share


def _positive(text: str) -> float:
    value = float(text)
    if not 0 < value < 1e6:
        raise argparse.ArgumentTypeError(f"{text} must be more than nothing")
    return value


def _port(text: str) -> int:
    port = int(text)
    if not 0 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"{text} is no port number")
    return port


def add_demo(parser: argparse.ArgumentParser) -> None:
    """Declare scenario, seed, jobs folder and face."""
    parser.add_argument("--scenario", default="spring-service", help="which bench to simulate")
    parser.add_argument("--seed", type=seed, default=1, help="same seed, same run (default 1)")
    jobs_option(parser)
    parser.add_argument(
        "--plain", action="store_true", help="a line per event instead of the screen"
    )
    parser.set_defaults(run=_run_demo)


def _run_demo(args: argparse.Namespace) -> int:
    """Run it on the screen, or plain where standard output is no terminal."""
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


def _run_plain(sitting: Session) -> int:
    face = PlainFace(
        Teller(sitting.bench.card, sitting.bench.profile), trouble=lambda: sitting.trouble
    )
    sitting.show(face)
    sitting.run(threading.Event())
    face.end(sitting.bench.progress)
    return 0


def _run_screen(sitting: Session, bench: SimulatedBench, job: JobWriter) -> int:
    from tui.screen.app import BenchApp

    bench.hands.leave("cautions")  # a person acknowledges those
    hands = BenchHands(bench)
    app = BenchApp(sitting, title=bench.scenario.title, hands=hands, where=str(job.folder))
    return app.run() or 0

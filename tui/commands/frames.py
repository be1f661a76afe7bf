"""``meterlink frames``: the byte formats of streaming meters, shown and checked."""

import argparse
import re
from pathlib import Path
from typing import Any

from drivers.frames import store
from drivers.frames.description import BytesFrame
from drivers.frames.frame_format import FrameFormat
from drivers.frames.learning import learn
from drivers.frames.line_search import find_line, record
from drivers.frames.recordings import Recording, as_lines, load_recordings, parse_display
from drivers.frames.store import check, load, load_all, read
from drivers.links.link import LineSettings
from drivers.links.transports import open_link
from drivers.scpi.dialect import check_dialect, is_dialect, load_dialects, read_dialect
from meterlink.errors import InvalidFileError, UsageError
from meterlink.quantities.text import plain
from meterlink.wording import counted
from tui.commands.shared import json_option, print_json
from tui.plain.prompts import Prompter
from tui.settings import write_whole


def add_frames(parser: argparse.ArgumentParser) -> None:
    """Declare the three things that can be done with frame formats."""
    tasks = parser.add_subparsers(dest="task", metavar="TASK")
    listing = tasks.add_parser(
        "list", help="every frame format that can be read (also when nothing is said)"
    )
    show = tasks.add_parser("show", help="what one format is like, and where its facts come from")
    show.add_argument(
        "name", metavar="NAME", help="name of a frame format, or a description's file"
    )
    check = tasks.add_parser("check", help="check a description and its sample frames")
    check.add_argument("file", metavar="FILE", type=Path, help="the description, a TOML file")
    new = tasks.add_parser("new", help="describe an unknown meter by what its display shows")
    new.add_argument("name", metavar="NAME", help="what to call it: small letters and hyphens")
    source = new.add_mutually_exclusive_group(required=True)
    source.add_argument("--port", help="where the meter is; its displays are asked for")
    source.add_argument(
        "--recorded", type=Path, metavar="FILE", help="displays and bytes recorded before"
    )
    new.add_argument("--keep", type=Path, metavar="FILE", help="record displays and bytes here")
    new.add_argument("--to", type=Path, metavar="FILE", help="the description; default your own")
    new.add_argument("--displays", type=int, default=5, metavar="N", help="how many (default 5)")
    json_option(parser, listing, show, check)
    parser.set_defaults(run=_run_frames)


def _run_frames(args: argparse.Namespace) -> int:
    """Do the task that was named."""
    return {"list": _list, "show": _show, "check": _check, "new": _new, None: _list}[args.task](
        args
    )


def _list(args: argparse.Namespace) -> int:
    wires, faults = load_all()
    width = max(len(wire.name) for wire in wires)
    for wire in sorted(wires, key=lambda wire: wire.name):
        if args.json:
            _print_json(_facts(wire))
        else:
            own = "  (your own)" if wire.own else ""
            print(f"{wire.name:<{width}}  {wire.description.title}{own}")
    dialects, more = load_dialects(store.user_folder())
    faults += more
    for dialect in dialects.values():
        if args.json:
            _print_json(
                {"name": dialect.name, "title": plain(dialect.title), "own": True, "asked": True}
            )
        else:
            print(f"{dialect.name:<{width}}  {plain(dialect.title)}  (your own, asked)")
    if not args.json:
        print(f"Your own descriptions belong in {store.user_folder()}")
    if faults:
        raise faults[0]
    return 0


def _show(args: argparse.Namespace) -> int:
    wire = load(args.name)
    if args.json:
        _print_json(_facts(wire))
    else:
        print("\n".join(_lines(wire)))
    return 0


def _check(args: argparse.Namespace) -> int:
    name = plain(args.file.name)
    if is_dialect(args.file):
        return _check_dialect(args)
    wire = read(args.file)
    try:
        check(wire)
    except InvalidFileError as fault:
        raise InvalidFileError(f"{name}: {fault}") from fault
    samples, modes = len(wire.description.samples), len(wire.description.modes)
    if args.json:
        _print_json({"file": name, "name": wire.name, "samples": samples, "modes": modes})
    else:
        print(
            f"{name}: in order; {counted(samples, 'sample')} read as they should be, "
            f"{counted(modes, 'knob position')}"
        )
    return 0


def _check_dialect(args: argparse.Namespace) -> int:
    dialect, name = read_dialect(args.file), plain(args.file.name)
    try:
        check_dialect(dialect)
    except InvalidFileError as fault:
        raise InvalidFileError(f"{name}: {fault}") from fault
    samples = len(dialect.samples)
    if args.json:
        _print_json({"file": name, "name": dialect.name, "samples": samples, "modes": 0})
    else:
        print(f"{name}: in order; {counted(samples, 'sample')} read as they should be")
    return 0


def _new(args: argparse.Namespace) -> int:
    """Work a format out, write its description, and say what is not settled."""
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", args.name):
        raise UsageError("a name is made of small letters, digits and hyphens, such as my-meter")

    if args.recorded is not None:
        recordings, line = load_recordings(args.recorded)
    else:
        recordings, line = _recorded(args.port, args.displays)
        if args.keep is not None:
            write_whole(args.keep, as_lines(recordings, line))
    learnt = learn(recordings, name=args.name, line=line)
    path: Path = args.to or store.user_folder() / f"{args.name}.toml"
    write_whole(path, learnt.toml.encode())
    print(f"wrote {path}; it reads all {len(recordings)} displays as they were typed")
    for note in learnt.notes:
        print(f"not settled: {note}")
    return 0


def _recorded(port: str, count: int) -> tuple[list[Recording], LineSettings | None]:
    """Ask for the displays one by one, and record what comes meanwhile."""
    print(
        f"Let the display stand still each time, and type what it shows: {count} displays, two of "
        "them on one range, one over range, one negative. Such as “0.842 ohm”, “OL Mohm”, "
        "“-12.40 V hold”."
    )
    asker, link, made = Prompter(), open_link(port), list["Recording"]()
    line = None
    try:
        for number in range(1, count + 1):
            shown = asker.ask(f"Display {number} of {count}", parse_display)
            if number == 1:
                line = find_line(link, shown.text)
            made.append(Recording(shown.text, record(link)))
    finally:
        link.close()
    return made, line


def _lines(wire: FrameFormat) -> list[str]:
    facts = _facts(wire)
    lines = [
        f"{wire.name}: {plain(facts['title'])}",
        f"  line      {facts['line']}",
        f"  rate      {facts['slowest_hz']:g} to {facts['usual_hz']:g} readings a second",
        f"  frame     {facts['frame']}",
        f"  facts     {facts['facts']}: {plain(' '.join(facts['source'].split()), 400)}",
    ]
    if facts["command"] is not None:
        lines.insert(4, f"  asked by  {facts['command']!r}")
    lines.append("  knob")
    knobs = ((plain(mode["knob"]), plain(mode["accuracy"])) for mode in facts["modes"])
    lines += [f"    {knob:<14} {accuracy}".rstrip() for knob, accuracy in knobs]
    if any(mode["accuracy"] for mode in facts["modes"]):
        lines.append(f"  accuracy  {plain(facts['accuracy_source'])}")
    return lines


def _facts(wire: FrameFormat) -> dict[str, Any]:
    told = wire.description
    frame = told.frame
    length = f"{frame.length} bytes" if isinstance(frame, BytesFrame) else "lines of text"
    return {
        "name": wire.name,
        "title": told.title,
        "own": wire.own,
        "line": " or ".join(str(line.baud) for line in wire.settings)
        + f" baud, {told.line.data_bits} data bits, {told.line.parity} parity, "
        + counted(told.line.stop_bits, "stop bit"),
        "slowest_hz": told.rate.slowest_hz,
        "usual_hz": told.rate.usual_hz,
        "frame": length,
        "command": told.poll.command if told.poll is not None else None,
        "facts": told.facts,
        "source": told.source,
        "accuracy_source": told.accuracy_source,
        "modes": [
            {
                "quantity": mode.quantity,
                "knob": mode.knob or mode.quantity,
                "assumed": mode.assumed,
                "accuracy": ""
                if mode.percent is None and mode.counts is None
                else f"{mode.percent or 0:g} % + {mode.counts or 0:g} counts",
            }
            for mode in told.modes
        ],
    }


def _print_json(facts: dict[str, Any]) -> None:
    print_json(facts)

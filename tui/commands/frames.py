"""``meterlink frames``: the byte formats of streaming meters, shown and checked."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tui.commands._options import add_json

if TYPE_CHECKING:
    from drivers.frames.frame_format import FrameFormat

NAME: Final = "frames"
HELP: Final = "list, show and check descriptions of the byte formats of streaming meters"


def add_arguments(parser: argparse.ArgumentParser) -> None:
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
    add_json(parser, listing, show, check)


def add_frames(
    parser: argparse._ActionsContainer,
    text: str = "the meter's frame format, where it cannot be found out",
) -> None:
    """Declare ``--frames NAME``, kept in ``args.wire``.

    The option was once called ``--wire``, and still works under that name.

    Args:
        parser: a parser, or a group of options of which one may be given.
        text: the help on the option.
    """
    parser.add_argument("--frames", dest="wire", metavar="NAME", help=text)
    parser.add_argument("--wire", dest="wire", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Do the task that was named."""
    return {"list": _list, "show": _show, "check": _check, None: _list}[args.task](args)


def _list(args: argparse.Namespace) -> int:
    from drivers.frames.store import load_all, user_folder

    wires, faults = load_all()
    width = max(len(wire.name) for wire in wires)
    for wire in sorted(wires, key=lambda wire: wire.name):
        if args.json:
            _print_json(_facts(wire))
        else:
            own = "  (your own)" if wire.own else ""
            print(f"{wire.name:<{width}}  {wire.description.title}{own}")
    if not args.json:
        print(f"Your own descriptions belong in {user_folder()}")
    if faults:
        raise faults[0]
    return 0


def _show(args: argparse.Namespace) -> int:
    from drivers.frames.store import load

    wire = load(args.name)
    if args.json:
        _print_json(_facts(wire))
    else:
        print("\n".join(_lines(wire)))
    return 0


def _check(args: argparse.Namespace) -> int:
    from drivers.frames.sample_check import check
    from drivers.frames.store import read
    from meterlink.declared import InvalidFileError
    from meterlink.quantities.text import plain
    from meterlink.wording import counted

    wire = read(args.file)
    name = plain(args.file.name)
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


def _lines(wire: "FrameFormat") -> list[str]:
    from meterlink.quantities.text import plain

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


def _facts(wire: "FrameFormat") -> dict[str, Any]:
    from drivers.frames.description import BytesFrame
    from meterlink.wording import counted

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
    import msgspec

    print(msgspec.json.encode(facts).decode())

"""``meterlink read``: readings to standard output, as they come."""

import argparse
import itertools
import json
import math
import sys
from typing import TYPE_CHECKING, Final

from tui.commands.frames import add_frames

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from meterlink.reading import Reading

NAME: Final = "read"
HELP: Final = "print readings as they come, as text, CSV or JSON lines"

COLUMNS: Final = ("t_s", "quantity", "value", "unit", "overload", "resolution")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare port, wire, count and form."""
    parser.add_argument(
        "--port",
        required=True,
        help="VISA resource string, serial device as the system names it, or socket://HOST:PORT",
    )
    add_frames(parser)
    parser.add_argument("--visa", choices=["py", "system"], help="go through this VISA library")
    parser.add_argument("--count", type=_count, help="end after so many readings")
    parser.add_argument(
        "--quantity", choices=["resistance", "voltage"], help="what to set the meter to"
    )
    parser.add_argument(
        "--burst", type=_count, default=1, help="readings to ask for at once (default 1)"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="one JSON object a line")
    form.add_argument("--csv", action="store_true", help="comma-separated, with a header")


def run(args: argparse.Namespace) -> int:
    """Print until the count is reached, the meter ends or the user interrupts."""
    import threading

    from drivers.opening import open_source
    from drivers.scpi.dialect import ScpiOptions
    from meterlink.reading import Quantity
    from meterlink.source import MeterSetup

    show = _json_line if args.json else _csv_line if args.csv else _text_line
    source = open_source(
        args.port, wire=args.wire, visa=args.visa, options=ScpiOptions(burst=args.burst)
    )
    try:
        if args.quantity:
            setting = source.prepare(MeterSetup(quantity=Quantity(args.quantity)))
            _say_lost((*setting.lost, *setting.cautions))
        if args.csv:
            print(",".join(COLUMNS), flush=True)
        _print_all(source.readings(threading.Event()), args.count, show)
    finally:
        source.close()
    return 0


def _print_all(
    readings: "Iterable[Reading]", count: int | None, show: "Callable[[Reading], str]"
) -> None:
    from meterlink.meter_state import MeterState

    state = MeterState()
    for reading in itertools.islice(readings, count):
        if state.see(reading):
            _say_lost((*state.blocks, *state.cautions))
        print(show(reading), flush=True)


def _say_lost(lost: tuple[str, ...]) -> None:
    for sentence in lost:
        print(f"meterlink: {sentence}", file=sys.stderr)


def _json_line(reading: "Reading") -> str:
    finite = math.isfinite(reading.value) and not reading.overload
    values = (
        round(reading.t, 6),
        reading.quantity.value,
        reading.value if finite else None,
        reading.quantity.unit,
        reading.overload,
        reading.resolution,
    )
    return json.dumps(dict(zip(COLUMNS, values, strict=True)))


def _csv_line(reading: "Reading") -> str:
    """One row; an overload and a not-a-number are written as SCPI does, for ``analyse``."""
    value = reading.value
    if reading.overload:
        value = math.copysign(9.9e37, value)
    elif math.isnan(value):
        value = 9.91e37
    resolution = "" if reading.resolution is None else f"{reading.resolution:g}"
    return (
        f"{reading.t:.6f},{reading.quantity.value},{value!r},{reading.quantity.unit},"
        f"{int(reading.overload)},{resolution}"
    )


def _text_line(reading: "Reading") -> str:
    from meterlink.quantities.notation import format_value

    value = math.inf if reading.overload else reading.value
    shown = format_value(value, reading.quantity.unit, reading.resolution)
    return f"{reading.t:10.3f} s  {shown}"


def _count(text: str) -> int:
    count = int(text)
    if count < 1:
        raise ValueError
    return count


_count.__name__ = "count of 1 or more"  # argparse puts it into its sentence

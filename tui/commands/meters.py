"""Meters by themselves: ``meters`` says what is plugged in, ``read`` prints readings."""

import argparse
import itertools
import json
import math
import sys
import threading
import time
from collections.abc import Callable, Iterable
from typing import Final

from msgspec import structs

from drivers import ports
from drivers.discovery import PATIENT, FoundMeter, probe, probe_all
from drivers.opening import open_source
from drivers.ports import PortInfo
from drivers.scpi.dialect import ScpiOptions
from meterlink.declared import to_plain
from meterlink.errors import UsageError
from meterlink.judging.passport import Certificate, Passport
from meterlink.meter_state import MeterState
from meterlink.quantities.notation import format_value
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup
from tui import settings
from tui.commands.shared import frames_option, json_option, print_json, visa_option
from tui.session.meters import meter_words

_NO_METER: Final = 3


def add_meters(parser: argparse.ArgumentParser) -> None:
    """Declare the port to ask, the ports to leave alone, and the form."""
    parser.add_argument("--port", help="ask this port alone, which may be one that is not listed")
    visa_option(parser)
    parser.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="PORT",
        help="send nothing to this port; may hold * and be given several times",
    )
    passport = parser.add_argument_group("the passport of a meter, entered once")
    passport.add_argument(
        "--passport", metavar="SERIAL", help="the meter: part of what it says it is"
    )
    passport.add_argument("--certificate", metavar="NUMBER", help="of its calibration")
    passport.add_argument("--calibrated", metavar="DAY", help="such as 2026-03-01")
    passport.add_argument("--expires", metavar="DAY", help="last day of the certificate")
    passport.add_argument(
        "--found-off", type=float, metavar="PERCENT", help="of reading, in resistance"
    )
    passport.add_argument(
        "--celsius",
        type=float,
        nargs=2,
        metavar=("LOW", "HIGH"),
        help="between which its accuracy holds",
    )
    json_option(parser)
    parser.set_defaults(run=_run_meters)


def _run_meters(args: argparse.Namespace) -> int:
    """Print one entry for each port; 0 where a meter was found, else 3."""
    if args.passport is not None:
        return _enter_passport(args)
    listed = {port.name: port for port in ports.list_ports()}
    if args.port:
        found = [probe(args.port, visa=args.visa, patience=PATIENT)]
    else:
        left_alone = (*args.exclude, *settings.load().exclude)
        found = probe_all(list(listed), excluded=left_alone)
    for one in found:
        info = listed.get(one.port)
        if args.json:
            print_json(_meter_facts(one, info))
        else:
            print(meter_words(one, info), flush=True)
    if not found and not args.json:
        print(
            "No serial port and no USB instrument is plugged in. A meter on the network is "
            "asked with --port TCPIP::ADDRESS::PORT::SOCKET."
        )
    return 0 if any(one.wire for one in found) else _NO_METER


def _enter_passport(args: argparse.Namespace) -> int:
    """Add to the passport of a meter what is given, and print what is known of it now."""
    known, meter = settings.load(), args.passport.strip()
    if not meter:
        raise UsageError("a passport needs a meter: part of what it says it is, as --passport")
    if (args.certificate is None) != (args.calibrated is None):
        raise UsageError(
            "a certificate has a number and a day: give both --certificate, --calibrated"
        )
    others = tuple(one for one in known.passport if one.meter.lower() != meter.lower())
    now = next((one for one in known.passport if one not in others), Passport(meter=meter))
    if args.certificate is not None:
        fresh = Certificate(
            number=args.certificate,
            calibrated=args.calibrated,
            expires=args.expires or "",
            error=args.found_off,
        )
        kept = (one for one in now.certificate if one.number != fresh.number)
        now = structs.replace(now, certificate=(*kept, fresh))
    if args.celsius is not None:
        lowest, highest = sorted(args.celsius)
        now = structs.replace(now, lowest=lowest, highest=highest)
    settings.save(structs.replace(known, passport=(*others, now)))
    if args.json:
        print_json(to_plain(now))
        return 0
    for one in now.certificate:
        end = f", holds until {one.expires}" if one.expires else ""
        off = "" if one.error is None else f", found {one.error:+g} % off"
        print(f"{now.meter}: certificate {one.number} of {one.calibrated}{end}{off}")
    if now.drift is not None:
        print(f"{now.meter}: moves by {now.drift:+.2g} % a year")
    if now.lowest is not None:
        print(f"{now.meter}: its accuracy holds from {now.lowest:g} to {now.highest:g} °C")
    if warning := now.warning(time.strftime("%Y-%m-%d")):
        print(warning)
    return 0


def _meter_facts(found: FoundMeter, info: PortInfo | None) -> dict[str, object]:
    identity = found.identity
    return {
        "port": found.port,
        "kind": info.kind if info is not None else None,
        "description": info.description if info is not None else "",
        "usb_id": info.usb_id if info is not None else "",
        "serial_number": info.serial_number if info is not None else "",
        "holder": info.holder if info is not None else "",
        "wire": found.wire,
        "maker": identity.maker if identity is not None else "",
        "model": identity.model if identity is not None else "",
        "meter_serial": identity.serial if identity is not None else "",
        "firmware": identity.firmware if identity is not None else "",
        "heard_bytes": found.heard,
        "confidence": round(found.confidence, 3),
        "says": found.says,
    }


COLUMNS: Final = ("t_s", "quantity", "value", "unit", "overload", "resolution")


def add_read(parser: argparse.ArgumentParser) -> None:
    """Declare port, frame format, count and form."""
    parser.add_argument(
        "--port",
        required=True,
        help="VISA resource string, serial device as the system names it, or socket://HOST:PORT",
    )
    frames_option(parser)
    visa_option(parser)
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
    parser.set_defaults(run=_run_read)


def _run_read(args: argparse.Namespace) -> int:
    """Print until the count is reached, the meter ends or the user interrupts."""
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
    readings: Iterable[Reading], count: int | None, show: Callable[[Reading], str]
) -> None:
    state = MeterState()
    for reading in itertools.islice(readings, count):
        if state.see(reading):
            _say_lost((*state.blocks, *state.cautions))
        print(show(reading), flush=True)


def _say_lost(lost: tuple[str, ...]) -> None:
    for sentence in lost:
        print(f"meterlink: {sentence}", file=sys.stderr)


def _json_line(reading: Reading) -> str:
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


def _csv_line(reading: Reading) -> str:
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


def _text_line(reading: Reading) -> str:
    value = math.inf if reading.overload else reading.value
    shown = format_value(value, reading.quantity.unit, reading.resolution)
    return f"{reading.t:10.3f} s  {shown}"


def _count(text: str) -> int:
    count = int(text)
    if count < 1:
        raise ValueError
    return count


_count.__name__ = "count of 1 or more"  # argparse puts it into its sentence

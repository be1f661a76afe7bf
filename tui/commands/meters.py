"""``meterlink meters``: what is plugged in, and what it says that it is."""

import argparse
import json
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from drivers.discovery import FoundMeter
    from drivers.ports import PortInfo

NAME: Final = "meters"
HELP: Final = "list the ports, and ask or listen what is at each"

_NO_METER: Final = 3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the port to ask, the ports to leave alone, and the form."""
    parser.add_argument("--port", help="ask this port alone, which may be one that is not listed")
    parser.add_argument("--visa", choices=["py", "system"], help="go through this VISA library")
    parser.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="PORT",
        help="send nothing to this port; may hold * and be given several times",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """Print one entry for each port; 0 where a meter was found, else 3."""
    from drivers.discovery import PATIENT, probe, probe_all
    from drivers.ports import list_ports
    from tui.settings import configuration

    listed = {port.name: port for port in list_ports()}
    if args.port:
        found = [probe(args.port, visa=args.visa, patience=PATIENT)]
    else:
        left_alone = (*args.exclude, *configuration.load().exclude)
        found = probe_all(list(listed), excluded=left_alone)
    for one in found:
        info = listed.get(one.port)
        print(json.dumps(_facts(one, info)) if args.json else _text(one, info), flush=True)
    if not found and not args.json:
        print(
            "No serial port and no USB instrument is plugged in. A meter on the network is "
            "asked with --port TCPIP::ADDRESS::PORT::SOCKET."
        )
    return 0 if any(one.wire for one in found) else _NO_METER


def _text(found: "FoundMeter", info: "PortInfo | None") -> str:
    known = []
    if info is not None:
        known = [
            info.description,
            f"USB {info.usb_id}" if info.usb_id else "",
            f"serial number {info.serial_number}" if info.serial_number else "",
        ]
    about = ", ".join(part for part in known if part)
    first = f"{found.port}  ({about})" if about else found.port
    trouble = info.trouble if info is not None else ""
    return f"{first}\n    {trouble or found.says}"


def _facts(found: "FoundMeter", info: "PortInfo | None") -> dict[str, object]:
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

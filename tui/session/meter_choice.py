"""Which meter, where the user did not say: the one used last, else the only one there."""

import sys
from collections.abc import Sequence

from drivers.discovery import FoundMeter, probe_all
from drivers.ports import list_ports
from meterlink.errors import MeterError, UsageError
from tui.settings.configuration import Configuration, MeterChoice


def choose(configuration: Configuration) -> MeterChoice:
    """Return the meter to use.

    Raises:
        MeterError: none was found.
        UsageError: several were, and none of them is the one used last.
    """
    ports = [port.name for port in list_ports()]
    last = configuration.meter
    if last.port and (last.port in ports or "::" in last.port or "://" in last.port):
        return last
    print("looking for a meter...", file=sys.stderr)
    return pick(probe_all(ports, excluded=configuration.exclude))


def pick(found: Sequence[FoundMeter]) -> MeterChoice:
    """Return the only meter among ``found``; errors as for ``choose``."""
    meters = [one for one in found if one.wire and one.sure]
    if len(meters) == 1:
        # The wire is found out again at every opening: the line may run at another speed by then.
        return MeterChoice(port=meters[0].port)
    if meters:
        there = ", ".join(f"{one.port} ({one.identity})" for one in meters)
        raise UsageError(f"there is more than one meter; say which with --port: {there}")
    raise MeterError(
        "no meter was found; plug one in and switch it on, or say where it is with --port "
        "(«meterlink meters» says what is at each port)"
    )

"""Which meter: looked for beside other work, told of in words, chosen where there is one."""

import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from typing import NamedTuple

from drivers.discovery import FoundMeter, probe_all
from drivers.ports import PortInfo, list_ports
from meterlink.errors import MeterError, UsageError
from tui.settings import Configuration, MeterChoice


class AtPort(NamedTuple):
    """A port of this computer and what is there."""

    info: PortInfo
    found: FoundMeter | None
    """None while it is not known yet."""


class MeterSearch:
    """Lists the ports at once, and asks or listens what is at each on a thread of its own."""

    def __init__(self, excluded: Sequence[str]) -> None:
        """Ports that match ``excluded`` are left alone."""
        self.ports: tuple[AtPort, ...] = ()
        """What is known now."""
        self._excluded = tuple(excluded)
        self._over: Future[Sequence[FoundMeter]] = Future()
        self._changed: Callable[[], object] = lambda: None

    def start(self, changed: Callable[[], object]) -> None:
        """Begin; ``changed`` is called on the search's thread whenever ``ports`` has changed."""
        self._changed = changed
        threading.Thread(target=self._run, name="meters", daemon=True).start()

    def again(self) -> None:
        """Look once more, unless a look is under way."""
        if self.done:
            self._over = Future()
            self.start(self._changed)

    @property
    def done(self) -> bool:
        """Whether it is over."""
        return self._over.done()

    def result(self) -> Sequence[FoundMeter]:
        """Wait until it is over; return what is at every port.

        Raises:
            Exception: what it failed with.
        """
        return self._over.result()

    def _run(self) -> None:
        try:
            infos = list_ports()
            self.ports = tuple(AtPort(info, None) for info in infos)
            self._changed()
            found = probe_all([info.name for info in infos], excluded=self._excluded)
            self.ports = tuple(map(AtPort, infos, found))
            self._over.set_result(found)
        except Exception as fault:  # noqa: BLE001  # raised to whoever asks for the result
            self._over.set_exception(fault)
        self._changed()


def meter_words(found: FoundMeter, info: PortInfo | None) -> str:
    """Return a port, what the system knows of it and what is there, in two lines."""
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


def choose_meter(configuration: Configuration) -> MeterChoice:
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
    return pick_meter(probe_all(ports, excluded=configuration.exclude))


def pick_meter(found: Sequence[FoundMeter]) -> MeterChoice:
    """Return the only meter among ``found``; errors as for ``choose_meter``."""
    meters = [one for one in found if one.wire and one.sure]
    if len(meters) == 1:
        # The wire is found out again at every opening: the line may run at another speed by then.
        return MeterChoice(port=meters[0].port)
    if meters:
        there = ", ".join(f"{one.port} ({one.identity})" for one in meters)
        raise UsageError(f"there is more than one meter; say which with --port: {there}")
    raise MeterError(
        "no meter was found; plug one in and switch it on, or say where it is with --port "
        "(“meterlink meters” says what is at each port)"
    )

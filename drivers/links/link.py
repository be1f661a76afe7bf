"""What every byte link offers, the settings of a serial line, and the payload of packets."""

from collections.abc import Iterator
from typing import Annotated, Literal, Protocol

import msgspec

SLICE_S = 0.2
"""Longest time a read may block where the wish to stop has to be noticed, seconds."""


class LineSettings(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Speed, character format and control lines of a serial line."""

    baud: Annotated[int, msgspec.Meta(ge=50, le=4_000_000)] = 9600
    """Bits a second."""
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop_bits: Literal[1, 2] = 1
    dtr: bool | None = None
    """Level of Data Terminal Ready before the port opens; None leaves it to the system, which
    raises it. Some adapters are powered, or reset, by it."""
    rts: bool | None = None
    """Level of Request To Send, likewise."""


class Link(Protocol):
    """Bytes to and from one meter. One thread at a time uses it, and that one closes it."""

    @property
    def name(self) -> str:
        """The port as the user typed it; every error names it."""
        ...

    @property
    def whole(self) -> bool:
        """Whether an answer has to be read in one call.

        A message link (USB-TMC, VXI-11, HiSLIP) may lose an answer whose read was cut short,
        so there ``read`` is given the whole time that the answer may take. A byte stream keeps
        what has come and is read in slices of ``SLICE_S``.
        """
        ...

    def write(self, data: bytes) -> None:
        """Send all of ``data``.

        Raises:
            PortLostError: the port went away.
        """
        ...

    def read(self, timeout_s: float) -> bytes:
        """Return what has come, waiting up to ``timeout_s`` for the first byte.

        Empty when nothing came in that time; at most some 64 kB at once. With 0 it only takes
        what is there.

        Raises:
            PortLostError: the port went away, or the peer closed.
        """
        ...

    def discard(self) -> None:
        """Forget bytes that have come and were not read.

        Raises:
            PortLostError: the port went away.
        """
        ...

    def configure(self, line: LineSettings) -> None:
        """Set speed and format of a serial line; does nothing where there is none.

        Raises:
            MeterError: the port refuses these settings.
        """
        ...

    def close(self) -> None:
        """Give the port back. Safe to call twice; never raises."""
        ...


Byte = Annotated[int, msgspec.Meta(ge=0, le=255)]


class Packets(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How frames lie in packets, and what makes a meter send them."""

    vendor: Annotated[str, msgspec.Meta(pattern="^([0-9a-fA-F]{4})?$")] = ""
    product: Annotated[str, msgspec.Meta(pattern="^([0-9a-fA-F]{4})?$")] = ""
    """The device's own numbers, hexadecimal, as ``meterlink meters`` lists them."""
    size: Annotated[int, msgspec.Meta(ge=1, le=1024)] = 64
    """Bytes in a report, its number aside."""
    skip: Byte = 0
    """Bytes at the front that are no payload."""
    count: Byte | None = None
    """How many of the bytes that follow are payload; None for all."""
    count_at: Byte | None = None
    """The byte that says how many; it lies before the payload."""
    count_mask: Byte = 0xFF
    """Which bits of it do."""
    start: tuple[str, ...] = ()
    """Reports to send when it is opened, in hexadecimal, each begun with its number."""
    start_kind: Literal["output", "feature"] = "output"

    def payload(self, report: bytes) -> bytes:
        """Return the payload of one report; a report cut short gives what it has."""
        rest = report[self.skip :]
        if self.count_at is not None:
            if self.count_at >= len(report):
                return b""
            return rest[: report[self.count_at] & self.count_mask]
        return rest if self.count is None else rest[: self.count]


def decode_at_wrong_settings(data: bytes, sent: LineSettings, heard: LineSettings) -> bytes:
    """Return what a receiver set to ``heard`` takes ``data`` for that was sent as ``sent``.

    The receiver waits for a falling edge and then samples each bit in its middle, as every
    asynchronous receiver does. It hands on characters with a wrong parity or stop bit, as
    serial drivers do unless told otherwise.
    """
    if sent == heard:
        return data
    levels = list(_levels(data, sent))
    ratio = sent.baud / heard.baud  # sent bits in one heard bit
    received = bytearray()
    at = 0.0
    while (start := _falling_edge(levels, at)) is not None:
        value = 0
        for bit in range(heard.data_bits):
            value |= _level(levels, start + (1.5 + bit) * ratio) << bit
        received.append(value)
        # A receiver looks for the next start from the middle of the stop bit on.
        bits = 1 + heard.data_bits + (heard.parity != "none") + 0.5
        at = start + bits * ratio
    return bytes(received)


def _levels(data: bytes, line: LineSettings) -> Iterator[int]:
    """Yield the line's level for each bit time; it rests high."""
    yield 1
    for byte in data:
        bits = [byte >> number & 1 for number in range(line.data_bits)]
        yield 0
        yield from bits
        if line.parity != "none":
            yield _parity(sum(bits), line.parity)
        yield from (1,) * line.stop_bits


def _parity(ones: int, parity: str) -> int:
    fixed = {"mark": 1, "space": 0}
    if parity in fixed:
        return fixed[parity]
    return ones % 2 if parity == "even" else 1 - ones % 2


def _level(levels: list[int], at: float) -> int:
    return levels[int(at)] if at < len(levels) else 1


def _falling_edge(levels: list[int], at: float) -> int | None:
    """Return the first falling edge at or after ``at``, in bit times."""
    for place in range(max(1, int(at) + (at > int(at))), len(levels)):
        if levels[place] == 0 and levels[place - 1] == 1:
            return place
    return None

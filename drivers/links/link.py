"""What every byte link offers, and the settings of a serial line."""

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

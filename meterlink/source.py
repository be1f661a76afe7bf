"""The seam where readings come in: a live meter, a simulated one and a record look the same."""

from collections.abc import Iterator
from typing import Protocol

import msgspec

from meterlink.reading import Quantity, Reading


class Identity(msgspec.Struct, frozen=True, kw_only=True):
    """What a meter says it is. Every text is already made plain (``text.plain``)."""

    maker: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""
    port: str = ""
    """The port as the user would type it after ``--port``."""

    def __str__(self) -> str:
        named = " ".join(part for part in (self.maker, self.model, self.serial) if part)
        return named or self.port or "unnamed meter"


class MeterSetup(msgspec.Struct, frozen=True, kw_only=True):
    """What a step wants the meter to be set to. A source does what it can and says what it did."""

    quantity: Quantity = Quantity.RESISTANCE
    expected: float | None = None
    """Largest value expected, SI units, for the choice of range; None leaves it to the meter."""
    four_wire: bool = False
    """Ask for four-wire resistance where the meter has it."""


class Setting(msgspec.Struct, frozen=True, kw_only=True):
    """What the meter is really set to, as far as it tells."""

    quantity: Quantity | None = None
    range: float | None = None
    """Full scale, SI units."""
    four_wire: bool = False
    integration_s: float | None = None
    resolution: float | None = None
    """SI units; None where the meter does not tell."""
    lost: tuple[str, ...] = ()
    """What was asked for and could not be had, each a plain sentence."""
    flags: tuple[str, ...] = ()
    """What the meter answers of itself, such as ``relative``: names of ``meter_state.MEANINGS``."""
    cautions: tuple[str, ...] = ()
    """What the meter cannot be asked, each a plain sentence that belongs beside every verdict."""


class Stop(Protocol):
    """The wish to end, set from another thread; a ``threading.Event`` is one."""

    def is_set(self) -> bool:
        """Whether to end now."""
        ...

    def wait(self, timeout: float | None = None) -> bool:
        """Wait up to ``timeout`` seconds for the wish; return ``is_set()``."""
        ...


class Source(Protocol):
    """Readings, oldest first, from one meter or one record. One thread reads it."""

    @property
    def identity(self) -> Identity:
        """Who answers; known once the source is open."""
        ...

    def prepare(self, setup: MeterSetup) -> Setting:
        """Ask that what is read from now on be measured in this way.

        May be called from any thread while another is inside ``readings``; it takes effect
        between two readings. A record cannot be set and returns what it was set to.

        Raises:
            MeterError: the meter refuses the quantity itself.
        """
        ...

    def confirm(self, setup: MeterSetup) -> Setting:
        """Ask what the meter is set to now, before a held value counts.

        Called between two readings by the thread that reads. What the meter cannot be asked is
        returned as it was set; the ``quantity`` of readings to come is what it answered.

        Args:
            setup: what was asked for when it was prepared.

        Raises:
            MeterError: it does not answer, or not as a meter does.
        """
        ...

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield readings, oldest first, until ``stop`` (looked at every 0.2 s) or the end.

        Raises:
            PortLostError: the meter went away.
            MeterError: what answers does not make sense as a meter.
        """
        ...

    def close(self) -> None:
        """Leave the line as it was found. Safe to call twice."""
        ...

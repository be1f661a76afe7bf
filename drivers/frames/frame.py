"""What a decoder hands out: one whole frame, and what its status says."""

from math import inf, isnan

import msgspec

from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading


class Status(msgspec.Struct, frozen=True, kw_only=True):
    """Everything in a frame but its digits. Made once for each that appears, then shared."""

    quantity: Quantity | None
    """None where the knob is on what gives no reading here."""
    knob: str
    """What the knob is on, in words."""
    assumed: bool = False
    """The frame does not tell; ``quantity`` is what the description assumes."""
    multiplier: int = 1
    divisor: int = 1
    """The value is the digits, read as a whole number, times ``multiplier`` by ``divisor``."""
    resolution: float | None = None
    """What one count of the last digit is worth, SI units."""
    largest: float = inf
    """A larger whole number cannot be shown."""
    full: float | None = None
    """Full scale of the range, SI units."""
    overload: bool = False
    negative: bool = False
    hold: bool = False
    """The meter's own hold: the display is frozen."""
    battery_low: bool = False
    auto: bool | None = None
    """Automatic range; None where the frame does not tell."""
    flags: frozenset[str] = frozenset()
    """Every other flag that is set, under the description's name for it, these four included."""
    told: tuple[str, ...] = ()
    """Those of the flags that the engine knows (``meter_state.MEANINGS``)."""
    accuracy: Accuracy | None = None


class Frame(msgspec.Struct, frozen=True, gc=False):
    """One frame that passed every check of its format."""

    value: float
    """SI units; infinite when ``overload``, not-a-number where the meter sent that."""
    overload: bool
    status: Status
    data: bytes
    """As it came, without a line's end."""
    text: str = ""
    """The same as characters, where the format is made of them."""

    def reading(self, t: float, assumed: Quantity | None = None) -> Reading | None:
        """Return this as a reading at ``t`` seconds; None where the knob is on no quantity.

        ``assumed`` is the quantity to take where the frame does not tell it.
        """
        quantity = self.status.quantity
        if quantity is None:
            return None
        if self.status.assumed and assumed is not None:
            quantity = assumed
        status = self.status
        return Reading(
            t, self.value, quantity, status.resolution, self.overload, self.raw, status.told
        )

    @property
    def raw(self) -> str:
        """The frame for people: its characters made plain, or its bytes in hexadecimal."""
        return plain(self.text.strip()) if self.text else self.data.hex(" ")

    @property
    def valid_number(self) -> bool:
        """Whether there is a value: neither over range nor not-a-number."""
        return not self.overload and not isnan(self.value)

"""What the positions of a knob mean: quantity, scale of the digits, range, accuracy."""

from collections.abc import Iterator
from fractions import Fraction

import msgspec

from drivers.frames.description import Description, Mode, Range
from drivers.frames.frame import Status
from meterlink.declared import InvalidFileError
from meterlink.judging.accuracy import Accuracy
from meterlink.meter_state import told_flags
from meterlink.quantities.text import plain
from meterlink.reading import Quantity

NOTHING = "none"
"""The quantity of a position whose readings are passed over."""


class Scale(msgspec.Struct, frozen=True):
    """What one count is worth on one range of one mode, and how the frame says so."""

    mode: int
    """Which of the description's modes."""
    resolution: Fraction
    """SI units."""
    largest: int
    """The largest whole number that the digits show here."""
    full: float
    """Full scale, SI units."""
    accuracy: Accuracy | None
    prefix: str | None = None
    """The flag that multiplies; None for none."""
    decimals: int = 0
    """Digits behind the point, as shown."""
    code: str | None = None
    """The range code."""
    unit: str = ""
    """In lines: the unit as sent."""


def exact(number: float) -> Fraction:
    """Return the decimal number as it was written, so that nothing is lost in scaling."""
    return Fraction(repr(float(number)))


def quantity_of(mode: Mode, key: str) -> Quantity | None:
    """Return the mode's quantity; None for one that gives no readings.

    Raises:
        InvalidFileError: there is no such quantity.
    """
    if mode.quantity == NOTHING:
        return None
    try:
        return Quantity(mode.quantity)
    except ValueError:
        known = ", ".join(q.value for q in Quantity)
        raise InvalidFileError(
            f"{key}.quantity: «{plain(mode.quantity)}» is no quantity; "
            f"it must be one of {known}, or {NOTHING}"
        ) from None


def accuracy_of(wire: Description, mode: Mode, of: Range | None, full: float) -> Accuracy | None:
    """Return the accuracy on a range, from the range or else from the mode."""
    percent = of.percent if of is not None and of.percent is not None else mode.percent
    counts = of.counts if of is not None and of.counts is not None else mode.counts
    if percent is None and counts is None:
        return None
    return Accuracy(
        percent=percent or 0.0,
        counts=counts or 0.0,
        range=full if of is not None else None,
        source=plain(wire.accuracy_source),
    )


def make_scale(
    wire: Description,
    number: int,
    resolution: Fraction,
    of: Range | None,
    largest: int,
    **told: str | int | None,
) -> Scale:
    """Return the scale of mode ``number`` with this resolution, on range ``of`` where listed."""
    full = of.full if of is not None else None
    full = float(resolution * (largest + 1)) if full is None else full
    accuracy = accuracy_of(wire, wire.modes[number], of, full)
    return Scale(number, resolution, largest, full, accuracy, **told)  # type: ignore[arg-type]


def ranges_of(mode: Mode, resolution: Fraction) -> Iterator[Range | None]:
    """Yield the listed range that has this resolution; None once where no range is listed."""
    if not mode.ranges:
        yield None
    for listed in mode.ranges:
        if exact(listed.resolution) == resolution:
            yield listed
            return


def _of_mode(mode: Mode) -> frozenset[str]:
    """Flags that only tell the mode: what they say is in its quantity already.

    On alternating current a value is judged by nothing, so ``ac`` is told all the same.
    """
    return frozenset(mode.flags) - {"ac"}


def make_status(
    wire: Description, scale: Scale, flags: frozenset[str], *, negative: bool
) -> Status:
    """Return what a frame says beside its digits."""
    mode = wire.modes[scale.mode]
    quantity = quantity_of(mode, f"modes[{scale.mode}]")
    auto = "auto" in flags if "auto" in wire.flags else None
    if auto is None and "manual" in wire.flags:
        auto = "manual" not in flags
    sign = -1 if negative else 1
    return Status(
        quantity=quantity,
        knob=plain(mode.knob or mode.quantity),
        assumed=mode.assumed,
        multiplier=sign * scale.resolution.numerator,
        divisor=scale.resolution.denominator,
        resolution=float(scale.resolution),
        largest=scale.largest,
        full=scale.full,
        overload=wire.overload.flag in flags,
        negative=negative,
        hold="hold" in flags,
        battery_low="battery_low" in flags,
        auto=auto,
        flags=flags,
        told=told_flags(flags - _of_mode(mode)),
        accuracy=scale.accuracy,
    )

"""What a knob's positions mean, and what one count of the last digit is worth on each range."""

from collections.abc import Callable, Hashable, Iterator, Sequence
from fractions import Fraction
from typing import Generic, NamedTuple, TypeVar

import msgspec

from drivers.frames.description import Description, Mode, Range
from drivers.frames.framing import Status
from drivers.frames.layout import Layout
from meterlink.errors import InvalidFileError, UsageError
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
            f"{key}.quantity: “{plain(mode.quantity)}” is no quantity; "
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
        auto=auto,
        flags=flags,
        told=told_flags(flags - _of_mode(mode)),
        accuracy=scale.accuracy,
    )


class ScaleKey(NamedTuple):
    """How a frame tells its scale."""

    mode: int
    prefix: str | None
    decimals: int
    code: str | None


def compile_scales(wire: Description, layout: Layout) -> dict[ScaleKey, Scale]:
    """Return the scale of everything that a frame can tell; what is not in it is damage.

    Raises:
        InvalidFileError: a mode names what there is not, or cannot be told from another.
    """
    _check_names(wire)
    _check_apart(wire)
    shown = most_shown(layout, signed=wire.count is not None and wire.count.signed)
    scales: dict[ScaleKey, Scale] = {}
    for number, mode in enumerate(wire.modes):
        quantity_of(mode, f"modes[{number}]")
        part = wire.digits or wire.count
        largest = mode.largest or (part and part.largest) or shown
        if largest > shown:
            raise InvalidFileError(f"modes[{number}]: largest is more than the digits can show")
        found = _by_code(wire, number, largest) if wire.range else _by_point(wire, number, largest)
        if not found:
            raise InvalidFileError(f"modes[{number}]: nothing gives it a range")
        scales.update(found)
    return scales


def most_shown(layout: Layout, *, signed: bool = False) -> int:
    """Return the largest whole number that the digits, or the bytes of a count, can form."""
    if layout.count:
        return (1 << 8 * len(layout.count) - signed) - 1
    return int("".join(max(filter(str.isdigit, digit.drawn)) for digit in layout.digits))


def _by_code(wire: Description, number: int, largest: int) -> dict[ScaleKey, Scale]:
    """The scales of a mode whose range is told by a code."""
    found: dict[ScaleKey, Scale] = {}
    for place, listed in enumerate(wire.modes[number].ranges):
        key = f"modes[{number}].ranges[{place}]"
        if listed.code is None:
            raise InvalidFileError(f"{key}.code: missing")
        told = ScaleKey(number, None, 0, listed.code)
        if told in found:
            raise InvalidFileError(f"{key}.code: “{plain(listed.code)}” is another range's")
        found[told] = make_scale(
            wire, number, exact(listed.resolution), listed, largest, code=listed.code
        )
    return found


def _by_point(wire: Description, number: int, largest: int) -> dict[ScaleKey, Scale]:
    """The scales of a mode whose range follows from the point and the prefix."""
    mode = wire.modes[number]
    found: dict[ScaleKey, Scale] = {}
    for prefix in (None, *mode.prefixes):
        factor = exact(wire.prefixes[prefix]) if prefix else Fraction(1)
        for decimals in _points(wire):
            resolution = exact(mode.scale) * factor / 10**decimals
            for listed in ranges_of(mode, resolution):
                found[ScaleKey(number, prefix, decimals, None)] = make_scale(
                    wire, number, resolution, listed, largest, prefix=prefix, decimals=decimals
                )
    reached = {scale.resolution for scale in found.values()}
    for place, listed in enumerate(mode.ranges):
        if exact(listed.resolution) not in reached:
            raise InvalidFileError(
                f"modes[{number}].ranges[{place}].resolution: no point and prefix give "
                f"{listed.resolution:g}"
            )
    return found


def _points(wire: Description) -> list[int]:
    """Return how many digits can stand behind the point."""
    if wire.point is None:
        return [0]
    if wire.point.at is not None:
        return sorted(set(wire.point.codes.values()))
    return sorted({wire.point.decimals, *wire.point.flags.values()})


def _check_names(wire: Description) -> None:
    """Everything that is named elsewhere must be there."""
    named: list[tuple[str, str]] = [(f"prefixes.{name}", name) for name in wire.prefixes]
    if wire.point is not None:
        named += [(f"point.flags.{name}", name) for name in wire.point.flags]
    if wire.overload.flag is not None:
        named.append(("overload.flag", wire.overload.flag))
    for number, mode in enumerate(wire.modes):
        named += [(f"modes[{number}].flags", name) for name in mode.flags]
        for name in mode.prefixes:
            if name not in wire.prefixes:
                raise InvalidFileError(
                    f"modes[{number}].prefixes: “{plain(name)}” is not in [prefixes]"
                )
        _check_told_by_code(wire, mode, f"modes[{number}]")
    for key, name in named:
        if name not in wire.flags:
            raise InvalidFileError(f"{key}: “{plain(name)}” is not in [flags]")
    digits = len(wire.digits.at) if wire.digits else 9
    for place, shown in enumerate(wire.overload.shown):
        if len(shown) != digits:
            raise InvalidFileError(
                f"overload.shown[{place}]: “{plain(shown)}” must be {digits} characters, "
                "one for each digit"
            )
    decimals = _points(wire)
    if max(decimals) > digits:
        raise InvalidFileError("point: more digits behind the point than there are digits")


def _check_told_by_code(wire: Description, mode: Mode, key: str) -> None:
    if wire.range is not None and (wire.point is not None or mode.prefixes):
        raise InvalidFileError(
            "range: not beside [point] or prefixes; where there is a range code, "
            "each range says its resolution"
        )
    if wire.function is not None and mode.function is None:
        raise InvalidFileError(f"{key}.function: missing, as there is a [function]")


def _check_apart(wire: Description) -> None:
    """No two modes may look the same."""
    seen: dict[tuple[str | None, frozenset[str]], int] = {}
    for number, mode in enumerate(wire.modes):
        looks = (mode.function, frozenset(mode.flags))
        if looks in seen:
            raise InvalidFileError(
                f"modes[{number}]: told by the same code and flags as modes[{seen[looks]}]"
            )
        seen[looks] = number


K = TypeVar("K", bound=Hashable)


V = TypeVar("V")


class BoundedCache(dict[K, V], Generic[K, V]):
    """A dictionary that works out what it does not have, and forgets all when it is full.

    A real meter shows a handful of different states; a broken one could show them all.
    """

    def __init__(self, work_out: Callable[[K], V], most: int = 1024) -> None:
        self._work_out = work_out
        self._most = most

    def __missing__(self, key: K) -> V:
        if len(self) >= self._most:
            self.clear()
        value = self[key] = self._work_out(key)
        return value


def mode_for(wire: Description, quantity: Quantity) -> int:
    """Return the first mode that measures ``quantity``.

    Raises:
        UsageError: the format has none.
    """
    for number, mode in enumerate(wire.modes):
        if mode.assumed or mode.quantity == quantity.value:
            return number
    raise UsageError(f"the frame format {wire.name} has no {quantity.value}")


def best(scales: Sequence[Scale], value: float) -> Scale:
    """Return the finest scale that can show ``value``; the coarsest where none can."""
    for scale in scales:
        if round(exact(abs(value)) / scale.resolution) <= scale.largest:
            return scale
    return scales[-1]

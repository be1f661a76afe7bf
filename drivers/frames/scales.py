"""Every way in which a byte frame can say what one count is worth, worked out beforehand."""

from fractions import Fraction
from typing import NamedTuple

from drivers.frames.description import Description, Mode
from drivers.frames.layout import Layout
from drivers.frames.modes import Scale, exact, make_scale, quantity_of, ranges_of
from meterlink.declared import InvalidFileError
from meterlink.quantities.text import plain


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
            raise InvalidFileError(f"{key}.code: «{plain(listed.code)}» is another range's")
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
                    f"modes[{number}].prefixes: «{plain(name)}» is not in [prefixes]"
                )
        _check_told_by_code(wire, mode, f"modes[{number}]")
    for key, name in named:
        if name not in wire.flags:
            raise InvalidFileError(f"{key}: «{plain(name)}» is not in [flags]")
    digits = len(wire.digits.at) if wire.digits else 9
    for place, shown in enumerate(wire.overload.shown):
        if len(shown) != digits:
            raise InvalidFileError(
                f"overload.shown[{place}]: «{plain(shown)}» must be {digits} characters, "
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

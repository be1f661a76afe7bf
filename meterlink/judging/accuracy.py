"""A meter's published accuracy: as written, as read, and as a half-width at one reading."""

import re
from collections.abc import Sequence
from math import inf
from typing import Final

import msgspec

from meterlink.errors import NotationError
from meterlink.quantities.text import normalise, plain

_SAME = 0.01
"""Ranges named 1000 and 1 k, or 1.0001 k, are one range: within this share of each other."""


class Accuracy(msgspec.Struct, frozen=True, kw_only=True):
    """A meter's published accuracy on one range: percent of reading and counts of resolution."""

    percent: float = 0.0
    counts: float = 0.0
    of_range: float = 0.0
    """Percent of range, for makers who publish that; needs ``range``."""
    range: float | None = None
    """Full scale of the range that this holds for, SI units; None for every range."""
    source: str = ""
    """Where the figures come from: the meter's manual, its calibration certificate."""
    certificate: str = ""
    """Number of the newest certificate of calibration; empty where none is on record."""
    calibrated: str = ""
    expires: str = ""
    """Days, such as 2026-03-01."""
    drift: float | None = None
    """Percent a year that the meter moved between its last two certificates."""
    celsius: tuple[float, float] | None = None
    """Degrees Celsius between which these figures hold; None where nobody says."""
    warning: str = ""
    """What is to be said of the certificate since the record began; empty where all is well."""


def parse_accuracy(text: str) -> Accuracy:
    """Return the published accuracy that ``text`` spells.

    ``0.8%+3`` is 0.8 percent of reading and 3 counts; ``0.01%+0.004%range`` is for meters whose
    second figure is percent of range.

    Raises:
        NotationError: says what was expected.
    """
    percent = counts = of_range = 0.0
    parts = normalise(text).replace("±", "").strip().strip("()").split("+")
    for part in parts:
        match = _ACCURACY_PART.fullmatch(part.strip())
        if match is None:
            raise NotationError(
                f"“{plain(text)}” is no accuracy; expected percent of reading and counts, such as "
                "0.8%+3, or percent of reading and of range, such as 0.01%+0.004%range"
            )
        number = float(match["number"])
        if not match["percent"]:
            counts += number
        elif match["range"]:
            of_range += number
        else:
            percent += number
    if percent > 100 or of_range > 100:
        raise NotationError(f"“{plain(text)}” is no accuracy: it is over 100 percent")
    return Accuracy(percent=percent, counts=counts, of_range=of_range, source="as typed")


_ACCURACY_PART: Final = re.compile(
    r"(?P<number>[0-9]+\.?[0-9]*|\.[0-9]+)\s*"
    r"(?:(?P<percent>%)\s*(?:of\s*)?(?:(?P<range>range|full scale|fs)|reading|rdg)?"
    r"|(?:counts?|digits?|dgts?))?",
    re.IGNORECASE,
)


def accuracy_words(line: Accuracy) -> str:
    """Return an accuracy as its maker would write it."""
    words = f"{line.percent:g} %"
    if line.counts:
        words += f" and {line.counts:g} counts"
    if line.of_range:
        words += f" and {line.of_range:g} % of range"
    return words


def same_range(a: float, b: float) -> bool:
    """Return whether two full scales name one range."""
    return abs(a - b) <= _SAME * max(abs(a), abs(b))


def accuracy_at(
    accuracy: Sequence[Accuracy], value: float, range_: float | None = None
) -> Accuracy | None:
    """Return the line of a meter's specification that a reading falls under.

    The line of ``range_`` where that is known; else the smallest range that holds ``value``,
    else one that is for every range. None where there is none to go by.
    """
    if len(accuracy) < 2:
        return accuracy[0] if accuracy else None
    general = next((line for line in accuracy if line.range is None), None)
    ranged = sorted((a for a in accuracy if a.range is not None), key=_full_scale)
    if range_ is not None:
        named = next((a for a in ranged if same_range(_full_scale(a), range_)), None)
        if named is not None or general is not None:
            return named or general
    holding = (a for a in ranged if _full_scale(a) >= max(abs(value), range_ or 0.0))
    return next(holding, None) or general or (ranged[-1] if ranged else None)


def gain_part(line: Accuracy, value: float) -> float:
    """Return the half-width that grows with the reading: percent of reading."""
    return line.percent / 100 * abs(value)


def constant_part(line: Accuracy, resolution: float, range_: float | None = None) -> float:
    """Return the half-width that is the same all over a range: counts and percent of range."""
    full_scale = line.range if line.range is not None else range_
    return line.counts * resolution + line.of_range / 100 * (full_scale or 0.0)


def _full_scale(line: Accuracy) -> float:
    return inf if line.range is None else line.range

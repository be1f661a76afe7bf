"""The meter's passport: its certificates, when they end, and where its accuracy holds.

Entered once a meter; the lines of its published accuracy then carry what matters of it, so that
verdict, record and report say it, and a replay says the same.
"""

from collections.abc import Sequence
from datetime import date
from typing import Final

import msgspec
from msgspec import structs

from meterlink.errors import NotationError
from meterlink.judging.accuracy import Accuracy
from meterlink.quantities.text import plain

PER_KELVIN: Final = 0.1
"""Share of its accuracy that a meter is worse for each kelvin outside its limits. Common practice,
no published source: makers print 0.1 times the accuracy a degree."""
DAYS_A_YEAR: Final = 365.25


class Certificate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One calibration of a meter."""

    number: str
    calibrated: str
    """Day, such as 2026-03-01."""
    expires: str = ""
    """Last day that it holds for; empty where none is stated."""
    error: float | None = None
    """Percent of reading that the meter was found off in resistance; None where it is not told."""

    def __post_init__(self) -> None:
        _day(self.calibrated)
        if self.expires and _day(self.expires) < _day(self.calibrated):
            raise NotationError(f"certificate {plain(self.number, 40)} ends before it begins")


class Passport(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is known of one meter beside its accuracy."""

    meter: str
    """Part of what the meter says it is, its serial number best."""
    certificate: tuple[Certificate, ...] = ()
    """In any order; the newest counts."""
    lowest: float | None = None
    highest: float | None = None
    """Degrees Celsius between which the published accuracy holds; None: not told."""

    @property
    def newest(self) -> Certificate | None:
        """The certificate that counts."""
        return max(self.certificate, key=lambda one: one.calibrated, default=None)

    @property
    def drift(self) -> float | None:
        """Percent a year that the meter moved between its last two certificates."""
        told = sorted(
            (one for one in self.certificate if one.error is not None),
            key=lambda one: one.calibrated,
        )
        if len(told) < 2:
            return None
        before, now = told[-2:]
        days = (_day(now.calibrated) - _day(before.calibrated)).days
        if days <= 0 or now.error is None or before.error is None:
            return None
        return (now.error - before.error) / days * DAYS_A_YEAR

    def warning(self, today: str) -> str:
        """Return what is to be said of the certificate on a day; empty where all is well."""
        newest = self.newest
        if newest is None:
            return "The meter has no certificate on record."
        if newest.expires and _day(newest.expires) < _day(today):
            return (
                f"The meter's certificate {plain(newest.number, 40)} ended on {newest.expires}: "
                "have it calibrated, or check it against a known resistor."
            )
        return ""

    def on(self, lines: Sequence[Accuracy], today: str) -> tuple[Accuracy, ...]:
        """Return the lines of the meter's accuracy with what this says, on a day."""
        newest = self.newest
        limits = None
        if self.lowest is not None and self.highest is not None:
            limits = (self.lowest, self.highest)
        return tuple(
            structs.replace(
                line,
                certificate="" if newest is None else plain(newest.number, 40),
                calibrated="" if newest is None else newest.calibrated,
                expires="" if newest is None else newest.expires,
                drift=self.drift,
                celsius=limits,
                warning=self.warning(today),
            )
            for line in lines
        )


def beyond_limits(line: Accuracy, celsius: float | None) -> float:
    """Return by how many kelvins a bench lies outside the limits of an accuracy."""
    if line.celsius is None or celsius is None:
        return 0.0
    low, high = line.celsius
    return max(0.0, low - celsius, celsius - high)


def widened(line: Accuracy, celsius: float | None) -> Accuracy:
    """Return the accuracy that holds on a bench of this temperature."""
    outside = beyond_limits(line, celsius)
    if not outside:
        return line
    more = 1 + PER_KELVIN * outside
    return structs.replace(
        line,
        percent=line.percent * more,
        counts=line.counts * more,
        of_range=line.of_range * more,
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        raise NotationError(f"“{plain(text, 40)}” is no day; expected such as 2026-03-01") from None

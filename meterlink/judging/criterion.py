"""What a step judges a value by: the window, where open and short begin, and the rule of decision.

The verdict stays that of simple acceptance (JCGM 106:2012, 8.2). By a guarded rule (clause 8) what
lies in its guard band is left undecided, to be measured better, rather than scrapped or passed.
"""

from enum import Enum
from functools import cached_property
from math import inf
from typing import Final, NamedTuple, Self

import msgspec

from meterlink.errors import NotationError
from meterlink.events import Verdict
from meterlink.judging.correction import REFERENCE
from meterlink.quantities.window import Window

OPEN_TIMES: Final = 10.0
OPEN_LEAST: Final = 10e3
"""Where nobody says above what a reading counts as open: ten times the window's high end, and no
less than 10 kohm, about the least that a body across the tips lets through. Common practice, no
published source."""
SHORT_SHARE: Final = 0.1
"""Where nobody says below what a value counts as short: a tenth of the window's low end. Common
practice, no published source."""
CLOSED_BELOW: Final = 10.0
"""Ohms under which a switch that should be open counts as closed. Common practice, no published
source."""


class Kind(Enum):
    """What is measured, and so which corrections and verdicts apply."""

    WINDING = "winding"
    """Copper: judged at the window's reference temperature, less what lies in series."""
    PART = "part"
    """Anything else with a window, as found: a lead, a cap, a voltage."""
    CLOSED = "closed"
    """A switch or wire that should conduct."""
    OPEN = "open"
    """A switch or insulation that should not conduct."""


class Region(msgspec.Struct, frozen=True):
    """A stretch of values that have one verdict, from the end of the one before."""

    verdict: Verdict
    low: float
    high: float
    includes_high: bool

    def reaches(self, value: float) -> bool:
        """Return whether ``value`` is no higher than this; the lowest such region holds it."""
        return value < self.high or (self.includes_high and value == self.high)


class Criterion(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """Window and limits in the window's SI unit, as seen after all corrections.

    Make one with ``winding``, ``part``, ``closed`` or ``open``.
    """

    kind: Kind
    window: Window
    open_above: float | None = None
    """A value above this counts as open; None: only an over range does."""
    short_below: float | None = None
    """A value below this counts as short; None: none does."""
    reference: float | None = None
    """Degrees Celsius that the window holds for; None: judged at the temperature as found."""
    series: float = 0.0
    """Ohms in line with the winding that are not copper; they are subtracted."""
    series_tolerance: float = 0.0
    """Percent of ``series``, a rectangular half-width."""
    takes_temperature: bool = True
    """False: nobody can take this winding's temperature, so what was taken is not its own."""

    def __post_init__(self) -> None:
        if self.open_above is not None and self.open_above < self.window.ceiling < inf:
            raise NotationError(
                f"what counts as open, {self.open_above:g}, is below the high limit "
                f"{self.window.ceiling:g}; it must be above"
            )
        if self.short_below is not None and -inf < self.window.floor < self.short_below:
            raise NotationError(
                f"what counts as short, {self.short_below:g}, is above the low limit "
                f"{self.window.floor:g}; it must be below"
            )

    @classmethod
    def winding(
        cls,
        window: Window,
        *,
        reference: float | None = REFERENCE,
        open_above: float | None = None,
        short_below: float | None = None,
        series: float = 0.0,
        series_tolerance: float = 0.0,
        takes_temperature: bool = True,
    ) -> Self:
        """Return the criterion of a copper winding; ``reference`` None judges it as found."""
        return cls(
            kind=Kind.WINDING,
            window=window,
            reference=reference,
            open_above=_open_above(window) if open_above is None else open_above,
            short_below=_short_below(window) if short_below is None else short_below,
            series=series,
            series_tolerance=series_tolerance,
            takes_temperature=takes_temperature,
        )

    @classmethod
    def part(cls, window: Window) -> Self:
        """Return the criterion of a part that is not copper, or of a voltage."""
        return cls(
            kind=Kind.PART,
            window=window,
            open_above=_open_above(window),
            short_below=_short_below(window),
        )

    @classmethod
    def given(
        cls, window: Window, *, reference: float | None = None, temperature_known: bool = False
    ) -> Self:
        """Return the criterion of a window given by hand, with no profile behind it.

        In ohms it is a winding's: as found, unless a reference temperature or the winding's own
        is given, when it holds for that reference (20 °C where only the other is told).
        """
        if window.unit != "ohm":
            return cls.part(window)
        if reference is None and temperature_known:
            reference = REFERENCE
        return cls.winding(window, reference=reference)

    @classmethod
    def closed(cls, at_most: float, open_above: float | None = None) -> Self:
        """Return the criterion of a switch that should be closed: at most so many ohms."""
        window = Window(None, at_most)
        above = _open_above(window) if open_above is None else open_above
        return cls(kind=Kind.CLOSED, window=window, open_above=above)

    @classmethod
    def open(cls, at_least: float) -> Self:
        """Return the criterion of a switch or insulation that should be open.

        At least so many ohms count as open, not only an over range: a body across the tips, or
        damp, turns an open path into a high reading.
        """
        short = CLOSED_BELOW if at_least > CLOSED_BELOW else None
        return cls(kind=Kind.OPEN, window=Window(at_least, None), short_below=short)

    @property
    def good(self) -> Verdict:
        """The verdict that passes."""
        return Verdict.OPEN if self.kind is Kind.OPEN else Verdict.IN_WINDOW

    @cached_property
    def regions(self) -> tuple[Region, ...]:
        """Every verdict with its stretch of values, lowest first; together they hold them all."""
        ends: list[tuple[Verdict, float, bool]] = []
        window = self.window
        if self.short_below is not None:
            ends.append((Verdict.SHORT, self.short_below, False))
        # No resistance lies below zero, whatever a meter shows: below such a window is nothing.
        if window.low is not None and not (window.unit == "ohm" and window.low <= 0):
            ends.append((Verdict.BELOW, window.low, False))
        if window.high is None:
            ends.append((self.good, inf, True))
        else:
            ends.append((self.good, window.high, True))
            if self.open_above is None:
                ends.append((Verdict.ABOVE, inf, True))
            else:
                ends.append((Verdict.ABOVE, self.open_above, True))
                ends.append((Verdict.OPEN, inf, True))
        lows = [-inf, *(high for _, high, _ in ends)]
        return tuple(
            Region(verdict, low, high, includes)
            for low, (verdict, high, includes) in zip(lows, ends, strict=False)
        )

    def verdict(self, value: float) -> Verdict:
        """Return the verdict whose stretch holds ``value``."""
        for region in self.regions:
            if region.reaches(value):
                return region.verdict
        raise ValueError("not-a-number has no verdict")

    @cached_property
    def edges(self) -> tuple[float, ...]:
        """The values at which the verdict changes, lowest first."""
        return tuple(region.high for region in self.regions[:-1])


def _open_above(window: Window) -> float | None:
    if window.unit != "ohm" or window.high is None:
        return None
    return max(OPEN_TIMES * window.high, OPEN_LEAST)


def _short_below(window: Window) -> float | None:
    if window.unit != "ohm" or window.low is None or window.low <= 0:
        return None
    return SHORT_SHARE * window.low


GUARD: Final = 0.95
"""Probability that a guarded decision must have; the guard band is 1.645 u wide (8.3, table 1)."""


class Rule(Enum):
    """By which rule a part is accepted or rejected."""

    SIMPLE = "simple"
    """By the best estimate alone (8.2): either risk may reach 50 % at the limit."""
    GUARDED_ACCEPTANCE = "guarded-acceptance"
    """Accepted only where it conforms with 95 % (8.3.2); rejected outside the limits."""
    GUARDED_REJECTION = "guarded-rejection"
    """Rejected only where it does not conform with 95 % (8.3.3); accepted inside the limits."""


class Decision(Enum):
    """What the rule makes of a value."""

    ACCEPT = "accept"
    REJECT = "reject"
    UNDECIDED = "undecided"


class Decided(NamedTuple):
    """A decision, and how likely it is wrong."""

    decision: Decision
    risk: float | None
    """Specific risk (9.3.2): the consumer's of what is accepted, the producer's of what is
    rejected; None where nothing is decided."""


def decide(rule: Rule, *, conforms: bool, probability: float, against: float) -> Decided:
    """Return the decision on a value.

    Args:
        rule: to go by.
        conforms: the best estimate lies within the limits.
        probability: that the true value does.
        against: that it does not. The two sum to one unless something keeps both from being sure.
    """
    if rule is Rule.GUARDED_ACCEPTANCE and conforms and probability < GUARD:
        return Decided(Decision.UNDECIDED, None)
    if rule is Rule.GUARDED_REJECTION and not conforms and against < GUARD:
        return Decided(Decision.UNDECIDED, None)
    if conforms:
        return Decided(Decision.ACCEPT, 1 - probability)
    return Decided(Decision.REJECT, 1 - against)

"""The step of the last digit: as the driver tells it, or as it shows in what the meter sends."""

from collections import deque
from itertools import islice, pairwise
from math import inf
from typing import Final

from meterlink.reading import Reading

_NEAR: Final = 0.02
"""Values within this share of the newest are on the same range."""
_PRINTED: Final = 1e-7
"""Digits finer than this share of the value are printed, not resolved."""
_COARSEST: Final = 0.006
"""A step between values is no larger share of them: 2,000 counts, down to 170 of them."""
_REMEMBERED: Final = 400
"""Most stretches of values, one for each leading digit of each decade, that are remembered."""
_TOLD_MOST: Final = 1e30
"""A step that is told and larger than this is none."""
_FEW: Final = 4
"""Readings whose digits are looked at one by one."""


def step_of_digits(value: float) -> float:
    """Step of the last digit that ``value`` shows: 82.3 shows 0.1, 4700 shows 100.

    A float has lost its trailing zeros, so this is the coarsest step that fits.
    """
    return _digits(value)[0]


def _digits(value: float) -> tuple[float, int]:
    """Step of the last digit shown, and decade and leading digit as one number: 4700 gives 34.

    Ranges end at a leading digit, so values that share it share a step.
    """
    if not value:
        return 0.0, 0
    text = f"{abs(value):.12e}"
    shown, power = text[:14].rstrip("0"), int(text[15:])
    step: float = 10.0 ** (power - max(len(shown) - 2, 0))
    return step, 10 * power + int(text[0])


def step_between(values: list[float]) -> float:
    """Smallest difference between values that a converter rounded, or 0 where none shows.

    Noise that is not rounded never gives the same value twice, so a repeat tells of a step, and
    the same smallest difference twice tells how large it is.
    """
    distinct = sorted(set(values))
    if len(distinct) < 3 or len(distinct) == len(values):
        return 0.0
    noise = abs(distinct[-1]) * 1e-9
    gaps = sorted([b - a for a, b in pairwise(distinct) if b - a > noise])
    return gaps[0] if len(gaps) > 1 and gaps[1] < 1.01 * gaps[0] else 0.0


class StepSeen:
    """The step of the last digit as it shows in what the meter sends.

    A meter that prints a fixed number of digits shows its step in the finest digit met among
    values of the same leading digit and decade. One that prints nine digits of mantissa resolves
    fewer; there the smallest difference between values tells, once some of them repeat.
    """

    def __init__(self, kept: int = 16) -> None:
        self._values: deque[float] = deque(maxlen=kept)
        self._finest: dict[int, float] = {}
        """By leading digit and decade, as ranges end at a leading digit."""
        self._key = 0
        """That of the newest value ..."""
        self._from = self._to = 0.0
        """... and the sizes that share it."""
        self._resolved: dict[int, float] = {}
        """Steps that differences told, by the same."""

    def clear(self) -> None:
        """Forget the newest readings; the finest digits stay known."""
        self._values.clear()

    def add(self, value: float) -> None:
        """Take a reading as the meter sent it."""
        self._values.append(value)
        if self._tells_nothing(abs(value)):
            return
        step, key = _digits(value)
        self._key = key
        self._from = self._to = 0.0
        if step:
            known = self._finest.get(key, inf if len(self._finest) < _REMEMBERED else 0.0)
            if step < known:
                self._finest[key] = step
            decade, first = divmod(key, 10)
            self._from, self._to = first * 10.0**decade, (first + 1) * 10.0**decade

    def _tells_nothing(self, size: float) -> bool:
        """Whether a value shares its leading digit with the one before and shows no finer digit."""
        if not self._from <= size < self._to:
            return False
        finest = self._finest.get(self._key, 0.0)
        if finest <= _PRINTED * size:
            return True
        counts = size / finest
        return abs(counts - round(counts)) < 1e-6

    @property
    def step(self) -> float:
        """Step of the last digit about the newest reading, 0 where none shows."""
        newest = self._values[-1] if self._values else 0.0
        if not newest:
            return 0.0
        size = abs(newest)
        finest = self._finest.get(self._key, 0.0)
        if _PRINTED * size < finest < _COARSEST * size:
            return finest
        reach = max(_NEAR * size, 3 * finest)
        near = [v for v in self._values if abs(v - newest) <= reach]
        if finest <= _PRINTED * size:
            return self._resolve(step_between(near), size)
        # Three hundred ohms may be 300.0: few digits count only where neighbours differ in them.
        counts = [v / finest for v in near]
        whole = all(abs(c - round(c)) < 1e-6 for c in counts)
        return finest if whole and len(set(map(round, counts))) > 1 else 0.0

    def _resolve(self, step: float, size: float) -> float:
        """Remember a step that shows; where none does now, return the one that did before."""
        known = self._resolved.get(self._key, 0.0)
        if not 0.0 < step < _COARSEST * size:
            return known
        if known or len(self._resolved) < _REMEMBERED:
            self._resolved[self._key] = step = min(step, known or step)
        return step

    @property
    def shown(self) -> float:
        """Finest digit that the few newest readings show; 0 where they are all zeros."""
        few = islice(reversed(self._values), _FEW)
        return min(filter(None, map(step_of_digits, few)), default=0.0)

    @property
    def at_most(self) -> float:
        """How coarse the step can be where ``step`` shows none although values repeat; else 0.

        Noise that is not rounded never repeats itself.
        """
        if not self._values or not self._values[-1]:
            return 0.0
        newest = self._values[-1]
        size = abs(newest)
        near = [v for v in self._values if abs(v - newest) <= _NEAR * size]
        distinct = sorted(set(near))
        if len(distinct) == len(near):
            return 0.0
        return min(
            [b - a for a, b in pairwise(distinct)], default=max(_COARSEST * size, self.shown)
        )


class LastDigit:
    """The step of the last digit in the current touch."""

    def __init__(self) -> None:
        self._seen = StepSeen()
        self._told: float | None = None
        self._coarser = 0

    def clear(self) -> None:
        """Forget the touch; the digits that the meter has shown stay known."""
        self._seen.clear()
        self._told, self._coarser = None, 0

    def take(self, reading: Reading, newest: float | None) -> None:
        """Take a reading; ``newest`` is the value of the touch before it, None for none."""
        if reading.resolution != self._told:
            self._tell(reading.value, reading.resolution, newest)
        else:
            self._coarser = 0
        if self._told is None:
            self._seen.add(reading.value)

    def _tell(self, value: float, resolution: float | None, newest: float | None) -> None:
        """Follow the resolution that is told, finer at once and coarser with some doubt.

        Where it comes from the digits as sent, a value that happens to end in zeros looks ten
        times as coarse as its neighbours. Another range shows in several readings in a row, or
        with another value.
        """
        if resolution is None or not 0 < resolution < _TOLD_MOST:
            self._told = None
            return
        known = self._told
        self._coarser = self._coarser + 1 if known and resolution > 1.4 * known else 0
        elsewhere = newest is None or not 0.5 * abs(newest) <= abs(value) <= 2 * abs(newest)
        if not known or not self._coarser or self._coarser > 3 or elsewhere:
            self._told = resolution
            self._coarser = 0

    @property
    def step(self) -> float:
        """The step; 0 where none is known."""
        return self._seen.step if self._told is None else self._told

    @property
    def shown(self) -> float:
        """Finest digit that the newest readings show; 0 where the step is told."""
        return self._seen.shown if self._told is None else 0.0

    @property
    def at_most(self) -> float:
        """How coarse a step can be that is not known; 0 where values do not repeat."""
        return self._seen.at_most

"""Short hand-made streams of readings for tests."""

import random
from collections.abc import Iterable, Sequence
from math import inf

from meterlink.events import Contact, Held, Lift, TouchEvent
from meterlink.hold.detector import HoldDetector
from meterlink.reading import Quantity, Reading


def readings(
    values: Iterable[float],
    rate: float = 5.0,
    start: float = 0.0,
    resolution: float | None = 0.01,
    quantity: Quantity = Quantity.RESISTANCE,
) -> list[Reading]:
    """Readings at even times; an infinite value is an overload."""
    return [
        Reading(
            t=start + i / rate,
            value=v,
            quantity=quantity,
            resolution=resolution,
            overload=v == inf,
        )
        for i, v in enumerate(values)
    ]


def noisy(value: float, n: int, sd: float, seed: int = 1, step: float = 0.01) -> list[float]:
    """``n`` values about ``value``, rounded to ``step``."""
    rng = random.Random(seed)
    return [round((value + rng.gauss(0, sd)) / step) * step for _ in range(n)]


def air(n: int) -> list[float]:
    """Overloads."""
    return [inf] * n


def events(stream: Sequence[Reading], detector: HoldDetector | None = None) -> list[TouchEvent]:
    """Everything that a stream brings about, its end included."""
    d = detector or HoldDetector()
    return [e for r in stream for e in d.feed(r)] + list(d.close())


def holds(stream: Sequence[Reading], detector: HoldDetector | None = None) -> list[Held]:
    """The holds of a stream."""
    return [e for e in events(stream, detector) if isinstance(e, Held)]


def kinds(stream: Sequence[Reading]) -> list[str]:
    """Names of contacts, holds and lifts in order."""
    return [type(e).__name__ for e in events(stream) if isinstance(e, Contact | Held | Lift)]

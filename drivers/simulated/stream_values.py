"""What a streaming meter shows while someone probes a row of resistances, over and over."""

import random
from collections.abc import Iterator, Sequence
from math import exp, inf
from typing import Final

OHMS: Final = (0.84, 5130.0, 0.31, 11_800.0)
"""What is probed where nothing else is asked for: a primary, a secondary, a closed switch, and a
secondary with its plug cap."""

_AIR_S: Final = 2.0
_TOUCH_S: Final = 4.0
_SETTLES_S: Final = 0.3
_NOISE: Final = 0.001
_LEADS: Final = 0.12


def touches(rng: random.Random, rate_hz: float, ohms: Sequence[float] = OHMS) -> Iterator[float]:
    """Yield the ohms at the meter's sockets, infinite in the air, ``rate_hz`` times a second.

    Each touch begins high, as the tips bed in, and settles to the resistance and the leads with a
    little noise; between touches the probes are in the air.
    """
    air, touch = round(_AIR_S * rate_hz), round(_TOUCH_S * rate_hz)
    while True:
        for resistance in ohms:
            for _ in range(max(1, air)):
                yield inf
            for number in range(max(1, touch)):
                bedding = 0.5 * exp(-number / (rate_hz * _SETTLES_S))
                yield max(0.0, (resistance + _LEADS) * (1 + rng.gauss(0, _NOISE)) + bedding)

"""Whether the outcomes can come from one fault at all.

Each outcome is compared with the one that the fault would most likely give: how many bits short
of that it falls. The sum over the outcomes is the fault's surprise. ``fit`` is the probability
that this fault would surprise at least as much by chance; where even the best-fitting fault
has hardly any, something was read wrongly or there are two faults.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from meterlink.finding.model import Array
from meterlink.finding.posterior import Taken

Steps = NDArray[np.int64]

LEAST_FIT: Final = 0.02
"""Below this for every fault the outcomes contradict each other. By the meaning of ``fit``, an
engine with one fault is said to contradict itself at most this often."""

ODD: Final = 20.0
"""An outcome so many times less likely than the likeliest does not fit a fault."""

_STEP: Final = 1 / 16
"""Bits; surprises are rounded to this so that equal sums are equal."""


def surprise(taken: Taken, outcome: int) -> Array:
    """Return the bits by which ``outcome`` falls short of each fault's likeliest one."""
    result: Array = _short(taken)[:, outcome].astype(np.float64) * _STEP
    return result


def fit(seen: Sequence[tuple[Taken, int]]) -> Array:
    """Return for each fault the probability to be surprised at least as much as it was.

    ``seen`` holds the certain outcomes, as taken in, with the outcome's place; a close verdict
    leaves too much open to contradict anything.
    """
    if not seen:
        return np.ones(1)
    shorts = [_short(taken) for taken, _ in seen]
    total = sum(short[:, outcome] for short, (_, outcome) in zip(shorts, seen, strict=True))
    longest = sum(int(short.max()) for short in shorts)
    faults = len(shorts[0])
    spread = np.zeros((faults, longest + 1))
    spread[:, 0] = 1.0
    for short, (taken, _) in zip(shorts, seen, strict=True):
        spread = _convolved(spread, short, taken.expected)
    places = np.arange(longest + 1)
    result: Array = np.where(places >= np.asarray(total)[:, None], spread, 0.0).sum(axis=1)
    return result


def _short(taken: Taken) -> Steps:
    """Return how far each outcome falls short of the likeliest, shaped fault, outcome."""
    likeliest = taken.expected.max(axis=1, keepdims=True)
    result: Steps = np.rint(np.log2(likeliest / taken.expected) / _STEP).astype(np.int64)
    return result


def _convolved(spread: Array, short: Steps, shares: Array) -> Array:
    """Return the distribution of the sum after one more check."""
    result = np.zeros_like(spread)
    for fault, (moves, weights) in enumerate(zip(short, shares, strict=True)):
        for move, weight in zip(moves, weights, strict=True):
            result[fault, move:] += weight * spread[fault, : spread.shape[1] - move]
    return result

"""Recorded outcomes made into evidence: said, left open by a close verdict, measured, repeated.

What a verdict keeps of a value is which of five boxes it fell into. The value itself tells more: a
little above the limits is mostly a sound part or a bad touch, a hundred times above never is. So
each outcome has a density over the values that it gives, convolved with the uncertainty of this
one. The densities overlap, and nothing jumps at a limit.

The spreads are judgements of the authors: a sound part lies within its window like a normal
distribution whose two standard deviations reach the limits; shorted turns take away from 3 % to
three quarters, alike in every decade; a corroded joint adds from 3 % to a thousand times and a
megohm at least, alike in every decade; a short leaves up to a quarter; a break reads over range, or
high through carbon and fingers.
"""

from collections.abc import Mapping, Sequence
from math import erf, fsum, isfinite, log, sqrt
from typing import Final

import msgspec
import numpy as np

from meterlink.errors import UsageError
from meterlink.finding.model import Array, Model, Node, Shown
from meterlink.finding.shape import UNSAID, WORTH_SAYING, unknown
from meterlink.quantities.text import plain

_STEPS: Final = 80
CORRODED_OHM: Final = 1e6
"""The most that a corroded joint or burnt suppressor adds."""
FINGERS_OHM: Final = 1e8
"""The most that reads as a number across a break."""
_FINITE_OPENS: Final = 0.1
"""Share of the breaks that read as a number."""
WIDEST_GAP: Final = 9.0
"""The most that a gap which is too wide adds, in windows' middles."""
GOOD_INSULATION: Final = 1e4
"""Times the least that it must have, good insulation that reads as a number may have."""
LEAKS_FROM_OHM: Final = 1e3
_READS_FINITE: Final = 0.2
"""Share of the good insulations that read as a number."""
_BLURRED: Final = 0.1
"""Least relative uncertainty of a resistance that high, through air and dirt: its logarithm's."""
_STRANGE: Final = 0.01
"""Density per unit of the value's logarithm under which a value is odd."""


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """A value held by the meter or gauged, after its corrections, with the window it belongs in."""

    value: float
    """Ohms, or metres for a gap; infinite for over range."""
    u: float
    """Standard uncertainty, in the same unit."""
    low: float
    high: float
    """Infinite for an insulation, which only has to be high enough."""
    gap: bool = False
    """It is a distance, to which nothing adds itself as to a resistance."""
    twice: bool = False
    """Two touches agreed on it."""


def densities(measured: Measured) -> tuple[dict[str, float], bool]:
    """Return the density of the value under each verdict, and whether it is odd under all.

    The densities have a common factor that does not matter.
    """
    value, u = measured.value, measured.u
    if not isfinite(measured.high):
        return _insulating(measured), False
    if not isfinite(value):
        return {"short": 0.0, "below": 0.0, "in-window": 0.0, "above": 0.0, "open": 1.0}, False
    middle = (measured.low + measured.high) / 2
    spread = float(np.hypot((measured.high - measured.low) / 4, u))
    shares, share_step = _in_decades(0.03, 0.95 if measured.gap else 0.75)
    # What adds itself in ohms, not in shares of the part: beside a small window it goes further.
    most = WIDEST_GAP if measured.gap else max(1e3, CORRODED_OHM / middle)
    adds, add_step = _in_decades(0.03, most)
    breaks, break_step = _in_decades(30.0, max(1e7, FINGERS_OHM / middle))
    shorts = np.linspace(0.0, 0.25, _STEPS)
    found = {
        "in-window": _mean(value, np.array([middle]), spread, np.zeros(1)),
        "below": _mean(value, middle * (1 - shares), spread, middle * shares * share_step),
        "above": _mean(value, middle * (1 + adds), spread, middle * adds * add_step),
    }
    if not measured.gap:
        opens = _mean(value, middle * (1 + breaks), spread, middle * breaks * break_step)
        short = np.full(_STEPS, middle * 0.25 / _STEPS)
        found |= {"short": _mean(value, middle * shorts, u, short), "open": _FINITE_OPENS * opens}
    scale = max(abs(value), spread)
    strange = max(found.values()) * scale < _STRANGE
    # Far from everything all densities vanish; then the value says nothing.
    least = 1e-12 / scale
    return {verdict: density + least for verdict, density in found.items()}, strange


def _insulating(measured: Measured) -> dict[str, float]:
    """Return the densities of an insulation's value, for each unit of its logarithm.

    Good insulation reads over range, or from its least on alike in every decade; one that leaks
    reads alike in every decade below.
    """
    least, value = measured.low, measured.value
    if not isfinite(value):
        return {"in-window": 1.0, "below": 0.0}
    at = log(max(value, LEAKS_FROM_OHM / 10))
    blur = max(measured.u / max(value, 1e-9), _BLURRED)

    def alike(low: float, high: float) -> float:
        start, end = log(low), log(high)
        inside = _up_to((end - at) / blur) - _up_to((start - at) / blur)
        return inside / (end - start) + 1e-12

    return {
        "in-window": _READS_FINITE * alike(least, GOOD_INSULATION * least),
        "below": alike(min(LEAKS_FROM_OHM, least / 10), least),
    }


def _up_to(deviations: float) -> float:
    """Return the share of a normal distribution that lies below so many standard deviations."""
    return (1 + erf(deviations / sqrt(2))) / 2


def _in_decades(low: float, high: float) -> tuple[Array, float]:
    """Return values between two, as many in every decade, and by what share each is higher."""
    return np.geomspace(low, high, _STEPS), float(np.log(high / low)) / _STEPS


def _mean(value: float, centres: Array, spread: float, widths: Array) -> float:
    """Return the density of a mixture of normal distributions.

    Each is as wide as ``spread`` and its own of ``widths`` together, so that there are no gaps
    between them.
    """
    sigma = np.hypot(spread, widths)
    each = np.exp(-0.5 * ((value - centres) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    return float(each.mean())


SLIP: Final = 0.1
"""Probability that somebody states an open where there is none: judgement of the authors, the same
as in ``judging.assess.TRUST``."""


HELD_TWICE: Final = 0.3
"""How easily a check goes wrong on which two touches agree, beside one that is looked at once. The
same slip twice is rare, a probe on the wrong place both times is not: judgement of the authors."""


class Said(msgspec.Struct, frozen=True):
    """An outcome that nobody measured: somebody's word, which can be wrong."""

    outcome: str


Once = str | Said | Mapping[str, float] | Measured
"""An outcome, one that is only said, the relative likelihood of each that is left open, or a value
that was measured."""
Outcome = Once | Sequence[Once]
"""What a check showed: once, or as often as it was done."""

_BY_VALUE: Final = ("short", "below", "in-window", "above", "open")
"""Verdict codes in the order of the resistance."""


class RecordedOutcome(msgspec.Struct, frozen=True):
    """The outcomes of a job, in the model's terms; checks stand in the table's order."""

    evidence: Mapping[str, Array]
    """By check, the relative likelihood of what was recorded: slip rate, outcome."""
    words: Mapping[str, str]
    """By check, the outcome as a technician would say it; the newest where it was repeated."""
    shown: Mapping[str, Sequence[Shown]]
    """By check, what was seen every time it was done."""
    strange: tuple[str, ...]
    """Checks with a value that is odd whatever is wrong."""
    unsaid: tuple[str, ...]
    """Checks that were skipped or could not tell."""
    said: frozenset[str] = frozenset()
    """The checks whose newest outcome nobody measured."""


def close_verdict(stated: str, probability: float, towards: str | None = None) -> dict[str, float]:
    """Return a close verdict as the probability of each outcome.

    What ``stated`` leaves goes to the verdict ``towards``, where the value lies near that one's
    limit; else to the neighbours in resistance alike.

    Raises:
        UsageError: no such verdict, or a probability outside 0 to 1.
    """
    for verdict in (stated, towards or stated):
        if verdict not in _BY_VALUE:
            raise UsageError(unknown(verdict, "verdict", _BY_VALUE))
    if not 0 <= probability <= 1:
        raise UsageError(f"a probability of {probability:g} makes no sense; give 0 to 1")
    at = _BY_VALUE.index(stated)
    neighbours = (
        [towards] if towards else _BY_VALUE[max(at - 1, 0) : at] + _BY_VALUE[at + 1 : at + 2]
    )
    rest = (1 - probability) / len(neighbours)
    return {stated: probability, **dict.fromkeys(neighbours, rest)}


def times_done(said: Outcome) -> Sequence[Once]:
    """Return every time of an outcome, oldest first."""
    return [said] if isinstance(said, str | Said | Mapping | Measured) else said


def is_unsaid(said: Outcome) -> bool:
    """Return whether an outcome says nothing of the circuit, however often it was tried."""
    return all(isinstance(once, str) and once in UNSAID for once in times_done(said))


def record(model: Model, outcomes: Mapping[str, Outcome]) -> RecordedOutcome:
    """Return ``outcomes``, by check, in the terms of ``model``.

    What is only said may be anything else with the probability of a slip.

    Raises:
        UsageError: a check or an outcome that the table does not have, or a probability that
            makes no sense.
    """
    unsaid = []
    for check, said in outcomes.items():
        if is_unsaid(said) and model.table.understands(check) is not None:
            unsaid.append(check)
        elif check not in model.nodes:
            raise UsageError(unknown(check, "check", model.nodes))
    evidence: dict[str, Array] = {}
    words: dict[str, str] = {}
    shown: dict[str, Sequence[Shown]] = {}
    strange = []
    word_only = set()
    for name, node in model.nodes.items():
        if name not in outcomes or name in unsaid:
            continue
        told = [o for o in times_done(outcomes[name]) if not (isinstance(o, str) and o in UNSAID)]
        times = []
        for once in told:
            weights, odd = _weights(node, once)
            slips = node.slips * (HELD_TWICE if isinstance(once, Measured) and once.twice else 1.0)
            times.append(Shown(weights, slips))
            if odd:
                strange.append(name)
        shown[name] = times
        words[name] = _either(node, times[-1].likely)
        if isinstance(told[-1], Said):
            word_only.add(name)
            words[name] = node.outcomes[_place(node, told[-1].outcome)]
        evidence[name] = np.prod([node.recorded(*each) for each in times], axis=0)
    in_order = [
        *filter(unsaid.__contains__, model.nodes),
        *(c for c in unsaid if c not in model.nodes),
    ]
    return RecordedOutcome(
        evidence,
        words,
        shown,
        tuple(dict.fromkeys(strange)),
        tuple(in_order),
        frozenset(word_only),
    )


def _weights(node: Node, once: Once) -> tuple[Array, bool]:
    """Return the relative likelihood of each outcome, and whether none goes with the value."""
    weights = np.zeros(len(node.outcomes))
    if isinstance(once, str):
        weights[_place(node, once)] = 1.0
        return weights, False
    if isinstance(once, Said):
        weights[:] = SLIP
        weights[_place(node, once.outcome)] = 1.0
        return weights / weights.sum(), False
    if isinstance(once, Measured):
        found, odd = densities(once)
        means: dict[int, list[float]] = {}
        for verdict, density in found.items():
            means.setdefault(_place(node, verdict), []).append(density)
        for place, each in means.items():
            weights[place] = fsum(each) / len(each)
        result: Array = weights / weights.sum()
        return result, odd
    for word, probability in once.items():
        if not (isfinite(probability) and probability >= 0):
            raise UsageError(
                f"check “{node.name}”: a probability of {probability:g} for “{plain(word)}” makes "
                "no sense; give 0 to 1"
            )
        weights[_place(node, word)] += probability
    total = fsum(weights)
    if total <= 0:
        raise UsageError(f"check “{node.name}”: no outcome has a probability above 0")
    result = weights / total
    return result, False


def _place(node: Node, said: str) -> int:
    outcome = node.declared.reads_as.get(said, said)
    if outcome not in node.outcomes:
        raise UsageError(f"check “{node.name}”: {unknown(said, 'outcome', node.outcomes)}")
    return node.outcomes.index(outcome)


def _either(node: Node, weights: Array) -> str:
    """Say which outcomes a close verdict leaves, the likelier first."""
    order = np.argsort(-weights, kind="stable")
    return " or ".join(node.outcomes[i] for i in order if weights[i] >= WORTH_SAYING)

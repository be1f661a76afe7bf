"""The finding in sentences that a technician would say."""

from collections.abc import Iterable
from typing import Final

from meterlink.finding.clauses import WORTH_SAYING
from meterlink.finding.finding import Odd, Placed, Proposed, Suspected
from meterlink.wording import percent

WORTH_NAMING: Final = 0.10
"""A place less probable than this is not named beside the leading one."""

_STRENGTHS: Final = ((5.0, "very strongly"), (3.0, "strongly"), (1.0, "clearly"), (0.0, "a little"))
"""From so many bits on: 32, 8, 2 times the odds, and less."""


def strength(bits: float) -> str:
    """Return how strongly an outcome of so many bits speaks, as an adverb."""
    return next(word for least, word in _STRENGTHS if abs(bits) >= least)


def speaks(said: str, bits: float, why: str) -> str:
    """Say what one outcome, given as a clause, speaks for or against."""
    side = "For" if bits > 0 else "Against"
    reason = f" {why}" if why else ""
    return f"{side} it, {strength(bits)}: {said}.{reason}"


def meaning(said: str, chance: float, first: Placed) -> str:
    """Say what an outcome of a proposed check, given as a clause, would mean."""
    where = f"{first.place}, {percent(first.probability)}"
    return f"If {said} ({percent(chance)}): {where}."


def odd(check: str, said: str, fault: str, likeliest: str) -> str:
    """Say which outcome does not go with the most probable fault; outcomes are clauses."""
    return (
        f"Odd for {fault}: {said}. To be expected then: {likeliest}. Do the check «{check}» again."
    )


def clean_sentences(complaint: str, proposed: tuple[Proposed, ...]) -> tuple[str, ...]:
    """Return what to say where no outcome speaks of a fault: a service, or too few checks."""
    lead = "Nothing that was checked speaks of a fault."
    if not proposed:
        return (lead, f"If the engine still has its complaint ({complaint}), no check would tell.")
    best = proposed[0]
    return (
        lead,
        f"If the engine still has its complaint ({complaint}), the next best check, {_next(best)}",
        *([best.caution] if best.caution else []),
    )


def sentences(
    faults: tuple[Suspected, ...],
    places: tuple[Placed, ...],
    sure: bool,
    contradictory: bool,
    odds: tuple[Odd, ...],
    proposed: tuple[Proposed, ...],
) -> tuple[str, ...]:
    """Return the finding, one thought a sentence."""
    return (
        *_leading(faults[0], places, sure),
        *_conflict(contradictory, odds),
        *_grounds(faults[0]),
        *([faults[0].note] if faults[0].note else []),
        *_onward(faults[0], sure, proposed),
    )


def _leading(first: Suspected, places: tuple[Placed, ...], sure: bool) -> Iterable[str]:
    leading, *others = places
    where = f"{leading.place}, {percent(leading.probability)}"
    if sure:
        yield f"Found: {where}."
    elif leading.probability >= 0.5:
        yield f"Most likely: {where}."
    else:
        yield f"Not settled yet. Likeliest: {where}."
    yield f"The likeliest single fault: {first.say}, {percent(first.probability)}."
    rivals = [other for other in others if other.probability >= WORTH_NAMING]
    if rivals:
        named = ", ".join(f"{rival.place} ({percent(rival.probability)})" for rival in rivals)
        yield f"Still possible: {named}."


def _conflict(contradictory: bool, odds: tuple[Odd, ...]) -> Iterable[str]:
    if contradictory:
        yield (
            "These outcomes contradict each other: no single fault in the table explains them. "
            "Do the odd ones again; if they stand, look for two faults."
        )
    yield from (outcome.say for outcome in odds)


def _grounds(first: Suspected) -> Iterable[str]:
    yield from (ground.say for ground in first.speaks_for[:3])
    yield from (ground.say for ground in first.speaks_against[:2])


def _onward(first: Suspected, sure: bool, proposed: tuple[Proposed, ...]) -> Iterable[str]:
    if sure:
        yield f"{first.mend} Then spark, start and the stop check before sign-off."
    elif not proposed:
        yield (
            "No check that is left would tell more; substitution by a known-good part, or the "
            "maker's manual, has to decide."
        )
    else:
        best = proposed[0]
        yield f"Next best check, {_next(best)}"
        if best.caution:
            yield best.caution
        yield from (means.say for means in best.means if means.chance >= WORTH_SAYING)


def _next(best: Proposed) -> str:
    """Say what to do for a check, and what has to be opened up for it first."""
    first = f"First: {'; '.join(best.setups)}. " if best.setups else ""
    return f"about {best.minutes:.0f} min: {first}{best.ask}"

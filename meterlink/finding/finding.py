"""The finding: as facts, for a face, a file and a score, and in a technician's sentences."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import msgspec

from meterlink.finding.shape import WORTH_SAYING
from meterlink.wording import SAID_WORDS, percent


class Speaks(msgspec.Struct, frozen=True, kw_only=True):
    """What one outcome says about one fault."""

    check: str
    outcome: str
    """The outcome recorded; for a close verdict those that it leaves, the likelier first."""
    bits: float
    """Change of the fault's log odds: above 0 speaks for it. One bit doubles the odds."""
    say: str
    """The same as a sentence."""
    source: str
    """Where the table has the numbers from."""
    said: bool = False
    """Nobody measured the outcome: it is somebody's word, and is weighed as such."""


class Suspected(msgspec.Struct, frozen=True, kw_only=True):
    """One fault after the outcomes."""

    fault: str
    say: str
    place: str
    """What gets mended."""
    probability: float
    """To be there, alone or beside another."""
    prior: float
    """The same before any outcome, for this complaint."""
    speaks_for: tuple[Speaks, ...]
    """The weightiest first."""
    speaks_against: tuple[Speaks, ...]
    mend: str
    note: str
    """What the checks cannot tell about it."""
    source: str
    """Where the prior comes from."""


class Placed(msgspec.Struct, frozen=True, kw_only=True):
    """How probable it is that one place is at fault, alone or beside another."""

    place: str
    probability: float


class PlacedSet(msgspec.Struct, frozen=True, kw_only=True):
    """How probable it is that just these places are at fault."""

    places: tuple[str, ...]
    probability: float


class Meaning(msgspec.Struct, frozen=True, kw_only=True):
    """What an outcome of a proposed check would mean."""

    outcome: str
    chance: float
    fault: str
    """The most probable fault then."""
    places: tuple[str, ...]
    """The most probable set of places then."""
    probability: float
    """Of the first of them to be at fault."""
    say: str


class Proposed(msgspec.Struct, frozen=True, kw_only=True):
    """A check worth doing next."""

    check: str
    again: bool
    """It was done before; a slip would explain much."""
    say: str
    ask: str
    caution: str
    bits: float
    """Expected information about the places at fault."""
    minutes: float
    """With the setups still to be done."""
    setups: tuple[str, ...] = ()
    """Those, in words."""
    parts: float
    """Cost of parts, in the workshop's money."""
    rate: float
    """Bits for each minute, parts counted as minutes."""
    means: tuple[Meaning, ...]


class Odd(msgspec.Struct, frozen=True, kw_only=True):
    """An outcome that may well have been recorded wrongly."""

    check: str
    outcome: str
    probability: float
    """That it was."""
    say: str


class Firmness(msgspec.Struct, frozen=True, kw_only=True):
    """How far an answer hangs on numbers that are only judged."""

    draws: int
    """How often every number was doubled or halved at random."""
    kept: float
    """Share of the draws in which the answer stayed."""
    rival: str = ""
    """What it changed to most often; empty where it never did."""
    say: str = ""


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """What the outcomes together say of the circuit."""

    complaint: str
    faults: tuple[Suspected, ...]
    """Every fault considered, the most probable first. As two may be there at once, the
    probabilities add up to more than one."""
    places: tuple[Placed, ...]
    """The same by what gets mended, the most probable first."""
    sets: tuple[PlacedSet, ...]
    """The most probable sets of places, as far as worth naming; no two can be true at once."""
    named: tuple[Placed, ...]
    """The places of the most probable set, each with its own probability."""
    more: float
    """Probability that something beside the named places is at fault."""
    sure: bool
    """Every named place is at least 0.95 probable, and no slip is likelier than none."""
    contradictory: bool
    """It is likelier than not that some outcome was recorded wrongly."""
    clean: bool
    """Every outcome so far is the one that a circuit without a fault would most likely give."""
    odd: tuple[Odd, ...]
    next: tuple[Proposed, ...]
    """The checks open or worth repeating that would tell anything, the best for its cost first."""
    mended: tuple[str, ...]
    """Places that were put right before the last outcomes."""
    closed: bool = False
    """Tried after the last mend, the engine no longer had its complaint."""
    counted: int
    """Jobs of the workshop that went into the shares of the faults."""
    firm: Firmness | None
    """Of the named places; None where it was not asked for."""
    firm_next: Firmness | None
    """Of the next best check."""
    unsaid: tuple[str, ...]
    """Checks that were skipped or could not tell."""
    said: tuple[str, ...] = ()
    """Checks whose outcome nobody measured."""
    sentences: tuple[str, ...]
    """The finding as a technician would say it."""


WORTH_NAMING: Final = 0.10
"""A place less probable than this is not named beside the leading one."""

ONWARD: Final = ("Next best check", "Worth repeating", "No check that is left")
"""How the sentence begins that says what to do next."""

FIRM: Final = 0.8
"""From this share of the draws on an answer is firm."""
EVEN: Final = 0.6
"""Under this share of the draws the next check is as good as any other: little hangs on it."""

_STRENGTHS: Final = ((5.0, "very strongly"), (3.0, "strongly"), (1.0, "clearly"), (0.0, "weakly"))
"""From so many bits on: 32, 8, 2 times the odds, and less."""


def strength(bits: float) -> str:
    """Return how strongly an outcome of so many bits speaks, as an adverb."""
    return next(word for least, word in _STRENGTHS if abs(bits) >= least)


def say_weight(clause: str, bits: float, why: str, *, said: bool = False) -> str:
    """Say what one outcome, given as a clause, speaks for or against; ``said`` by mere word."""
    side = "Points to" if bits > 0 else "Points away from"
    reason = f" {why}" if why else ""
    word = f" ({SAID_WORDS})" if said else ""
    return f"{side} it, {strength(bits)}: {clause}{word}.{reason}"


def say_unmeasured(checks: list[str]) -> tuple[str, ...]:
    """Return which checks rest on somebody's word, as one sentence; nothing where none does."""
    if not checks:
        return ()
    return (f"Said, not measured: {', '.join(checks)}. Prove it before a part is bought.",)


def say_meaning(said: str, chance: float, named: Mapping[str, float]) -> str:
    """Say what an outcome of a proposed check, given as a clause, would mean."""
    return f"If {said} ({percent(chance)}): {_with_shares(named.items())}."


def say_odd(check: str, said: str, wrong: float) -> str:
    """Say which outcome, given as a clause, may have been recorded wrongly."""
    return f"Do “{check}” again: {said} may be a slip ({percent(wrong)})."


def firm_named(shaken: Sequence[tuple[str, int]]) -> Firmness:
    """Say how firm the named places are; ``shaken`` as from ``search.shake``."""
    kept, rival, draws = _kept(shaken)
    share = "always" if kept == 1 else f"in {percent(kept)} of the cases"
    if kept >= FIRM:
        say = f"Firm: {share} the same when the judged numbers are doubled or halved."
    else:
        say = (
            f"Toss-up: “{shaken[0][0]}” or “{rival}”. The first {share}, when the judged numbers "
            "are doubled or halved."
        )
    return Firmness(draws=draws, kept=kept, rival=rival, say=say)


def firm_next(shaken: Sequence[tuple[str, int]], asks: Mapping[str, Proposed]) -> Firmness | None:
    """Say how firm the next check is; None where there is none."""
    if not shaken[0][0]:
        return None
    kept, rival, draws = _kept(shaken)
    one, other = asks[shaken[0][0]], asks.get(rival)
    say = ""
    if kept < EVEN and other is not None:
        quicker = min((one, other), key=lambda each: each.minutes)
        say = (
            f"Do “{one.say}” or “{other.say}” next: both tell as much. “{quicker.say}” is quicker."
        )
    return Firmness(draws=draws, kept=kept, rival=rival, say=say)


def _kept(shaken: Sequence[tuple[str, int]]) -> tuple[float, str, int]:
    draws = sum(count for _, count in shaken)
    return shaken[0][1] / draws, shaken[1][0] if len(shaken) > 1 else "", draws


def sentences(found: Finding, complaint: str, strange: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the finding, one thought a sentence; ``complaint`` in words.

    ``strange``: checks with a value that is odd whatever is wrong.
    """
    say = _clean(found, complaint) if found.clean else _told(found)
    odd_values = (
        f"The value of “{check}” is odd, whatever is wrong: measure again." for check in strange
    )
    counted = [f"Counted in: {found.counted} jobs of the workshop."] if found.counted else []
    return (*say, *odd_values, *counted)


def _clean(found: Finding, complaint: str) -> Iterable[str]:
    """Say that no outcome speaks of a fault: a service, or too few checks."""
    yield "No check found a fault."
    if not found.next:
        yield f"Complaint still there ({complaint})? No check left would tell."
        return
    best = found.next[0]
    yield f"Complaint still there ({complaint})? Next best check, {_next(best)}"
    if best.caution:
        yield best.caution


def _told(found: Finding) -> Iterable[str]:
    if found.closed:
        yield f"Put right: {', '.join(found.mended)}. The engine starts, and stops by its control."
    yield from _leading(found)
    if found.contradictory:
        yield "Outcomes contradict each other. Do the doubtful checks again."
    yield from (outcome.say for outcome in found.odd)
    yield from _grounds(found)
    if not found.closed:
        notes = (_first_at(found, placed.place).note for placed in found.named)
        yield from filter(None, dict.fromkeys(notes))
    yield from _onward(found)


def _leading(found: Finding) -> Iterable[str]:
    """Say which places are named; of a repaired engine, what it had."""
    shares = [(placed.place, placed.probability) for placed in found.named]
    where = _with_shares(shares)
    if found.closed:
        yield f"It was most likely: {where}."
    elif found.sure:
        yield f"Found: {where}."
    elif shares[0][1] >= 0.5:
        yield f"Most likely: {where}."
    else:
        yield f"Not settled yet. Likeliest: {where}."
    for placed in found.named:
        first = _first_at(found, placed.place)
        if len([fault for fault in found.faults if fault.place == placed.place]) > 1:
            yield f"There, most likely: {first.say}, {percent(first.probability)}."
    names = {placed.place for placed in found.named}
    rivals = [p for p in found.places if p.place not in names and p.probability >= WORTH_NAMING]
    if rivals:
        named = ", ".join(f"{rival.place} ({percent(rival.probability)})" for rival in rivals)
        yield f"Still possible: {named}."


def _first_at(found: Finding, place: str) -> Suspected:
    return next(fault for fault in found.faults if fault.place == place)


def _grounds(found: Finding) -> Iterable[str]:
    """Say what speaks for the named places and against the first.

    Each outcome is said once, for the place where it weighs most.
    """
    weighs: dict[str, tuple[float, str, Speaks]] = {}
    for placed in found.named:
        first = _first_at(found, placed.place)
        against = first.speaks_against[:2] if placed is found.named[0] else ()
        for ground in (*first.speaks_for[:3], *against):
            if ground.check not in weighs or abs(ground.bits) > weighs[ground.check][0]:
                weighs[ground.check] = (abs(ground.bits), placed.place, ground)
    for placed in found.named:
        for _, place, ground in sorted(weighs.values(), key=lambda each: -each[0]):
            if place == placed.place:
                alone = len(found.named) == 1
                yield ground.say if alone else ground.say.replace(" it,", f" {place},", 1)


def _onward(found: Finding) -> Iterable[str]:
    if found.closed:
        others = [p.place for p in found.places if p.place not in found.mended]
        if others and found.more >= WORTH_NAMING:
            yield f"Something beside it may still be wrong, likeliest: {others[0]}."
    elif found.sure:
        left = [p.place for p in found.named if p.place not in found.mended]
        for place in left:
            yield _first_at(found, place).mend
        if left:
            yield "Before sign-off, prove spark, start and stop check."
            names = {placed.place for placed in found.named}
            beside = next((p.place for p in found.places if p.place not in names), None)
            if beside is not None and found.more >= WORTH_NAMING:
                yield (
                    f"If the complaint is still there, something beside it is wrong "
                    f"({percent(found.more)}), likeliest: {beside}."
                )
    elif not found.next:
        yield (
            "No check that is left would tell more; substitution by a known-good part, or the "
            "maker's manual, has to decide."
        )
    else:
        best = found.next[0]
        yield f"{ONWARD[best.again]}, {_next(best)}"
        if best.caution:
            yield best.caution
        yield from (means.say for means in best.means if means.chance >= WORTH_SAYING)


def _with_shares(shares: Iterable[tuple[str, float]]) -> str:
    return ", and ".join(f"{place}, {percent(share)}" for place, share in shares)


def _next(best: Proposed) -> str:
    """Say what to do for a check, and what has to be opened up for it first."""
    first = f"First: {'; '.join(best.setups)}. " if best.setups else ""
    return f"about {best.minutes:.0f} min: {first}{best.ask}"

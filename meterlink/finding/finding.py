"""The finding as facts: what a face shows, a file keeps and a score is counted from."""

import msgspec


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

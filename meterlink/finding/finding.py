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


class Suspected(msgspec.Struct, frozen=True, kw_only=True):
    """One fault after the outcomes."""

    fault: str
    say: str
    place: str
    """What gets mended."""
    probability: float
    prior: float
    """Before any outcome, for this complaint."""
    speaks_for: tuple[Speaks, ...]
    """The weightiest first."""
    speaks_against: tuple[Speaks, ...]
    fit: float
    """Probability that this fault gives outcomes as odd as these by chance."""
    mend: str
    note: str
    """What the checks cannot tell about it."""
    source: str
    """Where the prior comes from."""


class Placed(msgspec.Struct, frozen=True, kw_only=True):
    """How probable it is that the fault is in one place."""

    place: str
    probability: float


class Meaning(msgspec.Struct, frozen=True, kw_only=True):
    """What an outcome of a proposed check would mean."""

    outcome: str
    chance: float
    fault: str
    """The most probable fault then."""
    place: str
    """The most probable place then."""
    probability: float
    """That the fault is in that place."""
    say: str


class Proposed(msgspec.Struct, frozen=True, kw_only=True):
    """A check worth doing next."""

    check: str
    say: str
    ask: str
    caution: str
    bits: float
    """Expected information about the place of the fault."""
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
    """An outcome that does not go with the most probable fault."""

    check: str
    outcome: str
    bits: float
    """How far it falls short of the outcome that this fault would most likely give."""
    say: str


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """What the outcomes together say of the circuit."""

    complaint: str
    faults: tuple[Suspected, ...]
    """Every fault considered, the most probable first; the probabilities sum to one."""
    places: tuple[Placed, ...]
    """The same by what gets mended, the most probable first."""
    sure: bool
    """The first place is at least 0.95 probable and the outcomes don't contradict each other."""
    contradictory: bool
    """No single fault explains the outcomes."""
    clean: bool
    """Every outcome so far is the one that a circuit without a fault would most likely give."""
    odd: tuple[Odd, ...]
    next: tuple[Proposed, ...]
    """The checks still open that would tell anything, the best for its cost first."""
    unsaid: tuple[str, ...]
    """Checks that were skipped or could not tell."""
    sentences: tuple[str, ...]
    """The finding as a technician would say it."""

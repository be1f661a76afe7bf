"""Following the advice to the end: what it takes to find what is wrong, check by check.

The engine is behind ``answer``: a virtual engine under practice, or outcomes drawn from the table.
So a trainee's way can be set beside the advised one on the very same engine.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Final

import msgspec

from meterlink.finding.model import Model, NodeEvidence
from meterlink.finding.next_check import LEAST_GAIN, Prospect, prospects
from meterlink.finding.outcomes import Outcome, record
from meterlink.finding.posterior import Stage, is_enough, is_sure, named_set, posterior

Pick = Callable[[Model, Sequence[Stage], Iterable[str]], Prospect | None]
"""Chooses the next check, given what was seen and the checks done since the last mend; None ends
the search."""

MOST_TIMES: Final = 3
"""No check is done more often than this on an engine in the same state."""
ONCE_GAIN: Final = 0.02
"""Bits that a check must promise for hands that never slip."""
MEND: Final = 0.85
"""From this probability on a place is mended, and the engine tried: that tells most next."""
WORTH_MENDING: Final = 0.5
"""Where no check is left that tells, the likeliest place is mended from this probability on."""


class Walk(msgspec.Struct, frozen=True, kw_only=True):
    """The checks done one after another, and where they led."""

    checks: tuple[str, ...]
    """In the order in which they were done; one that was repeated stands there again."""
    minutes: float
    """With the setups."""
    parts: float
    place: str
    """The most probable one at the end."""
    probability: float
    """That it is at fault, alone or beside another."""
    places: tuple[str, ...]
    """The set that the finding names at the end, the most probable first."""
    set_probability: float
    """That these and no others are at fault."""
    fault: str
    """The most probable one at the end."""
    sure: bool
    """Every place of the set is found."""
    mended: tuple[str, ...]
    """What was put right on the way."""


def best(model: Model, stages: Sequence[Stage], done: Iterable[str]) -> Prospect | None:
    """Pick the check that tells most for its cost; where a mend has not done, look closer."""
    least = ONCE_GAIN if stages[-1].mended else LEAST_GAIN
    return next(iter(prospects(model, stages, done=done, least=least)), None)


def once(model: Model, stages: Sequence[Stage], done: Iterable[str]) -> Prospect | None:
    """Pick for hands that never slip: no check is repeated, and little is worth a look."""
    worth = prospects(model, stages, done=done, least=ONCE_GAIN, again=False)
    return next(iter(worth), None)


def in_order(*checks: str) -> Pick:
    """Return a picker that goes by a fixed order, such as that of a work card."""

    def pick(model: Model, stages: Sequence[Stage], done: Iterable[str]) -> Prospect | None:
        still_open = prospects(model, stages, done=done, least=0.0, again=False)
        by_name = {prospect.node.name: prospect for prospect in still_open}
        return next((by_name[check] for check in checks if check in by_name), None)

    return pick


def follow(
    model: Model,
    answer: Callable[[str], str],
    pick: Pick = best,
    mend: Callable[[str], None] | None = None,
) -> Walk:
    """Do the checks that ``pick`` chooses until the places are found or nothing is left that tells.

    ``answer`` does a check, by its name, and returns the outcome; ``skipped`` and ``cannot-tell``
    are outcomes too, and cost their minutes. ``mend`` puts a place right; with it, what is found is
    mended and the engine tried, and the search goes on while something else is wrong. Without it,
    the search ends with the first places that are found.
    """
    search = _Search(model, answer)
    while True:
        shares = posterior(model, search.stages)
        named = named_set(model, shares)
        due = [place for place in named if place not in search.mended]
        if mend is None and is_sure(named):
            break
        if mend is not None:
            found = [p for p in due if named[p] >= MEND]
            if found and not search.untried:
                search.mend(found, mend)
                continue
            if is_enough(model, shares):
                break
        chosen = pick(model, search.stages, search.said)
        if chosen is not None and len(search.said.get(chosen.node.name, ())) < MOST_TIMES:
            search.check(chosen)
        elif mend is not None and due and named[due[0]] >= WORTH_MENDING:
            search.mend(due[:1], mend)
        else:
            break
    by_place = model.by_place(shares)
    return Walk(
        checks=tuple(search.checks),
        minutes=search.minutes,
        parts=search.parts,
        place=model.places[int(by_place.argmax())],
        probability=float(by_place.max()),
        places=tuple(named),
        set_probability=float(model.by_set(shares).max()),
        fault=model.suspects[int((model.has @ shares).argmax())].name,
        sure=is_sure(named),
        mended=tuple(search.mended),
    )


class _Search:
    """A search under way: what was done, and what it showed."""

    def __init__(self, model: Model, answer: Callable[[str], str]) -> None:
        self._model, self._answer = model, answer
        self._past: list[Stage] = []
        self._evidence: NodeEvidence = {}
        self.mended: list[str] = []
        self.said: dict[str, list[str]] = {}
        """Since the last mend."""
        self.checks: list[str] = []
        self.minutes = self.parts = 0.0

    @property
    def stages(self) -> Sequence[Stage]:
        """What was seen, mend by mend."""
        return [*self._past, Stage(frozenset(self.mended), self._evidence)]

    @property
    def untried(self) -> bool:
        """Whether something was mended and nothing tried since."""
        return bool(self.mended) and not self.said

    def check(self, chosen: Prospect) -> None:
        """Do a check."""
        name = chosen.node.name
        self.checks.append(name)
        self.said.setdefault(name, []).append(self._answer(name))
        self.minutes += chosen.minutes
        self.parts += chosen.parts
        said: dict[str, Outcome] = dict(self.said)
        self._evidence = record(self._model, said).evidence

    def mend(self, places: Sequence[str], mend: Callable[[str], None]) -> None:
        """Put places right."""
        self._past = list(self.stages)
        for place in places:
            mend(place)
            self.mended.append(place)
        self.said, self._evidence = {}, {}

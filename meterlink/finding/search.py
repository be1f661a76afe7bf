"""The search: the check worth doing next, how firm that is, and the advice followed to its end.

What a check is expected to tell is counted about the places at fault, which are what gets mended:
to know which of an armature's windings is broken is worth nothing to somebody who has to renew the
armature. It is set against what the check costs.

Nearly every number of the fault table is a judgement. So all of them are doubled or halved at
random, again and again, and it is counted in how many of the draws the same places are named, and
the same check proposed next.

Followed to its end, the engine is behind ``answer``: a virtual engine under practice, or outcomes
drawn from the table. So a trainee's way can be set beside the advised one on the very same engine.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import Final

import msgspec
import numpy as np

from meterlink.finding.model import Array, Model, Node, NodeEvidence
from meterlink.finding.outcomes import Outcome, record
from meterlink.finding.posterior import (
    Belief,
    EvidenceStage,
    is_enough,
    is_sure,
    named_set,
    posterior,
)

LEAST_GAIN: Final = 0.1
"""Bits; a check that promises less is not worth proposing."""


class Prospect(msgspec.Struct, frozen=True):
    """A check that is open or worth repeating, and what it promises."""

    node: Node
    again: bool
    """It was done before."""
    bits: float
    """Expected information about the places at fault."""
    minutes: float
    """Including the setups that still have to be done."""
    setups: tuple[str, ...]
    """Those, in words."""
    parts: float
    cost: float
    """Minutes, and what the parts cost in minutes."""
    chances: Array
    """Probability of each outcome."""
    then: Array
    """Probability of each hypothesis after each outcome, shaped outcome, hypothesis."""

    @property
    def rate(self) -> float:
        """Bits for each minute of cost."""
        return self.bits / self.cost


def prospects(
    model: Model,
    evidence: NodeEvidence | Sequence[EvidenceStage],
    *,
    done: Iterable[str] = (),
    least: float = LEAST_GAIN,
    again: bool = True,
) -> list[Prospect]:
    """Return the checks that promise ``least`` bits or more, the best for its cost first.

    ``done`` names checks that need no proposing though there is no evidence from them, such as
    those skipped. Checks that close a job are never proposed, nor a second trial before the first.
    With ``again`` checks that were done are among them, where a slip would explain much.
    """
    belief = Belief(model, evidence)
    away = {*belief.evidence, *done}
    ready: set[str] = set()
    stage: Belief | None = belief
    while stage is not None:
        ready |= {n for check in stage.evidence for n in model.nodes[check].declared.needs}
        stage = stage.before
    # Where hands never slip, to repeat a check would show the same again.
    again = again and bool(model.slip_rates.any())
    found = [
        _prospect(belief, node, ready)
        for node in belief.model.nodes.values()
        if (node.name not in away or (again and node.name in belief.evidence))
        and not node.declared.closing
        and (belief.before is not None or not node.declared.after_mending)
        and node.declared.after in {"", *away}
    ]
    worth = [prospect for prospect in found if prospect.bits >= least]
    return sorted(worth, key=lambda prospect: -prospect.rate)


def _prospect(belief: Belief, node: Node, ready: set[str]) -> Prospect:
    model = belief.model
    joint = belief.outcome_shares(node)
    chances = joint.sum(axis=1)
    check = node.declared
    setups = [model.table.setups[name] for name in check.needs if name not in ready]
    minutes = check.minutes + sum(setup.minutes for setup in setups)
    return Prospect(
        node=node,
        again=node.name in belief.evidence,
        bits=information(model.by_set(joint.T)),
        minutes=minutes,
        setups=tuple(setup.say for setup in setups),
        parts=check.parts,
        cost=minutes + check.parts / model.table.minute_cost,
        chances=chances,
        then=joint / chances[:, None],
    )


def information(joint: Array) -> float:
    """Return the mutual information of the two variables of ``joint``, bits, never negative."""
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    seen = joint > 0
    return max(0.0, float((joint[seen] * np.log2(joint[seen] / apart[seen])).sum()))


SEED: Final = 20261125
"""The same finding is always shaken in the same way."""


class Shaken(msgspec.Struct, frozen=True):
    """What came out of the draws, each answer with how often it did; the answer as it is first."""

    named: tuple[tuple[str, int], ...]
    """Places that were named."""
    next: tuple[tuple[str, int], ...]
    """Checks that were proposed next; empty where there was none."""


def shake(
    model: Model, stages: Sequence[EvidenceStage], draws: int, done: Collection[str] = ()
) -> Shaken:
    """Return what is named and proposed over ``draws`` tables with other numbers.

    ``done``: checks that are not proposed, as they were skipped or could not tell.
    """
    named: Counter[str] = Counter()
    checks: Counter[str] = Counter()
    rng = np.random.default_rng(SEED)
    for _ in range(draws):
        other = model.shaken(rng)
        named[_named_in(other, stages)] += 1
        checks[_proposed_next(other, stages, done)] += 1
    return Shaken(
        _with_first(_named_in(model, stages), named),
        _with_first(_proposed_next(model, stages, done), checks),
    )


def _named_in(model: Model, stages: Sequence[EvidenceStage]) -> str:
    return " and ".join(sorted(named_set(model, posterior(model, stages))))


def _proposed_next(model: Model, stages: Sequence[EvidenceStage], done: Collection[str]) -> str:
    found = prospects(model, stages, done=done)
    return found[0].node.name if found else ""


def _with_first(answer: str, counted: Counter[str]) -> tuple[tuple[str, int], ...]:
    """Return the answer itself, then the others by how often they came out."""
    others = [(other, count) for other, count in counted.most_common() if other != answer]
    return ((answer, counted[answer]), *others)


Pick = Callable[[Model, Sequence[EvidenceStage], Iterable[str]], Prospect | None]
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


def best(model: Model, stages: Sequence[EvidenceStage], done: Iterable[str]) -> Prospect | None:
    """Pick the check that tells most for its cost; where a mend has not done, look closer."""
    least = ONCE_GAIN if stages[-1].mended else LEAST_GAIN
    return next(iter(prospects(model, stages, done=done, least=least)), None)


def once(model: Model, stages: Sequence[EvidenceStage], done: Iterable[str]) -> Prospect | None:
    """Pick for hands that never slip: no check is repeated, and little is worth a look."""
    worth = prospects(model, stages, done=done, least=ONCE_GAIN, again=False)
    return next(iter(worth), None)


def in_order(*checks: str) -> Pick:
    """Return a picker that goes by a fixed order, such as that of a work card."""

    def pick(model: Model, stages: Sequence[EvidenceStage], done: Iterable[str]) -> Prospect | None:
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
        self._past: list[EvidenceStage] = []
        self._evidence: NodeEvidence = {}
        self.mended: list[str] = []
        self.said: dict[str, list[str]] = {}
        """Since the last mend."""
        self.checks: list[str] = []
        self.minutes = self.parts = 0.0

    @property
    def stages(self) -> Sequence[EvidenceStage]:
        """What was seen, mend by mend."""
        return [*self._past, EvidenceStage(frozenset(self.mended), self._evidence)]

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

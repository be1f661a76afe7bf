"""The fault table made ready for one job: its complaint, and the stop switches the engine has.

The model is a Bayesian network. On top stand the hypotheses: every fault alone and every two
faults together. Under it hangs a forest of checks: each check depends on the hypothesis, and on
at most one earlier check (``after``). A second trial of much the same thing, such as the spark
with the stop circuit off, thus doesn't count twice.

Of two faults at once each acts as if it were alone, and of what the two would show the worse one is
seen: a spark that either takes away is away, a wire that is open in one place is open. That is the
noisy maximum of F. J. Diez (Parameter adjustment in Bayes networks: the generalized noisy OR-gate,
1993; cited from memory), with the order of outcomes that the table gives. It is worked out on whole
families of checks, so that the trials which follow a missing spark stay tied to it: unplugging a
switch brings the spark back only where nothing else keeps it away.

Whoever does a check may slip. What is recorded is then another outcome than the engine's, each
alike. How often that happens in this job is not known; it takes one of several rates, each with a
share among the jobs, and the outcomes themselves tell which.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlink.errors import UsageError
from meterlink.finding.shape import (
    Check,
    FaultTable,
    Row,
    Suspect,
    either,
    fitted_parts,
    put_part,
    suspects_of,
    unknown,
)

Array = NDArray[np.float64]
Members = NDArray[np.intp]
NodeEvidence = Mapping[str, Array]
"""By check, the likelihood of what was recorded, shaped slip rate, outcome of the engine."""

JUDGED_JOBS = 40.0
"""As many counted jobs weigh as much as the judged shares of a complaint."""
MOST_REMEMBERED = 300
"""Answers that a model keeps, each of some tens of kilobytes."""
MOST_SLIPS = 0.45
"""No check is answered wrongly more often than this."""


class Shown(NamedTuple):
    """What one look at a check showed."""

    likely: Array
    """Relative likelihood of each outcome."""
    slips: Array
    """How often a look like this goes wrong, by slip rate."""


class Node:
    """One check of the model."""

    def __init__(
        self, name: str, kind: str, declared: Check, shares: Array, part: str, words: str
    ) -> None:
        self.name = name
        self.kind = kind
        """The check's name in the table; another than ``name`` where it is done for each part."""
        self.declared = declared
        self.part = part
        """The part that it looks at, where it is done for each of several."""
        self.shares = shares
        """Probability of each outcome under each fault alone, shaped fault, outcome of the earlier
        check (1 where there is none), outcome."""
        self.sound = np.empty(0)
        """The same of a sound engine, shaped outcome of the earlier check, outcome."""
        self.say = put_part(declared.say, words)
        self.ask = put_part(declared.ask, words)
        self._says = {outcome: put_part(said, words) for outcome, said in declared.says.items()}
        self.children: list[Node] = []
        self.worst = np.empty((0, 0), dtype=np.intp)
        """Of two outcomes, by their places, the place of the worse."""
        self.first = np.empty(0)
        """``shares`` of the first of two faults; shaped earlier outcome, outcome, hypothesis."""
        self.second = np.empty(0)
        self.channel = np.empty(0)
        """How what is recorded follows from what the engine shows; shaped recorded outcome, slip
        rate, outcome of the engine."""
        self.slips = np.empty(0)
        """How often this check goes wrong, by slip rate."""

    @property
    def outcomes(self) -> tuple[str, ...]:
        """The outcomes, in the order of the last axis of ``shares``."""
        return self.declared.outcomes

    @property
    def parts_of(self) -> str:
        """The check that has the parts which this one may be done for."""
        return self.declared.each_of or self.kind

    def said(self, outcome: str) -> str:
        """Return an outcome, or several with “or” between, as a clause.

        Where the table has none, it is the check's name with the outcome's.
        """
        return either(
            [
                self._says.get(one) or f"{self.say}: {one.replace('-', ' ')}"
                for one in outcome.split(" or ")
            ]
        )

    def mildest_first(self) -> list[int]:
        """Return the places of the outcomes from the mildest to the worst."""
        if self.declared.worse:
            return [self.outcomes.index(outcome) for outcome in self.declared.worse]
        sound = next(iter(self.declared.sound.contexts.values()))
        mildest = max(self.outcomes, key=lambda outcome: float(sound[outcome]))
        at = self.outcomes.index(mildest)
        return [at, *(i for i in range(len(self.outcomes)) if i != at)]

    def send(self, seen: Array, messages: Sequence[Array]) -> Array:
        """Return the likelihood of what was seen on this check and those after it.

        ``seen`` is shaped slip rate, outcome; or thing, slip rate, outcome for several things that
        might be seen. Each of ``messages``, from the checks after it, is shaped as what is
        returned: outcome of the earlier check under the first fault, the same under the second,
        thing where there are several, slip rate, hypothesis.
        """
        inside = np.moveaxis(seen, -1, 0)[self.worst][..., None]
        for message in messages:
            inside = inside * (message if message.ndim == inside.ndim else message[:, :, None])
        if inside.shape[-1] == 1:
            inside = np.broadcast_to(inside, (*inside.shape[:-1], self.first.shape[-1]))
        half = np.einsum("ach,cd...h->ad...h", self.first, inside)
        result: Array = np.einsum("bdh,ad...h->ab...h", self.second, half)
        return result

    def recorded(self, likely: Array, slips: Array) -> Array:
        """Return the likelihood of what was recorded, shaped slip rate, outcome of the engine.

        ``likely``: of each outcome by the record; ``slips``: how often such a look goes wrong, by
        slip rate. A slip records any other outcome, each alike.
        """
        rates, rest = slips[:, None], likely.sum() - likely
        result: Array = likely * (1 - rates) + rest * rates / (len(likely) - 1)
        return result

    def family(self) -> Iterator["Node"]:
        """Yield this check and every one after it."""
        yield self
        for child in self.children:
            yield from child.family()


class Model:
    """Faults with their priors and checks with their probabilities, as arrays.

    The same for every job with the same complaint and switches. Immutable by convention.
    """

    def __init__(
        self,
        table: FaultTable,
        complaint: str,
        parts: Sequence[str] = (),
        *,
        counts: Mapping[str, int] | None = None,
    ) -> None:
        """Make ``table`` ready.

        ``parts`` names those parts with a check each (stop switches) that the engine has; of a
        kind of which none is named, the first that the table lists is taken to be there.
        ``counts`` are jobs of the workshop with this complaint that ended with a confirmed repair,
        by fault; they go in beside the judged shares, which weigh as much as ``JUDGED_JOBS``.

        Raises:
            UsageError: the table has no such complaint or part.
        """
        if complaint not in table.complaints:
            raise UsageError(unknown(complaint, "complaint", table.complaints))
        self.table = table
        self.complaint = complaint
        self.parts = fitted_parts(table, parts)
        self.suspects = suspects_of(table, complaint, self.parts)
        self.places = tuple(dict.fromkeys(suspect.place for suspect in self.suspects))
        """What can get mended, in the table's order."""
        counted = np.array([(counts or {}).get(suspect.name, 0) for suspect in self.suspects])
        self.counted = int(counted.sum())
        """Jobs of the workshop that went into the priors."""
        judged = np.array([suspect.prior for suspect in self.suspects])
        self._hypotheses(JUDGED_JOBS * judged / judged.sum() + counted)
        self.slip_rates: Array = np.array([slip.rate for slip in table.slip] or [0.0])
        """Of a check that is looked at once."""
        self.slip_shares = _sum_to_one(np.array([slip.share for slip in table.slip] or [1.0]))
        """Prior of each of the rates."""
        self.mended: frozenset[str] = frozenset()
        """Places that have been put right."""
        self._after: dict[frozenset[str], Model] = {}
        self.nodes = {node.name: node for node in self._nodes()}
        self._link()

    def _link(self) -> None:
        """Hang the checks together, and give each its rows under every hypothesis."""
        self._memory: dict[tuple[object, ...], Array] = {}
        self.roots: list[Node] = []
        self._above: dict[str, Node] = {}
        for node in self.nodes.values():
            node.children = []
        for node in self.nodes.values():
            after = node.declared.after
            if after:
                self._above[node.name] = self.nodes[after]
            (self.nodes[after].children if after else self.roots).append(node)
        for node in self.nodes.values():
            self._pair_up(node)
            self._let_slip(node)

    # --- what there is ------------------------------------------------------------------------

    def _hypotheses(self, priors: Array) -> None:
        count = len(self.suspects)
        self.alone: Array = priors / priors.sum()
        """Prior of each suspect, where it is the only fault."""
        more = self.table.second.share if self.table.second is not None else 0.0
        pairs = [(i, j) for i in range(count) for j in range(i + 1, count)] if more else []
        self.members = np.array([*((i, i) for i in range(count)), *pairs], dtype=np.intp)
        """The suspects of each hypothesis, shaped hypothesis, two; the same twice for one alone."""
        together = self.alone[self.members[:, 0]] * self.alone[self.members[:, 1]]
        together[:count] = 0.0
        self.prior: Array = together * (more / together.sum() if pairs else 0.0)
        """Of each hypothesis."""
        self.prior[:count] = self.alone * (1 - more if pairs else 1.0)
        self.has: Array = np.zeros((count, len(self.members)))
        """1 where a suspect is in a hypothesis, else 0."""
        for column in self.members.T:
            self.has[column, np.arange(len(self.members))] = 1.0
        at = [self.places.index(suspect.place) for suspect in self.suspects]
        at_places = [tuple(sorted({at[i], at[j]})) for i, j in self.members]
        self.sets = tuple(dict.fromkeys(at_places))
        """The places of one hypothesis or several, each by its number among the places."""
        numbers = {places: number for number, places in enumerate(self.sets)}
        self._in_set: Array = np.zeros((len(self.sets), len(self.members)))
        self._in_set[[numbers[places] for places in at_places], np.arange(len(at_places))] = 1.0
        self._in_place: Array = np.zeros((len(self.places), len(self.members)))
        for hypothesis, places in enumerate(at_places):
            self._in_place[list(places), hypothesis] = 1.0

    def _nodes(self) -> Iterator[Node]:
        for kind, check in self.table.checks.items():
            fitted = self.parts.get(check.each_of or kind, ("",))
            for name, part in self.table.done_for(kind).items():
                if part in fitted:
                    yield self._node(name, kind, part)

    def _node(self, name: str, kind: str, part: str) -> Node:
        """Return a check with its rows under every suspect, filled up from ``sound``."""
        check, contexts = self.table.checks[kind], self.table.contexts(kind)
        shape = (len(self.suspects), len(contexts), len(check.outcomes))
        words = self.table.checks[check.each_of or kind].each.get(part, "")
        node = Node(name, kind, check, np.empty(shape), part, words)
        for i, suspect in enumerate(self.suspects):
            for j, context in enumerate(contexts):
                shares = (
                    check.sound.contexts[context]
                    if suspect.elsewhere(node.parts_of, node.part)
                    else self.table.distribution(suspect.declared, kind, self.complaint, context)
                )
                node.shares[i, j] = [shares[outcome] for outcome in check.outcomes]
        sound = check.sound.contexts
        node.sound = np.array([[sound[c][o] for o in check.outcomes] for c in contexts])
        return node

    def _pair_up(self, node: Node) -> None:
        """Give ``node`` the rows of both members of each hypothesis, as far as they are left.

        A fault that touches neither the check nor an earlier one of its family adds nothing to
        the other's: it shows the mildest outcome. Else what a sound part shows by chance would
        count twice.
        """
        order = node.mildest_first()
        rank = np.argsort(order)
        one, other = np.indices((len(order), len(order)))
        node.worst = np.where(rank[one] >= rank[other], one, other)
        mildest = np.zeros_like(node.shares[0])
        mildest[:, order[0]] = 1.0
        shares = np.concatenate([node.shares, node.sound[None]])
        touched = np.append(self._touched(node), False)
        first, second = self._left()
        quiet = (~touched[first] & touched[second])[:, None, None]
        node.first = np.where(quiet, mildest, shares[first]).transpose(1, 2, 0).copy()
        quiet = ~touched[second][:, None, None]
        node.second = np.where(quiet, mildest, shares[second]).transpose(1, 2, 0).copy()

    def _left(self) -> tuple[Members, Members]:
        """Return the suspects of each hypothesis that are not mended; their number for none."""
        none = len(self.suspects)
        gone = [suspect.place in self.mended for suspect in self.suspects]
        left = np.where(gone, none, np.arange(none))
        first, second = left[self.members.T]
        return first, np.where(first == second, none, second)

    def after(self, mended: frozenset[str]) -> "Model":
        """Return the model of the same engine, with these places put right."""
        if not mended:
            return self
        if mended not in self._after:
            later = copy(self)
            later.mended = mended
            later.nodes = {name: copy(node) for name, node in self.nodes.items()}
            later._link()
            self._after[mended] = later
        return self._after[mended]

    def shaken(self, rng: np.random.Generator) -> "Model":
        """Return the same with every judged number doubled or halved at random.

        Rows that are one number in the table stay one. Probabilities are made to sum to one again.
        """
        other = copy(self)
        other._after = {}
        other._hypotheses(self.alone * _doubled_or_halved(rng, self.alone.shape))
        other.nodes = {name: copy(node) for name, node in self.nodes.items()}
        factors: dict[int, Array] = {}
        for node in other.nodes.values():
            rows = [self.row(suspect, node) for suspect in self.suspects]
            for row in (*rows, node.declared.sound):
                if id(row) not in factors:
                    factors[id(row)] = _doubled_or_halved(rng, node.shares.shape[1:])
            node.shares = _sum_to_one(node.shares * np.array([factors[id(row)] for row in rows]))
            node.sound = _sum_to_one(node.sound * factors[id(node.declared.sound)])
        other._link()
        return other

    def _let_slip(self, node: Node) -> None:
        count = len(node.outcomes)
        node.slips = np.minimum(self.slip_rates * node.declared.slips, MOST_SLIPS)
        each = np.eye(count)
        node.channel = np.stack([node.recorded(likely, node.slips) for likely in each])

    def _touched(self, node: Node) -> NDArray[np.bool_]:
        """Return for each suspect whether it touches ``node`` or an earlier one of its family."""
        own = [self.row(suspect, node) is not node.declared.sound for suspect in self.suspects]
        above = self._above.get(node.name)
        return np.array(own) | (self._touched(above) if above is not None else False)

    def row(self, suspect: Suspect, node: Node) -> Row:
        """Return the row of the table that speaks of ``node`` under ``suspect``."""
        if suspect.elsewhere(node.parts_of, node.part):
            return node.declared.sound
        fault = suspect.declared
        own = fault.when.get(self.complaint, {}).get(node.kind) or fault.gives.get(node.kind)
        return own or node.declared.faulty or node.declared.sound

    # --- sums ---------------------------------------------------------------------------------

    def by_place(self, shares: Array) -> Array:
        """Return the probability that each place is at fault; ``shares`` has hypotheses first."""
        result: Array = self._in_place @ shares
        return result

    def by_set(self, shares: Array) -> Array:
        """Return the probability that just these places are at fault, for each of ``sets``."""
        result: Array = self._in_set @ shares
        return result

    def above(self, node: Node) -> Node | None:
        """Return the check that ``node`` comes after."""
        return self._above.get(node.name)

    def root(self, node: Node) -> Node:
        """Return the first check of the family of ``node``."""
        above = self.above(node)
        return node if above is None else self.root(above)

    def remembered(self, key: tuple[object, ...], work_out: Callable[[], Array]) -> Array:
        """Return what was worked out for ``key`` before, or work it out now.

        What a family of checks says hangs on its own outcomes alone, and most of a search asks for
        the same again.
        """
        if key not in self._memory:
            if len(self._memory) >= MOST_REMEMBERED:
                del self._memory[next(iter(self._memory))]
            self._memory[key] = work_out()
        return self._memory[key]


def _doubled_or_halved(rng: np.random.Generator, shape: tuple[int, ...]) -> Array:
    result: Array = np.where(rng.random(shape) < 0.5, 0.5, 2.0)
    return result


def _sum_to_one(shares: Array) -> Array:
    result: Array = shares / shares.sum(axis=-1, keepdims=True)
    return result

"""What a fault table is made of: complaints, setups, checks, faults, and rows of probabilities."""

from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from typing import Annotated, Any, Final, Literal

import msgspec

from meterlink.errors import UsageError
from meterlink.quantities.text import plain

Format = Literal[1]

Name = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
Words = Annotated[str, msgspec.Meta(min_length=1, max_length=400)]
Amount = Annotated[float, msgspec.Meta(ge=0, le=100_000)]
Positive = Annotated[float, msgspec.Meta(gt=0, le=100_000)]
Distribution = Mapping[str, float]
"""Probability of each outcome; sums to one."""

UNSAID: Final = frozenset({"skipped", "cannot-tell"})
"""Outcomes of a step that say nothing of the circuit."""

ALWAYS: Final = ""
"""The context of a check that depends on no other."""
WORTH_SAYING: Final = 0.01
"""An outcome less probable than this is left out of the sentences."""


class Row(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a check shows under a fault."""

    row: dict[str, Any] = {}
    """Probability of each outcome."""
    given: dict[str, dict[str, Any]] = {}
    """The same for each outcome of the check named by ``after``."""
    source: Words
    """Where the numbers come from: a publication, a count of jobs, a judgement."""
    why: Annotated[str, msgspec.Meta(max_length=400)] = ""
    """One sentence for the technician."""

    @property
    def contexts(self) -> Mapping[str, Distribution]:
        """The distributions by outcome of the earlier check; by ``ALWAYS`` where there is none."""
        return {**self.given, ALWAYS: self.row} if self.row else self.given


class Preparation(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Work that opens the way to several checks and is done once."""

    say: Words
    minutes: Amount


class Check(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that can be tried, with the outcomes that it can have."""

    say: Words
    """Its name in a sentence."""
    ask: Words
    """What to do, as one or two sentences."""
    outcomes: Annotated[tuple[Name, ...], msgspec.Meta(min_length=2, max_length=12)]
    reads_as: dict[str, str] = {}
    """Other words for an outcome, such as a verdict code."""
    after: str = ""
    """The earlier check on whose outcome this one's depends, where it is much the same trial."""
    needs: tuple[str, ...] = ()
    """Setups that must be done first."""
    minutes: Positive
    parts: Amount = 0.0
    """What it costs beside time, in the workshop's money."""
    closing: bool = False
    """Part of putting the engine back to work: counts as evidence and is never proposed."""
    caution: str = ""
    """Shown with the proposal."""
    each: dict[Name, Words] = {}
    """A check of a kind, done once for each of these parts that the engine has: name, words."""
    each_of: str = ""
    """Another check of a kind, for each of whose parts this one is done, too. The name of this
    check holds that one's, where the part's goes."""
    worse: tuple[Name, ...] = ()
    """The outcomes from the mildest to the worst: of two faults at once the worse one shows.
    Without it the likeliest one of a sound part comes first, the others as they are listed."""
    slips: Annotated[float, msgspec.Meta(ge=0, le=10)] = 1.0
    """How easily this check goes wrong, beside one that is looked at once."""
    ask_for: dict[Name, Words] = {}
    """What to do besides, for one complaint."""
    says: dict[Name, Words] = {}
    """An outcome as a clause, such as “a spark jumps”; without one it is said by its name."""
    sound: Row
    """What it shows where the fault at hand does not touch it."""
    faulty: Row | None = None
    """What it shows under any fault that says nothing of it; without it, as ``sound``."""
    after_mending: bool = False
    """Makes sense only once something has been put right."""
    made_of: dict[Name, Name] = {}
    """Checks that close a job and after a mend come to this one, each with its good outcome."""


class Fault(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that can be wrong."""

    say: Words
    place: Words
    """What gets mended; faults of one place need no telling apart before that."""
    mend: Words
    note: Annotated[str, msgspec.Meta(max_length=400)] = ""
    """What the checks cannot tell about it."""
    prior: dict[str, Positive]
    """Share among the engines that come in, by complaint; only proportions count."""
    source: Words
    """Where the prior comes from."""
    each: str = ""
    """The check of a kind for whose every part this is a fault of its own."""
    shares: dict[str, Positive] = {}
    """How the prior is shared out among those parts; only proportions count."""
    gives: dict[str, Row] = {}
    """What differs from ``sound``, by check."""
    when: dict[str, dict[str, Row]] = {}
    """The same for one complaint only: complaint, check."""


class SlipRate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often checks are answered wrongly in some share of the jobs."""

    rate: Annotated[float, msgspec.Meta(ge=0, le=0.5)]
    share: Positive
    """Of the jobs; only proportions count."""


class Several(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often an engine comes in with a second fault beside the first."""

    share: Annotated[float, msgspec.Meta(ge=0, lt=1)]
    """Of the engines that come in."""
    source: Words


class FaultTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Faults against checks, as read from a file and found right."""

    format: Format
    title: Words
    minute_cost: Positive = 1.0
    """What a minute of work costs, in the same money as ``parts``."""
    second: Several | None = None
    """Without it every engine has exactly one fault."""
    slip: tuple[SlipRate, ...] = ()
    """Without it every check is answered as the engine shows it."""
    complaints: dict[Name, Words]
    setups: dict[Name, Preparation] = {}
    checks: dict[Name, Check]
    faults: dict[Name, Fault]

    @property
    def places(self) -> frozenset[str]:
        """Every place that can be put right, whatever the complaint and the parts fitted."""
        return frozenset(
            put_part(fault.place, words)
            for fault in self.faults.values()
            for words in (self.checks[fault.each].each.values() if fault.each else ("",))
        )

    def contexts(self, check: str) -> tuple[str, ...]:
        """Return the outcomes of the check that ``check`` comes after; ``ALWAYS`` where none."""
        after = self.checks[check].after
        return self.checks[after].outcomes if after else (ALWAYS,)

    def distribution(self, fault: Fault, check: str, complaint: str, context: str) -> Distribution:
        """Return the probability of each outcome of ``check`` under ``fault``."""
        for rows in (fault.when.get(complaint, {}), fault.gives):
            if check in rows and context in rows[check].contexts:
                return rows[check].contexts[context]
        faulty = self.checks[check].faulty
        if faulty is not None and context in faulty.contexts:
            return faulty.contexts[context]
        return self.checks[check].sound.contexts[context]

    def done_for(self, kind: str) -> Mapping[str, str]:
        """Return the names that a check goes by, each with its part; no part where it has none.

        Raises:
            KeyError: there is no such check.
        """
        declared = self.checks[kind]
        if declared.each:
            return {part: part for part in declared.each}
        if declared.each_of:
            parts = self.checks[declared.each_of].each
            return {of_part(kind, declared.each_of, part): part for part in parts}
        return {kind: ""}

    def part_of(self, check: str) -> str:
        """Return the part that ``check`` looks at, such as one of the stop switches, or none."""
        for kind in self.checks:
            names = self.done_for(kind)
            if check in names:
                return names[check]
        return ""

    def understands(self, check: str) -> frozenset[str] | None:
        """Return every word that ``check`` takes as an outcome; None where there is no such check.

        ``check`` may be the name of a part, such as one of the stop switches.
        """
        for kind, declared in self.checks.items():
            if check in self.done_for(kind):
                return frozenset({*declared.outcomes, *declared.reads_as, *UNSAID})
        return None


def of_part(name: str, kind: str, part: str) -> str:
    """Return the name of a check or fault of a kind as that of one part: ``key-switch-stuck``."""
    return name.replace(kind, part, 1)


def unknown(word: str, what: str, known: Iterable[str]) -> str:
    """Return the sentence for a word that is not there, with the nearest one that is."""
    words = list(known)
    near = get_close_matches(word, words, n=1)
    mend = f"did you mean “{near[0]}”?" if near else f"there is {', '.join(words) or 'none'}"
    return f"there is no {what} “{plain(word)}”; {mend}"


def either(clauses: Sequence[str]) -> str:
    """Join clauses of which one holds; what they begin with alike is said once.

    ``the primary reads above its window`` and ``the primary reads short`` give
    ``the primary reads above its window or short``.
    """
    if len(clauses) == 1:
        return clauses[0]
    words = [clause.split() for clause in clauses]
    # Something must be left to choose from.
    most = min(map(len, words)) - 1
    shared = 0
    while shared < most and len({each[shared] for each in words}) == 1:
        shared += 1
    ends = [" ".join(each[shared:]) for each in words]
    told = f"{', '.join(ends[:-1])} or {ends[-1]}"
    return " ".join([*words[0][:shared], told])


class Suspect:
    """One fault of the model; a fault of several parts is several of these."""

    def __init__(self, name: str, declared: Fault, prior: float, part: str, words: str) -> None:
        self.name = name
        self.declared = declared
        self.prior = prior
        self.part = part
        """The check of this very part, where the fault is one of several parts."""
        self.say = put_part(declared.say, words)
        self.place = put_part(declared.place, words)
        self.mend = put_part(declared.mend, words)

    def elsewhere(self, kind: str, part: str) -> bool:
        """Return whether a check of ``kind`` looks at another part than the one at fault."""
        return kind == self.declared.each and part != self.part


def fitted_parts(table: FaultTable, parts: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return by kind of check the parts that the engine has, in the table's order."""
    kinds = {name: check.each for name, check in table.checks.items() if check.each}
    known = [part for each in kinds.values() for part in each]
    for part in parts:
        if part not in known:
            raise UsageError(unknown(part, "part with a check of its own", known))
    return {
        kind: tuple(part for part in each if part in parts) or (next(iter(each)),)
        for kind, each in kinds.items()
    }


def suspects_of(
    table: FaultTable, complaint: str, fitted: Mapping[str, tuple[str, ...]]
) -> list[Suspect]:
    """Return every fault that a complaint can come from; one of parts for each that is fitted."""
    found = []
    for name, fault in table.faults.items():
        if complaint not in fault.prior:
            continue
        prior = fault.prior[complaint]
        if not fault.each:
            found.append(Suspect(name, fault, prior, "", ""))
            continue
        parts = fitted[fault.each]
        total = sum(fault.shares[part] for part in parts)
        for part in parts:
            own = of_part(name, fault.each, part)
            words = table.checks[fault.each].each[part]
            found.append(Suspect(own, fault, prior * fault.shares[part] / total, part, words))
    return found


def put_part(sentence: str, words: str) -> str:
    """Put the part's name where the sentence leaves room for it."""
    return sentence.replace("{part}", words)

"""From the recorded outcomes of a job to its finding."""

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Final

import msgspec
import numpy as np

from meterlink.errors import UsageError
from meterlink.finding.finding import (
    ONWARD,
    Finding,
    Meaning,
    Odd,
    Placed,
    PlacedSet,
    Proposed,
    Speaks,
    Suspected,
    firm_named,
    firm_next,
    say_meaning,
    say_odd,
    say_unmeasured,
    say_weight,
    sentences,
)
from meterlink.finding.model import Array, Model, Node
from meterlink.finding.outcomes import Outcome, RecordedOutcome, Said, is_unsaid, record, times_done
from meterlink.finding.posterior import Belief, EvidenceStage, Taken, is_sure, named_set, take_in
from meterlink.finding.search import Prospect, Shaken, prospects, shake
from meterlink.finding.shape import ALWAYS, FaultTable, unknown
from meterlink.finding.table import shipped_table

LEAST_WEIGHT: Final = 0.1
"""Bits; an outcome that moves the odds by less (7 %) speaks neither for nor against."""
ODD: Final = 0.25
"""From this probability on to have been recorded wrongly, an outcome is odd."""
WORTH_LISTING: Final = 0.01
"""A set of places less probable than this is left out."""


class Later(msgspec.Struct, frozen=True, kw_only=True):
    """What was put right, and what the checks showed after that."""

    mended: tuple[str, ...]
    outcomes: Mapping[str, Outcome]


def find(
    outcomes: Mapping[str, Outcome],
    complaint: str,
    *,
    table: FaultTable | None = None,
    parts: Sequence[str] = (),
    later: Sequence[Later] = (),
    counts: Mapping[str, int] | None = None,
    draws: int = 0,
) -> Finding:
    """Return what ``outcomes``, by check, together say of the circuit.

    ``complaint`` is one of the table's (``no-spark``, ``wont-stop``, ``dies-hot`` in the shipped
    one, which is the default). ``parts`` names the stop switches that the engine has; those with
    an outcome count without being named. ``later`` are the mends, each with what came after it.
    ``counts`` are jobs of the workshop that ended with a confirmed repair, by fault. ``draws``:
    how often all judged numbers are doubled or halved at random, to say how firm the finding is.

    Raises:
        UsageError: the table has no such complaint, part, place, check or outcome.
    """
    said = [outcomes, *(stage.outcomes for stage in later)]
    known = switches_seen(table or shipped_table(), said)
    fitted = tuple(sorted({*parts, *known}))
    if table is None and not counts:
        model = _usual_model(complaint, fitted)
    else:
        model = Model(table or shipped_table(), complaint, fitted, counts=counts)
    found = finding(model, outcomes, later)
    if not draws or found.clean:
        return found
    recorded, stages = _recorded(model, outcomes, later)
    shaken = shake(model, stages, draws, recorded[-1].unsaid)
    return _with_firmness(found, shaken)


@lru_cache(8)
def _usual_model(complaint: str, parts: tuple[str, ...]) -> Model:
    """Return the shipped table's model, which is dearer to make than to ask."""
    return Model(shipped_table(), complaint, parts)


def switches_seen(table: FaultTable, said: Sequence[Mapping[str, Outcome]]) -> set[str]:
    """Return the parts of which a check has told something."""
    return {
        table.part_of(check)
        for outcomes in said
        for check, outcome in outcomes.items()
        if not is_unsaid(outcome)
    } - {""}


def finding(model: Model, outcomes: Mapping[str, Outcome], later: Sequence[Later] = ()) -> Finding:
    """Return what ``outcomes`` together say, by a model that was made ready before.

    Raises:
        UsageError: the model has no such place, check or outcome.
    """
    recorded, stages = _recorded(model, outcomes, later)
    belief = Belief(model, stages)
    steps = list(_taken(model, stages, recorded))
    named = named_set(model, belief.shares)
    suspects = belief.suspects
    priors = Belief(model, {}).suspects
    order = np.argsort(-suspects, kind="stable")
    faults = tuple(
        _suspected(model, steps, int(i), float(suspects[i]), float(priors[i])) for i in order
    )
    contradictory = belief.slipped([each.shown for each in recorded]) >= 0.5
    odd = tuple(_odd(belief, recorded[-1]))
    best = prospects(model, stages, done=recorded[-1].unsaid)
    proposed = tuple(_proposed(model, prospect) for prospect in best)
    found = Finding(
        complaint=model.complaint,
        faults=faults,
        places=_places(model, belief.shares),
        sets=_sets(model, belief.shares),
        named=tuple(Placed(place=place, probability=p) for place, p in named.items()),
        more=float(belief.shares @ _beside(model, named)),
        sure=is_sure(named) and not contradictory,
        contradictory=contradictory,
        clean=not later and _is_clean(model, recorded[0]),
        odd=odd,
        next=proposed,
        mended=tuple(place for stage in later for place in stage.mended),
        closed=bool(later) and _did_it(model, recorded[-1]),
        counted=model.counted,
        firm=None,
        firm_next=None,
        unsaid=recorded[-1].unsaid,
        said=tuple(name for name in model.nodes if any(name in each.said for each in recorded)),
        sentences=(),
    )
    strange = tuple(model.nodes[check].say for each in recorded for check in each.strange)
    told = sentences(found, model.table.complaints[model.complaint], strange)
    word_only = say_unmeasured([model.nodes[name].say for name in found.said])
    return msgspec.structs.replace(found, sentences=(*told, *word_only))


def _recorded(
    model: Model, outcomes: Mapping[str, Outcome], later: Sequence[Later]
) -> tuple[list[RecordedOutcome], list[EvidenceStage]]:
    recorded, stages = [record(model, outcomes)], []
    stages.append(EvidenceStage(evidence=recorded[0].evidence))
    mended: frozenset[str] = frozenset()
    known = {*model.places, *model.table.places}
    for stage in later:
        for place in stage.mended:
            if place not in known:
                raise UsageError(unknown(place, "place", model.places))
        mended |= set(stage.mended) & set(model.places)  # others cannot have caused the complaint
        recorded.append(record(model, tried(model, stage.outcomes)))
        stages.append(EvidenceStage(mended, recorded[-1].evidence))
    return recorded, stages


def tried(model: Model, outcomes: Mapping[str, Outcome]) -> dict[str, Outcome]:
    """Return ``outcomes`` after a mend, with the checks that close a job as the one they are then.

    Before a mend their rows speak of what will have been put right by then; now that is known.
    """
    result = dict(outcomes)
    for node in model.nodes.values():
        good = node.declared.made_of
        told = {check: result.pop(check) for check in good if check in result}
        words = {check: said for check, said in told.items() if not is_unsaid(said)}
        right = [_is(model.nodes[check], said, good[check]) for check, said in words.items()]
        ahead = {model.nodes[check].declared.after for check in words}
        known = right and all(check in words or check in ahead for check in good)
        if known or not all(right):
            outcome = node.outcomes[0 if all(right) else 1]
            by_word = any(isinstance(times_done(said)[-1], Said) for said in words.values())
            result[node.name] = Said(outcome) if by_word else outcome
    return result


def _is(node: Node, said: Outcome, outcome: str) -> bool:
    """Return whether the newest time of ``said`` is ``outcome``, on somebody's word or not."""
    once = times_done(said)[-1]
    word = once.outcome if isinstance(once, Said) else once
    return isinstance(word, str) and node.declared.reads_as.get(word, word) == outcome


Step = tuple[Taken, str, bool]
"""What an outcome did, the outcome in words, and whether it is somebody's word alone."""


def _taken(
    model: Model, stages: Sequence[EvidenceStage], recorded: Sequence[RecordedOutcome]
) -> Iterator[Step]:
    """Yield what each outcome did, stage by stage."""
    for number, (stage, each) in enumerate(zip(stages, recorded, strict=True)):
        for step in take_in(model, each.evidence, stages[:number], stage.mended):
            yield step, each.words[step.check], step.check in each.said


def _beside(model: Model, named: Mapping[str, float]) -> Array:
    """Return 1 for each hypothesis with a place that is not among the named ones, else 0."""
    other = np.array([suspect.place not in named for suspect in model.suspects])
    first, second = other[model.members].T
    result: Array = np.where(first | second, 1.0, 0.0)
    return result


def _is_clean(model: Model, recorded: RecordedOutcome) -> bool:
    """Whether nothing that was recorded speaks of any fault at all."""
    for name, times in recorded.shown.items():
        node = model.nodes[name]
        context = recorded.words.get(node.declared.after, ALWAYS)
        sound = node.declared.sound.contexts.get(context)
        likeliest = node.outcomes[int(np.argmax(times[-1].likely))]
        if sound is None or likeliest != max(sound, key=lambda outcome: float(sound[outcome])):
            return False
    return bool(recorded.shown)


def _did_it(model: Model, recorded: RecordedOutcome) -> bool:
    """Whether the engine was tried after the last mend, and its complaint is gone."""
    return any(
        recorded.words[name] == node.outcomes[0]
        for name, node in model.nodes.items()
        if node.declared.after_mending and name in recorded.words
    )


def _places(model: Model, shares: Array) -> tuple[Placed, ...]:
    """Return the places with their probabilities, the most probable first."""
    by_place = model.by_place(shares)
    return tuple(
        Placed(place=model.places[i], probability=float(by_place[i]))
        for i in np.argsort(-by_place, kind="stable")
    )


def _sets(model: Model, shares: Array) -> tuple[PlacedSet, ...]:
    by_set = model.by_set(shares)
    return tuple(
        PlacedSet(
            places=tuple(model.places[place] for place in model.sets[i]),
            probability=float(by_set[i]),
        )
        for i in np.argsort(-by_set, kind="stable")
        if by_set[i] >= WORTH_LISTING
    )


def _suspected(
    model: Model, steps: Sequence[Step], i: int, probability: float, prior: float
) -> Suspected:
    suspect = model.suspects[i]
    said = sorted(
        (_speaks(model, taken, i) for taken in steps if abs(taken[0].weight[i]) >= LEAST_WEIGHT),
        key=lambda speaks: -abs(speaks.bits),
    )
    return Suspected(
        fault=suspect.name,
        say=suspect.say,
        place=suspect.place,
        probability=probability,
        prior=prior,
        speaks_for=tuple(speaks for speaks in said if speaks.bits > 0),
        speaks_against=tuple(speaks for speaks in said if speaks.bits < 0),
        mend=suspect.mend,
        note=suspect.declared.note,
        source=suspect.declared.source,
    )


def _speaks(model: Model, taken: Step, i: int) -> Speaks:
    step, outcome, said = taken
    node, bits = model.nodes[step.check], float(step.weight[i])
    row = model.row(model.suspects[i], node)
    return Speaks(
        check=step.check,
        outcome=outcome,
        bits=bits,
        say=say_weight(node.said(outcome), bits, row.why, said=said),
        source=row.source,
        said=said,
    )


def _odd(belief: Belief, recorded: RecordedOutcome) -> Iterator[Odd]:
    """Yield the outcomes that may well have been recorded wrongly, the oddest first."""
    wrong = belief.wrong(recorded.shown)
    for check in sorted(wrong, key=lambda check: -wrong[check]):
        if wrong[check] < ODD:
            return
        node, outcome = belief.model.nodes[check], recorded.words[check]
        yield Odd(
            check=check,
            outcome=outcome,
            probability=wrong[check],
            say=say_odd(node.say, node.said(outcome), wrong[check]),
        )


def _proposed(model: Model, prospect: Prospect) -> Proposed:
    node = prospect.node
    more = node.declared.ask_for.get(model.complaint, "")
    return Proposed(
        check=node.name,
        again=prospect.again,
        say=node.say,
        ask=f"{node.ask} {more}".strip(),
        caution=node.declared.caution,
        bits=prospect.bits,
        minutes=prospect.minutes,
        setups=prospect.setups,
        parts=prospect.parts,
        rate=prospect.rate,
        means=tuple(
            _meaning(model, node, outcome, float(chance), then)
            for outcome, chance, then in zip(
                node.outcomes, prospect.chances, prospect.then, strict=True
            )
        ),
    )


def _meaning(model: Model, node: Node, outcome: str, chance: float, then: Array) -> Meaning:
    named = named_set(model, then)
    return Meaning(
        outcome=outcome,
        chance=chance,
        fault=model.suspects[int((model.has @ then).argmax())].name,
        places=tuple(named),
        probability=next(iter(named.values())),
        say=say_meaning(node.said(outcome), chance, named),
    )


def _with_firmness(found: Finding, shaken: Shaken) -> Finding:
    """Return the finding with what was learnt of its numbers: each beside what it is about."""
    asks = {proposed.check: proposed for proposed in found.next}
    firm = firm_named(shaken.named)
    onward = firm_next(shaken.next, asks)
    say = list(found.sentences)
    at = next((at for at, sentence in enumerate(say) if sentence.startswith(ONWARD)), len(say))
    if onward is not None and onward.say:
        say.insert(at, onward.say)
    say.insert(min(at, 2 if found.closed else 1), firm.say)
    return msgspec.structs.replace(found, firm=firm, firm_next=onward, sentences=tuple(say))

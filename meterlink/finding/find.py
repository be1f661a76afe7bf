"""From the recorded outcomes of a job to its finding."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from meterlink.finding import words
from meterlink.finding.conflict import LEAST_FIT, ODD, fit, surprise
from meterlink.finding.finding import Finding, Meaning, Odd, Placed, Proposed, Speaks, Suspected
from meterlink.finding.model import Array, Model, Node
from meterlink.finding.next_check import Prospect, prospects
from meterlink.finding.outcomes import Outcome, RecordedOutcome, record
from meterlink.finding.posterior import SURE, Taken, posterior, take_in
from meterlink.finding.shape import ALWAYS, FaultTable
from meterlink.finding.table import shipped_table

LEAST_WEIGHT: Final = 0.1
"""Bits; an outcome that moves the odds by less (7 %) speaks neither for nor against."""


def find(
    outcomes: Mapping[str, Outcome],
    complaint: str,
    *,
    table: FaultTable | None = None,
    parts: Sequence[str] = (),
) -> Finding:
    """Return what ``outcomes``, by check, together say of the circuit.

    ``complaint`` is one of the table's (``no-spark``, ``wont-stop``, ``dies-hot`` in the shipped
    one, which is the default). ``parts`` names the stop switches that the engine has; those with
    an outcome count without being named.

    Raises:
        UsageError: the table has no such complaint, part, check or outcome.
    """
    table = table or shipped_table()
    return finding(model_for(table, complaint, outcomes, parts), outcomes)


def model_for(
    table: FaultTable, complaint: str, outcomes: Mapping[str, Outcome], parts: Sequence[str] = ()
) -> Model:
    """Return the model for a job that has these outcomes."""
    seen = {table.part_of(check) for check in outcomes} - {""}
    return Model(table, complaint, sorted({*parts, *seen}))


def finding(model: Model, outcomes: Mapping[str, Outcome]) -> Finding:
    """Return what ``outcomes`` together say, by a model that was made ready before.

    Raises:
        UsageError: the model has no such check or outcome.
    """
    recorded = record(model, outcomes)
    shares = posterior(model, recorded.evidence)
    steps = take_in(model, recorded)
    certain = _certain(model, recorded, steps)
    fits = np.broadcast_to(fit(certain), shares.shape)
    order = np.argsort(-shares, kind="stable")
    faults = tuple(
        _suspected(model, recorded, steps, i, float(shares[i]), float(fits[i])) for i in order
    )
    contradictory = bool(fits.max() < LEAST_FIT)
    places = _places(model, shares)
    sure = places[0].probability >= SURE and not contradictory
    odd = tuple(_odd(model, certain, int(order[0])))
    clean = _is_clean(model, recorded)
    proposed = tuple(
        _proposed(model, prospect)
        for prospect in prospects(model, recorded.evidence, done=recorded.unsaid)
    )
    return Finding(
        complaint=model.complaint,
        faults=faults,
        places=places,
        sure=sure,
        contradictory=contradictory,
        clean=clean,
        odd=odd,
        next=proposed,
        unsaid=recorded.unsaid,
        sentences=words.clean_sentences(model.table.complaints[model.complaint], proposed)
        if clean
        else words.sentences(faults, places, sure, contradictory, odd, proposed),
    )


def _is_clean(model: Model, recorded: RecordedOutcome) -> bool:
    """Whether nothing that was recorded speaks of any fault at all."""
    for name, weights in recorded.evidence.items():
        node = model.nodes[name]
        context = recorded.words.get(node.declared.after, ALWAYS)
        sound = node.declared.sound.contexts.get(context)
        likeliest = node.outcomes[int(np.argmax(weights))]
        if sound is None or likeliest != max(sound, key=lambda outcome: float(sound[outcome])):
            return False
    return bool(recorded.evidence)


def _places(model: Model, shares: Array) -> tuple[Placed, ...]:
    """Return the places with their probabilities, the most probable first."""
    by_place = model.by_place(shares)
    return tuple(
        Placed(place=model.places[i], probability=float(by_place[i]))
        for i in np.argsort(-by_place, kind="stable")
    )


def _certain(
    model: Model, recorded: RecordedOutcome, steps: list[Taken]
) -> list[tuple[Taken, int]]:
    """Return the outcomes that no close verdict leaves open, with their place on the axis."""
    return [
        (step, model.nodes[step.check].outcomes.index(recorded.words[step.check]))
        for step in steps
        if step.check in recorded.certain
    ]


def _suspected(
    model: Model,
    recorded: RecordedOutcome,
    steps: list[Taken],
    i: int,
    probability: float,
    fits: float,
) -> Suspected:
    suspect = model.suspects[i]
    said = sorted(
        (
            _speaks(model, recorded, step, i)
            for step in steps
            if abs(step.weight[i]) >= LEAST_WEIGHT
        ),
        key=lambda speaks: -abs(speaks.bits),
    )
    return Suspected(
        fault=suspect.name,
        say=suspect.say,
        place=suspect.place,
        probability=probability,
        prior=float(model.prior[i]),
        speaks_for=tuple(speaks for speaks in said if speaks.bits > 0),
        speaks_against=tuple(speaks for speaks in said if speaks.bits < 0),
        fit=fits,
        mend=suspect.mend,
        note=suspect.declared.note,
        source=suspect.declared.source,
    )


def _speaks(model: Model, recorded: RecordedOutcome, step: Taken, i: int) -> Speaks:
    node = model.nodes[step.check]
    outcome, bits = recorded.words[step.check], float(step.weight[i])
    row = model.row(model.suspects[i], node)
    return Speaks(
        check=step.check,
        outcome=outcome,
        bits=bits,
        say=words.speaks(node.said(outcome), bits, row.why),
        source=row.source,
    )


def _odd(model: Model, certain: list[tuple[Taken, int]], first: int) -> Iterator[Odd]:
    """Yield the outcomes that do not go with the most probable fault."""
    for step, outcome in certain:
        bits = float(surprise(step, outcome)[first])
        if bits < np.log2(ODD):
            continue
        node = model.nodes[step.check]
        likeliest = node.outcomes[int(step.expected[first].argmax())]
        seen, fault = node.outcomes[outcome], model.suspects[first].say
        yield Odd(
            check=step.check,
            outcome=seen,
            bits=bits,
            say=words.odd(node.say, node.said(seen), fault, node.said(likeliest)),
        )


def _proposed(model: Model, prospect: Prospect) -> Proposed:
    node = prospect.node
    return Proposed(
        check=node.name,
        say=node.say,
        ask=node.ask,
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
    first = _places(model, then)[0]
    return Meaning(
        outcome=outcome,
        chance=chance,
        fault=model.suspects[int(then.argmax())].name,
        place=first.place,
        probability=first.probability,
        say=words.meaning(node.said(outcome), chance, first),
    )

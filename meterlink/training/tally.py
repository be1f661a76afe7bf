"""What a ledger says of the person who filled it: what was skipped, renewed for nothing, missed."""

import msgspec

from meterlink.finding.model import Model
from meterlink.finding.outcomes import record
from meterlink.finding.posterior import posterior
from meterlink.finding.shape import UNSAID
from meterlink.training.case import Case
from meterlink.training.ledger import Concluded, HandsOn, Ledger, Named, Renewed, Touched
from meterlink.training.repairs import mend_of
from meterlink.training.topics import SAFETY_TOPICS, Topic


class Tally(msgspec.Struct, frozen=True):
    """How often a topic came up, and how often it was missed."""

    practised: int
    missed: int


def support(model: Model, ledger: Ledger) -> dict[str, float]:
    """Return how probable each place is after what was seen."""
    shares = model.by_place(posterior(model, record(model, ledger.told(model)).evidence))
    return dict(zip(model.places, map(float, shares), strict=True))


def reasoned(case: Case, ledger: Ledger) -> float:
    """Return how far the name rests on what was seen, from 0 for none to 1 for all there is.

    That is how probable the place was then, beside how probable the advice could have made it.
    """
    named = ledger.all(Named)
    if not named:
        return 0.0
    return min(1.0, support(case.model, ledger.search)[named[-1].place] / case.walk.probability)


def needless(case: Case, ledger: Ledger) -> list[str]:
    """Return the places whose good part was renewed, as often as it was."""
    mends = [e for e in ledger.lines if isinstance(e, Renewed | Named)]
    return [e.place for e in mends if e.place != case.place and mend_of(e.place).parts > 0]


def misled(ledger: Ledger) -> list[Concluded]:
    """Return the checks that showed something else than with care, before anything was mended."""
    found = []
    for entry in ledger.lines:
        if isinstance(entry, Named | Renewed):
            break
        if isinstance(entry, Concluded) and entry.outcome not in (entry.with_care, *UNSAID):
            found.append(entry)
    return found


def skipped(ledger: Ledger) -> list[Topic]:
    """Return the safety steps that were needed and not done."""
    missed = {topic for work in ledger.all(HandsOn) for topic in work.unsafe}
    if not stop_checked(ledger):
        missed.add(Topic.STOP_CHECK)
    return [topic for topic in SAFETY_TOPICS if topic in missed]


def stop_checked(ledger: Ledger) -> bool:
    """Return whether the engine was seen to stop after the last thing that was put right."""
    for entry in reversed(ledger.lines):
        if isinstance(entry, Named | Renewed):
            return False
        if isinstance(entry, Concluded) and entry.check == "stop-check":
            return entry.outcome == "stops"
    return False


def topics_of(case: Case, ledger: Ledger) -> dict[str, Tally]:
    """Return what came up and what was missed, by the topic's word in files."""
    seen: dict[Topic, list[bool]] = {}

    def saw(topic: Topic, missed: bool) -> None:
        seen.setdefault(topic, []).append(missed)

    missing = skipped(ledger)
    for topic in dict.fromkeys(topic for work in ledger.all(HandsOn) for topic in work.due):
        saw(topic, topic in missing)
    saw(Topic.STOP_CHECK, Topic.STOP_CHECK in missing)
    touches: list[Touched | Concluded] = [*ledger.all(Touched), *ledger.all(Concluded)]
    for touch in touches:
        flawed = {flaw.topic for flaw in touch.flaws}
        for topic in sorted(touch.matters | flawed, key=lambda topic: topic.value):
            saw(topic, topic in flawed)
    named = ledger.all(Named)
    saw(Topic.FAULT, not (named and named[-1].right))
    saw(Topic.PARTS, bool(needless(case, ledger)))
    saw(Topic.CHECKS, len(ledger.search.checks) > 1.5 * max(1, len(case.walk.checks)))
    return {
        topic.value: Tally(len(seen[topic]), sum(seen[topic])) for topic in Topic if topic in seen
    }

"""The score: what a practice was worth, item by item, each with the sentence that explains it.

The weights are judgements of the authors. What they are meant to hold to, and what the tests prove:
whoever follows the advice to its end never scores less than whoever renews parts until it runs, and
one more good part renewed never adds a point.
"""

from collections.abc import Iterator
from typing import Final

import msgspec

from meterlink.finding.words import percent
from meterlink.practice.case import Case
from meterlink.practice.judging import (
    Tally,
    misled,
    needless,
    reasoned,
    skipped,
    support,
    topics_of,
)
from meterlink.practice.ledger import Concluded, Hinted, Ledger, Named, Renewed, Touched
from meterlink.practice.parts import mend_of
from meterlink.practice.topics import Topic

FAULT: Final = 40.0
"""For place and fault; the place alone is what gets mended, and worth nearly all of it."""
PLACE: Final = 36.0
HALF: Final = 20.0
"""For a place found by renewing it, and for a wrong one that the checks spoke for."""
SAFETY: Final = 20.0
CHECKS: Final = 15.0
PARTS: Final = 10.0
A_PART: Final = 5.0
"""Off for each good part renewed."""
CONTACT: Final = 10.0
TIME: Final = 5.0
TOTAL: Final = FAULT + SAFETY + CHECKS + PARTS + CONTACT + TIME

_WORTH: Final = {
    Topic.CAUTIONS: 5.0,
    Topic.MADE_SAFE: 4.0,
    Topic.VAPOUR: 4.0,
    Topic.WIRE_BACK: 2.0,
    Topic.STOP_CHECK: 5.0,
}
"""Of the safety points, what goes with each step that was skipped."""


class Item(msgspec.Struct, frozen=True, kw_only=True):
    """One part of the score."""

    title: str
    points: float
    of: float
    say: tuple[str, ...]
    """Why, one thought a sentence."""


class Score(msgspec.Struct, frozen=True, kw_only=True):
    """A whole practice, judged."""

    items: tuple[Item, ...]
    topics: dict[str, Tally]
    """By the topic's word in files."""
    place: str
    """Where the fault was."""
    fault: str
    """What it was, in words."""
    found: bool
    """The place that was named last was the right one."""
    minutes: float
    parts: float
    checks: int
    advised: int
    """Checks that the advice takes on this engine."""
    expected: float
    """Checks that the advice takes on the average of such engines."""

    @property
    def points(self) -> float:
        """Sum over the items, of ``TOTAL``."""
        return sum(item.points for item in self.items)


def score(case: Case, ledger: Ledger, expected: float) -> Score:
    """Return the score of ``ledger`` on ``case``.

    ``expected``: checks that the advice takes on the average of engines with this complaint.
    """
    named = ledger.all(Named)
    search = ledger.search
    suspect = next(s for s in case.model.suspects if s.name == case.patient.fault)
    return Score(
        items=(
            _fault(case, ledger),
            _safety(ledger),
            _parts(case, ledger),
            _checks(case, ledger, expected),
            _contact(ledger),
            _time(case, ledger),
        ),
        topics=topics_of(case, ledger),
        place=case.place,
        fault=suspect.say,
        found=bool(named) and named[-1].right,
        minutes=ledger.minutes,
        parts=ledger.parts,
        checks=len(search.checks),
        advised=len(case.walk.checks),
        expected=expected,
    )


def _fault(case: Case, ledger: Ledger) -> Item:
    named = ledger.all(Named)
    title = "The fault"
    was = next(s for s in case.model.suspects if s.name == case.patient.fault)
    truth = f"It was {was.say} (place: {was.place})."
    if not named:
        return Item(title=title, points=0, of=FAULT, say=("You named no fault.", truth))
    last = named[-1]
    if last.right:
        return _found(case, ledger, last, truth)
    likely = support(case.model, ledger.search)
    if likely[last.place] >= max(likely.values()):
        say = (
            f"You named {last.place}, and that was not it, though what you had seen spoke for it "
            f"most ({percent(likely[last.place])}).",
            truth,
        )
        return Item(title=title, points=HALF, of=FAULT, say=say)
    say = (f"You named {last.place}, and that was not it.", truth)
    return Item(title=title, points=0, of=FAULT, say=say)


def _found(case: Case, ledger: Ledger, last: Named, truth: str) -> Item:
    title = "The fault"
    tried = [entry.place for entry in ledger.search.all(Renewed)]
    if last.place in tried:
        say = (f"You found it by renewing {last.place}, not by a check.", truth)
        return Item(title=title, points=HALF, of=FAULT, say=say)
    wrong = sum(not entry.right for entry in ledger.all(Named))
    if wrong:
        times = "once" if wrong == 1 else f"{wrong} times"
        say = (f"Right in the end, after you had named another place {times}.", truth)
        return Item(title=title, points=HALF, of=FAULT, say=say)
    if last.fault == case.patient.fault:
        return Item(title=title, points=FAULT, of=FAULT, say=("Right, place and fault.", truth))
    say = ("The right place, which is what gets mended.", truth)
    alone = len([s for s in case.model.suspects if s.place == last.place]) == 1
    return Item(title=title, points=FAULT if alone else PLACE, of=FAULT, say=say)


def _safety(ledger: Ledger) -> Item:
    missing = skipped(ledger)
    points = SAFETY - sum(_WORTH[topic] for topic in missing)
    say = [_SKIPPED[topic] for topic in missing] or ["No safety step was skipped."]
    return Item(title="Safety", points=points, of=SAFETY, say=tuple(say))


_SKIPPED: Final = {
    Topic.CAUTIONS: "You went to work before the cautions were read.",
    Topic.MADE_SAFE: "You went to work with the ignition live: switch off, take the plug lead off "
    "and earth it first.",
    Topic.VAPOUR: "You made a spark before plug hole and fuel were closed and the place aired: a "
    "spark lights vapour.",
    Topic.WIRE_BACK: "You ran the engine with its stop circuit apart: nothing would have stopped "
    "it.",
    Topic.STOP_CHECK: "The engine was not seen to stop after the work: none is given back before "
    "that.",
}


def _parts(case: Case, ledger: Ledger) -> Item:
    swapped = needless(case, ledger)
    points = max(0.0, PARTS - A_PART * len(swapped))
    if not ledger.all(Named):
        idle = "No part is spared by naming no fault."
        return Item(title="Parts", points=0, of=PARTS, say=(idle,))
    say = [
        f"The {place} was good and was renewed: {mend_of(place).parts:g} in parts for nothing."
        for place in swapped
    ]
    return Item(
        title="Parts",
        points=points,
        of=PARTS,
        say=tuple(say) or ("No good part was renewed.",),
    )


def _checks(case: Case, ledger: Ledger, expected: float) -> Item:
    """Fewest checks, and a fault named on what they showed; a guess is worth what it was."""
    search, named = ledger.search, ledger.all(Named)
    took, advised = len(search.checks), len(case.walk.checks)
    again = took - len(set(search.checks))
    say: list[str] = [
        f"You took {_count(took, 'check')}; the best next checks would have taken {advised} on "
        f"this engine, and {expected:.1f} on the average of such engines."
    ]
    if again:
        say.append(f"{_count(again, 'check')} of yours repeated one that you had begun before.")
    say += [
        f"{_first(case.model.nodes[e.check].say)} showed «{_words(e.outcome)}» to you; with care "
        f"it shows «{_words(e.with_care)}»."
        for e in misled(search)
    ]
    hints = len(search.all(Hinted))
    if hints:
        say.append(f"You asked for the next best check {_times(hints)}.")
    if named:
        place = named[-1].place
        had = percent(support(case.model, search)[place])
        say.append(f"What you had seen made {place} {had} probable when you named it.")
    share = min(1.0, max(1, advised) / max(1, took)) * reasoned(case, ledger)
    share *= max(0.5, 1 - 0.1 * hints)
    return Item(title="Checks", points=CHECKS * share, of=CHECKS, say=tuple(say))


def _contact(ledger: Ledger) -> Item:
    touches: list[Touched | Concluded] = [
        *ledger.all(Touched),
        *(entry for entry in ledger.all(Concluded) if entry.matters),
    ]
    title, bad = "Contact", [touch for touch in touches if touch.flaws]
    if not touches:
        if not ledger.all(Named):
            idle = "You held no value and tried no spark."
            return Item(title=title, points=0, of=CONTACT, say=(idle,))
        say = ("You held no value and tried no spark, so none was held on bad contact.",)
        return Item(title=title, points=CONTACT, of=CONTACT, say=say)
    points = CONTACT * (1 - len(bad) / len(touches))
    if not bad:
        many = f"Of {len(touches)} values and spark trials, each"
        one = "The one value or spark trial that you took"
        say = (f"{many if len(touches) > 1 else one} was taken well.",)
        return Item(title=title, points=points, of=CONTACT, say=say)
    reasons = dict.fromkeys(flaw.say for touch in bad for flaw in touch.flaws)
    why = (
        f"Of {len(touches)} values and spark trials, {len(bad)} told little, for how "
        f"{'it was' if len(bad) == 1 else 'they were'} taken."
        if len(touches) > 1
        else "The one value or spark trial that you took told little, for how it was taken.",
        *(f"{_first(reason)}." for reason in reasons),
    )
    return Item(title=title, points=points, of=CONTACT, say=why)


def _time(case: Case, ledger: Ledger) -> Item:
    """Quick work counts as far as it led somewhere: to name without having seen is no saving."""
    search, walk = ledger.search, case.walk
    spent, advised = search.minutes + search.parts, walk.minutes + walk.parts
    share = min(1.0, (advised + _SAFE_MINUTES) / spent) if spent else 1.0
    took = f"{search.minutes:.0f} min" + (f" and {search.parts:g} in parts" if search.parts else "")
    beside = f"{walk.minutes:.0f} min" + (f" and {walk.parts:g} in parts" if walk.parts else "")
    return Item(
        title="Time",
        points=TIME * share * reasoned(case, ledger),
        of=TIME,
        say=(f"The search took {took}; advised were {beside}.",),
    )


_SAFE_MINUTES: Final = 3.0
"""Minutes of the safety steps, which nobody is to save."""


def sentences(scored: Score) -> Iterator[str]:
    """Yield the score as lines for people: each item with its points and its reasons."""
    for item in scored.items:
        yield f"{item.title}: {item.points:.0f} of {item.of:.0f}. {' '.join(item.say)}"
    yield (
        f"Together {scored.points:.0f} of {TOTAL:.0f}, in {scored.minutes:.0f} min and "
        f"{scored.parts:g} in parts."
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _words(outcome: str) -> str:
    return outcome.replace("-", " ")


def _first(words: str) -> str:
    return words[:1].upper() + words[1:]

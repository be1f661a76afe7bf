"""The score: what a practice was worth, item by item, each with the sentence that explains it.

The weights are judgements of the authors. What they are meant to hold to, and what the tests prove:
whoever follows the advice to its end never scores less than whoever renews parts until it runs, and
one more good part renewed never adds a point.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import msgspec

from meterlink.steps import soak, switch, watch
from meterlink.training.case import Case
from meterlink.training.ledger import (
    SKIPPED,
    Concluded,
    Hinted,
    Ledger,
    Named,
    Renewed,
    Tally,
    Topic,
    Touched,
    mend_of,
    misled,
    needless,
    reasoned,
    skipped,
    support,
    topics_of,
)
from meterlink.wording import OUTCOME_WORDS, counted, percent

FAULT: Final = 40.0
"""For place and fault; the place alone is what gets mended, and worth nearly all of it."""
PLACE: Final = 36.0
HALF: Final = 20.0
"""For a place found by renewing or guessing it, and for a wrong one that the checks spoke for."""
_GUESS: Final = 0.25
"""A name that rests on less of what there was to be seen is a guess."""
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
    return Score(
        items=(
            _item("The fault", FAULT, _fault(case, ledger)),
            _item("Safety", SAFETY, _safety(ledger)),
            _item("Parts", PARTS, _parts(case, ledger)),
            _item("Checks", CHECKS, _checks(case, ledger, expected)),
            _item("Contact", CONTACT, _contact(case, ledger)),
            _item("Time", TIME, _time(case, ledger)),
        ),
        topics=topics_of(case, ledger),
        place=" and ".join(case.places),
        fault=" and ".join(suspect.say for suspect in case.suspects),
        found=bool(named) and named[-1].right and not _unnamed(case, named),
        minutes=ledger.minutes,
        parts=ledger.parts,
        checks=len(search.checks),
        advised=len(case.walk.checks),
        expected=expected,
    )


Worth = tuple[float, Sequence[str]]
"""Points, and why."""


def _item(title: str, of: float, worth: Worth) -> Item:
    points, say = worth
    return Item(title=title, points=points, of=of, say=tuple(say))


def _fault(case: Case, ledger: Ledger) -> Worth:
    named = ledger.all(Named)
    truth = f"It was: {' and '.join(f'{s.say} ({s.place})' for s in case.suspects)}."
    if not named:
        return 0.0, ("You named no fault.", truth)
    last = named[-1]
    if last.right:
        points, how = _found(case, ledger, last)
        return points, (how, truth)
    likely = support(case.model, ledger.search)
    wrong = f"You named “{last.place}”, and that was not it"
    if likely[last.place] >= max(likely.values()):
        had = percent(likely[last.place])
        return HALF, (f"{wrong}, though what you had seen spoke for it most ({had}).", truth)
    return 0.0, (f"{wrong}.", truth)


def _found(case: Case, ledger: Ledger, last: Named) -> tuple[float, str]:
    """Return what the right name is worth, and why, by how it was come by."""
    if last.place in [entry.place for entry in ledger.search.all(Renewed)]:
        return HALF, f"You found it by renewing “{last.place}”, not by a check."
    wrong = sum(not entry.right for entry in ledger.all(Named))
    if wrong:
        return HALF, f"Right in the end, after you had named another place {_times(wrong)}."
    if reasoned(case, ledger) < _GUESS:
        return HALF, "Right, and a guess: what you had seen hardly spoke for it."
    if _unnamed(case, ledger.all(Named)):
        return HALF, "One of the two faults; the other was not named."
    if last.fault in case.patient.faults:
        return FAULT, "Right, place and fault."
    alone = len([s for s in case.model.suspects if s.place == last.place]) == 1
    return FAULT if alone else PLACE, "The right place, which is what gets mended."


def _unnamed(case: Case, named: Sequence[Named]) -> set[str]:
    """Return the places at fault that nobody named."""
    return set(case.places) - {entry.place for entry in named}


def _safety(ledger: Ledger) -> Worth:
    missing = skipped(ledger)
    points = SAFETY - sum(_WORTH[topic] for topic in missing)
    return points, [SKIPPED[topic] for topic in missing] or ["No safety step was skipped."]


def _parts(case: Case, ledger: Ledger) -> Worth:
    if not ledger.all(Named):
        return 0.0, ("You named no fault, so no part was saved.",)
    swapped = needless(case, ledger)
    say = [
        f"Renewed for nothing, as it was good: {place}, {mend_of(place).parts:g} in parts."
        for place in swapped
    ]
    return max(0.0, PARTS - A_PART * len(swapped)), say or ["No good part was renewed."]


def _checks(case: Case, ledger: Ledger, expected: float) -> Worth:
    """Fewest checks, and a fault named on what they showed; a guess is worth what it was."""
    search, named = ledger.search, ledger.all(Named)
    took, advised = len(search.checks), len(case.walk.checks)
    again = took - len(set(search.checks))
    say: list[str] = [
        f"You took {counted(took, 'check')}; the advice takes {advised} on this engine, and "
        f"{expected:.1f} on average with this complaint."
    ]
    if again:
        say.append(f"{counted(again, 'check')} repeated one that you had begun before.")
    say += [
        f"{_first(case.model.nodes[e.check].say)}: you got “{_words(e.outcome)}”; done with care "
        f"it shows “{_words(e.with_care)}”."
        for e in misled(search)
    ]
    hints = len(search.all(Hinted))
    if hints:
        say.append(f"You asked for the next best check {_times(hints)}.")
    if named:
        place = named[-1].place
        had = percent(support(case.model, search)[place])
        say.append(f"When you named “{place}”, what you had seen made it {had} probable.")
    share = min(1.0, max(1, advised) / max(1, took)) * reasoned(case, ledger)
    share *= max(0.5, 1 - 0.1 * hints)
    return CHECKS * share, say


def _contact(case: Case, ledger: Ledger) -> Worth:
    touches: list[Touched | Concluded] = [
        *ledger.all(Touched),
        *(entry for entry in ledger.all(Concluded) if entry.matters),
    ]
    took, bad = len(touches), [touch for touch in touches if touch.flaws]
    if not touches:
        idle = "You held no value and tried no spark"
        if not ledger.all(Named):
            return 0.0, (f"{idle}.",)
        return CONTACT * reasoned(case, ledger), (f"{idle}, so none was taken badly.",)
    if not bad:
        all_of_them = f"All {took} values and spark trials were" if took > 1 else f"{_ONE} was"
        return CONTACT, (f"{all_of_them} taken well.",)
    some = f"Of {took} values and spark trials, {len(bad)}" if took > 1 else _ONE
    reasons = dict.fromkeys(flaw.say for touch in bad for flaw in touch.flaws)
    return CONTACT * (1 - len(bad) / took), (
        f"{some} {'was' if len(bad) == 1 else 'were'} not taken well, and told little.",
        *(f"{_first(reason)}." for reason in reasons),
    )


_ONE: Final = "The one value or spark trial that you took"


def _time(case: Case, ledger: Ledger) -> Worth:
    """Quick work counts as far as it led somewhere: to name without having seen is no saving."""
    search, walk = ledger.search, case.walk
    spent, advised = search.minutes + search.parts, walk.minutes + walk.parts
    share = min(1.0, (advised + _SAFE_MINUTES) / spent) if spent else 1.0
    took, takes = _cost(search.minutes, search.parts), _cost(walk.minutes, walk.parts)
    say = f"The search took {took}; the advice takes {takes}."
    return TIME * share * reasoned(case, ledger), (say,)


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


def _cost(minutes: float, parts: float) -> str:
    return f"{minutes:.0f} min" + (f" and {parts:g} in parts" if parts else "")


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


_OUTCOME_WORDS: Final = OUTCOME_WORDS | switch.WORDS | watch.WORDS | soak.WORDS


def _words(outcome: str) -> str:
    return _OUTCOME_WORDS.get(outcome, outcome.replace("-", " "))


def _first(words: str) -> str:
    return words[:1].upper() + words[1:]

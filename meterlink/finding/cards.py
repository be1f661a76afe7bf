"""What work cards and the finding have to do with each other.

From where a card stands come the outcomes that the finding rests on; and what a card says is held
against profile and fault table, which a file alone cannot tell.
"""

from collections.abc import Iterable, Iterator, Mapping
from math import inf
from typing import Final

import msgspec

from meterlink.bench.progress import Progress
from meterlink.card import Card, Step, lacking, unreachable, unused, was_left_out
from meterlink.events import Verdict
from meterlink.finding.find import Later
from meterlink.finding.outcomes import Measured, Once, Said, close_verdict, is_unsaid
from meterlink.finding.shape import UNSAID, FaultTable
from meterlink.profile import GapSetting, Lead, Profile, Winding
from meterlink.steps.entry import ConfirmationStep, EntryStep
from meterlink.steps.step import StepResult
from meterlink.steps.switch import SwitchStep

Window = tuple[float, float]
COVERAGE: Final = 2.0
"""Times the standard uncertainty, ``Judged.u`` is about."""
GAUGE_U: Final = 1.5e-5
"""Standard uncertainty of a gap that was gauged, metres: leaves go in steps of a twentieth of a
millimetre, so that a value lies within half of one. Common practice, no published source."""
_VERDICTS = frozenset(verdict.value for verdict in Verdict)


class ToldByCards(msgspec.Struct, frozen=True):
    """What the cards of a job tell the finding."""

    outcomes: dict[str, Once]
    """Of the engine as it came in, by check."""
    parts: tuple[str, ...]
    """Checks of the switches that it has."""
    later: tuple[Later, ...] = ()
    """What was put right, each time with what was seen after it."""

    @property
    def says_something(self) -> bool:
        """Whether any check at all came to an outcome that tells of the circuit."""
        stages = (self.outcomes, *(stage.outcomes for stage in self.later))
        return any(not is_unsaid(said) for outcomes in stages for said in outcomes.values())


def told_by_cards(cards: Iterable[Progress], profiles: Iterable[Profile] = ()) -> ToldByCards:
    """Return the outcomes of all steps that feed a check, mend by mend, and the switches fitted.

    Of two steps that feed the same check, with no mend between, the later one counts, by the order
    of ``cards`` and of the steps in each. A held value goes in as such, with the window that it
    has in ``profiles``; where they do not agree on one, a verdict that is close goes in with its
    probability.
    """
    cards, profiles = tuple(cards), tuple(profiles)
    windows = _windows(profiles)
    stages: dict[tuple[str, ...], dict[str, Once]] = {(): {}}
    before: tuple[str, ...] = ()
    for progress in cards:
        for step in progress.card.step:
            result = progress.results[step.id]
            mended = (*before, *(place for place in result.mended if place in progress.mended))
            found = stages.setdefault(tuple(dict.fromkeys(mended)), {})
            if not (step.check and result.outcome):
                continue
            if not was_left_out(result):
                found[step.check] = _outcome(step, result, windows)
            elif not isinstance(step, SwitchStep):  # a switch that is not there is no suspect
                found.setdefault(step.check, result.outcome)
        before = (*before, *progress.mended)
        stages.setdefault(tuple(dict.fromkeys(before)), {})
    return ToldByCards(stages.pop(()), parts_of_cards(cards, profiles), tuple(_later(stages)))


def _later(stages: Mapping[tuple[str, ...], dict[str, Once]]) -> Iterator[Later]:
    known: tuple[str, ...] = ()
    for places in sorted(stages, key=len):
        mended = tuple(place for place in places if place not in known)
        yield Later(mended=mended, outcomes=stages[places])
        known = places


def parts_of_cards(cards: Iterable[Progress], profiles: Iterable[Profile] = ()) -> tuple[str, ...]:
    """Return the checks of the switches that the engine has, as far as the cards know.

    ``profiles``: those that the cards were worked by. A step for a switch that none of them has
    may not have come up yet, and is no part all the same; none given, the cards alone tell.
    """
    known = tuple(profiles)
    fitted = {switch.name for profile in known for switch in profile.switch}
    return tuple(
        step.check
        for progress in cards
        for step in progress.card.step
        if isinstance(step, SwitchStep)
        and step.check
        and (step.switch in fitted or not known)
        and progress.applies(step)
        and progress.outcome(step.id) not in UNSAID
    )


def _windows(profiles: Iterable[Profile]) -> dict[str, Window]:
    """Return the windows by the entry's name, as far as every profile has the same."""
    found: dict[str, set[Window]] = {}
    for profile in profiles:
        entries: list[Winding | Lead | GapSetting] = [*profile.winding, *profile.lead, *profile.gap]
        for entry in entries:
            if entry.low is not None and entry.high is not None:
                found.setdefault(entry.name, set()).add((entry.low, entry.high))
        for path in profile.insulation:
            found.setdefault(path.name, set()).add((path.at_least, inf))
    return {name: each.copy().pop() for name, each in found.items() if len(each) == 1}


def _outcome(step: Step, result: StepResult, windows: Mapping[str, Window]) -> Once:
    """Return the outcome of a step that feeds a check, as a value where there is one."""
    if result.said and result.outcome not in UNSAID:
        return Said(result.outcome)
    window = None if step.wants is None else windows.get(step.wants[1])
    judged, entered = result.judged.get(""), result.entered
    if result.outcome not in _VERDICTS:
        return result.outcome
    if isinstance(step, EntryStep):
        if window is None or entered is None or entered.value is None:
            return result.outcome
        return Measured(
            value=entered.value, u=GAUGE_U, low=window[0], high=window[1], gap=step.takes == "gap"
        )
    if judged is None:
        return result.outcome
    if window is not None and judged.corrected is not None and judged.u is not None:
        return Measured(
            value=judged.corrected,
            u=judged.u / COVERAGE,
            low=window[0],
            high=window[1],
            twice=judged.repeat == "agrees",
        )
    if judged.clear:
        return result.outcome
    return judged.probabilities or close_verdict(result.outcome, judged.probability)


STOP_CHECK: Final = "stop-check"
"""Id, or check, of the step without which no card signs a job off."""


def unsafe(card: Card) -> Iterator[str]:
    """Yield what nobody should work by: a sign-off that does not need the stop check.

    The engine must have been seen to stop when its stop control is let go.
    """
    for index, step in enumerate(card.step):
        if isinstance(step, ConfirmationStep) and step.signs_off and not _after_stop(step, card):
            yield (
                f"step[{index}].requires: no sign-off without the stop check; require that "
                f'“{STOP_CHECK}” was = ["yes"]'
            )


def _after_stop(step: ConfirmationStep, card: Card) -> bool:
    for need in step.requires:
        stop = card.find(need.step)
        known = isinstance(stop, ConfirmationStep) and STOP_CHECK in (stop.id, stop.check)
        if known and need.was == ("yes",):
            return True
    return False


def mistakes_beside_table(card: Card, table: FaultTable) -> Iterator[str]:
    """Yield what ``card`` says that ``table`` does not understand, each with its key."""
    if card.complaint and card.complaint not in table.complaints:
        yield (
            f"complaint: the fault table has no “{card.complaint}”; it has "
            f"{', '.join(table.complaints)}"
        )
    for index, step in enumerate(card.step):
        if not step.check:
            continue
        at = f"step[{index}].check"
        words, outcomes = table.understands(step.check), step.outcomes
        if words is None:
            yield f"{at}: the fault table has no check “{step.check}”"
        elif outcomes is None:
            yield f"{at}: a free text tells the fault table nothing; make it a choice"
        elif strange := sorted(outcomes - words):
            yield (
                f"{at}: “{step.id}” can end “{strange[0]}”, which “{step.check}” does not know; it "
                f"knows {', '.join(sorted(words))}"
            )


def passed_over(card: Card, profile: Profile) -> Iterator[str]:
    """Yield the steps of ``card`` that cannot be done with ``profile``, each with the reason."""
    never = unreachable(card, profile)
    for step in card.step:
        if step.id not in never and (why := lacking(step, profile)):
            yield f"“{step.title}” ({step.id}) would be passed over: {why}"


def not_judged(card: Card, profile: Profile) -> Iterator[str]:
    """Yield the steps of ``card`` whose winding in ``profile`` resistance cannot judge."""
    for step in card.step:
        name = getattr(step, "winding", "")
        for winding in profile.winding:
            if name == winding.name and not winding.judged_by_resistance:
                yield f"“{step.title}” ({step.id}) ends “cannot-tell”: {winding.why_not}"


def not_measured(card: Card, profile: Profile) -> Iterator[str]:
    """Yield the entries of ``profile`` that no step of ``card`` asks for."""
    for kind, name in unused(card.step, profile):
        yield f"no step asks for the {kind} “{name}”"

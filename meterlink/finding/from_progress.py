"""From where a work card stands to the outcomes that the finding rests on."""

from collections.abc import Iterable
from typing import Final

from meterlink.bench.progress import Progress
from meterlink.card import was_left_out
from meterlink.events import Verdict
from meterlink.finding.measured import Measured
from meterlink.finding.outcomes import Once, Said, close_verdict
from meterlink.finding.shape import UNSAID
from meterlink.profile import Lead, Profile, Winding
from meterlink.steps.step import StepResult
from meterlink.steps.switch import SwitchStep

Window = tuple[float, float]
COVERAGE: Final = 2.0
"""Times the standard uncertainty, ``Judged.u`` is about."""
_VERDICTS = frozenset(verdict.value for verdict in Verdict)


def outcomes_of_cards(
    cards: Iterable[Progress], profiles: Iterable[Profile] = ()
) -> dict[str, Once]:
    """Return the outcomes of all steps that feed a check, by check.

    Of two steps that feed the same check the later one counts, by the order of ``cards`` and of
    the steps in each. A held value goes in as such, with the window that it has in ``profiles``;
    where they do not agree on one, a verdict that is close goes in with its probability.
    """
    windows = _windows(profiles)
    found: dict[str, Once] = {}
    for progress in cards:
        for step in progress.card.step:
            result = progress.results[step.id]
            if not (step.check and result.outcome):
                continue
            if not was_left_out(result):
                name = getattr(step, "winding", "") or getattr(step, "lead", "")
                found[step.check] = _outcome(result, windows.get(name))
            elif not isinstance(step, SwitchStep):  # a switch that is not there is no suspect
                found.setdefault(step.check, result.outcome)
    return found


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
        entries: list[Winding | Lead] = [*profile.winding, *profile.lead]
        for entry in entries:
            if entry.low is not None and entry.high is not None:
                found.setdefault(entry.name, set()).add((entry.low, entry.high))
    return {name: each.copy().pop() for name, each in found.items() if len(each) == 1}


def _outcome(result: StepResult, window: Window | None) -> Once:
    if result.said and result.outcome not in UNSAID:
        return Said(result.outcome)
    judged = result.judged.get("")
    if judged is None or result.outcome not in _VERDICTS:
        return result.outcome
    if window is not None and judged.corrected is not None and judged.u is not None:
        low, high = window
        return Measured(value=judged.corrected, u=judged.u / COVERAGE, low=low, high=high)
    if judged.clear:
        return result.outcome
    return judged.probabilities or close_verdict(result.outcome, judged.probability)

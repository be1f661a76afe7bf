"""From where a work card stands to the outcomes that the finding rests on."""

from collections.abc import Iterable

from meterlink.bench.progress import Progress, StepResult
from meterlink.card.card import SwitchStep
from meterlink.card.profile import Profile
from meterlink.card.profile_parts import was_left_out
from meterlink.events import Verdict
from meterlink.finding.outcomes import Outcome, Said, close_verdict
from meterlink.finding.shape import UNSAID

_VERDICTS = frozenset(verdict.value for verdict in Verdict)


def outcomes_of_cards(cards: Iterable[Progress]) -> dict[str, Outcome]:
    """Return the outcomes of all steps that feed a check, by check.

    Of two steps that feed the same check the later one counts, by the order of ``cards`` and of
    the steps in each. A verdict that is close goes in with its probability.
    """
    found: dict[str, Outcome] = {}
    for progress in cards:
        for step in progress.card.step:
            result = progress.results[step.id]
            if not (step.check and result.outcome):
                continue
            if not was_left_out(result):
                found[step.check] = _outcome(result)
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


def _outcome(result: StepResult) -> Outcome:
    if result.said and result.outcome not in UNSAID:
        return Said(result.outcome)
    judged = result.judged.get("")
    if judged is None or judged.clear or result.outcome not in _VERDICTS:
        return result.outcome
    return judged.probabilities or close_verdict(result.outcome, judged.probability)

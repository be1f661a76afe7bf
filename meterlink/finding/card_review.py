"""What a sound card comes to beside a profile and a fault table: what a file alone cannot tell."""

from collections.abc import Iterator
from typing import Final

from meterlink.card import Card, lacking, unreachable, unused
from meterlink.finding.shape import FaultTable
from meterlink.profile import Profile
from meterlink.steps.entry import ConfirmationStep

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
                f'«{STOP_CHECK}» was = ["yes"]'
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
            f"complaint: the fault table has no «{card.complaint}»; it has "
            f"{', '.join(table.complaints)}"
        )
    for index, step in enumerate(card.step):
        if not step.check:
            continue
        at = f"step[{index}].check"
        words, outcomes = table.understands(step.check), step.outcomes
        if words is None:
            yield f"{at}: the fault table has no check «{step.check}»"
        elif outcomes is None:
            yield f"{at}: a free text tells the fault table nothing; make it a choice"
        elif strange := sorted(outcomes - words):
            yield (
                f"{at}: «{step.id}» can end «{strange[0]}», which «{step.check}» does not know; it "
                f"knows {', '.join(sorted(words))}"
            )


def passed_over(card: Card, profile: Profile) -> Iterator[str]:
    """Yield the steps of ``card`` that cannot be done with ``profile``, each with the reason."""
    never = unreachable(card, profile)
    for step in card.step:
        if step.id not in never and (why := lacking(step, profile)):
            yield f"«{step.title}» ({step.id}) would be passed over: {why}"


def not_judged(card: Card, profile: Profile) -> Iterator[str]:
    """Yield the steps of ``card`` whose winding in ``profile`` resistance cannot judge."""
    for step in card.step:
        name = getattr(step, "winding", "")
        for winding in profile.winding:
            if name == winding.name and not winding.judged_by_resistance:
                yield f"«{step.title}» ({step.id}) ends «cannot-tell»: {winding.why_not}"


def not_measured(card: Card, profile: Profile) -> Iterator[str]:
    """Yield the entries of ``profile`` that no step of ``card`` asks for."""
    for kind, name in unused(card.step, profile):
        yield f"no step asks for the {kind} «{name}»"

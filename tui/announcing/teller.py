"""Events in words: one sentence each, the same for plain output, screen and voice."""

from collections.abc import Iterable, Iterator
from math import fsum, sqrt
from typing import Final

from meterlink.bench.progress import Progress
from meterlink.card import Card, Step, left_out, left_out_words, was_left_out
from meterlink.errors import UsageError
from meterlink.events import (
    Asked,
    CardBegan,
    CardEnded,
    Contact,
    Entered,
    Event,
    Evidence,
    Gap,
    Held,
    Judged,
    Lift,
    MeterFlags,
    MeterSet,
    Note,
    PassedOver,
    StepBegan,
    StepEnded,
    StepEvent,
    StepReopened,
    Zeroed,
)
from meterlink.profile import Profile
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING, CautionStep
from meterlink.steps.step import SKIPPED, StepResult
from meterlink.wording import (
    EVIDENCE_WORDS,
    METER_FAILED,
    SAID_WORDS,
    component_words,
    entered_words,
    sure_in_short,
    sure_words,
)
from meterlink.wording import OUTCOME_WORDS as OUTCOME_WORDS
from meterlink.wording import VERDICT_WORDS as VERDICT_WORDS
from meterlink.wording import window_words as window_words
from tui.announcing.signs import can_show

DRAWS: Final = 8
"""How often the judged numbers are doubled or halved, to say how firm the finding is."""


class Teller:
    """Says events of one card in words, with the signs that the output can show."""

    def __init__(
        self, card: Card, profile: Profile | None = None, *, ohm_sign: bool | None = None
    ) -> None:
        """``profile``: of the engine, to say as the card begins what it lacks."""
        self.profile = profile
        self._lacks = "" if profile is None else left_out_words(left_out(card, profile))
        self._cautioned: set[str] = set()
        self._steps = {step.id: step for step in card.step}
        self._ohm_sign = can_show("Ω") if ohm_sign is None else ohm_sign

    def title(self, step: str) -> str:
        """Return the title of a step of the card."""
        known = self._steps.get(step)
        return step if known is None else known.title

    def cautions(self, step: str) -> tuple[str, ...]:
        """Return what must be read at a step of the card; empty where it is none for that."""
        known = self._steps.get(step)
        if not isinstance(known, CautionStep):
            return ()
        return (*STANDING, *(plain(line, 600) for line in known.lines))

    def value(self, value: float, unit: str = "ohm", resolution: float | None = None) -> str:
        """Return a value as people write it."""
        return format_value(value, unit, resolution, ohm_sign=self._ohm_sign)

    def with_u(self, value: float, u: float, unit: str = "ohm") -> str:
        """Return a value with its expanded uncertainty, ``u``."""
        return format_with_u(value, u, unit, ohm_sign=self._ohm_sign)

    def tell(self, event: Event) -> str:
        """Return ``event`` as one sentence; empty for what is not worth a line."""
        match event:
            case Contact():
                return "contact"
            case Held():
                shown = self.value(event.value, event.unit, max(event.resolution, event.noise / 10))
                held = "now" if event.revises else "held"
                return f"{held} {shown} from {event.readings} readings"
            case Lift():
                return "" if event.held else "lifted too soon: nothing held"
            case Judged():
                return self.verdict(event)
            case Zeroed():
                return f"lead zero is {self.value(event.value, 'ohm', event.resolution)}"
            case StepBegan():
                return f"step: {self.title(event.step)}"
            case Asked():
                named = all(answer in event.say for answer in event.answers)
                return f"> {event.say}" + ("" if named else f" Choose: {', '.join(event.answers)}.")
            case StepEnded():
                return "" if was_left_out(event) else self._ended(event)
            case Entered():
                return f"entered: {self.entered(event)}"
            case CardEnded():
                signed = ", signed off" if event.signed_off else ""
                return f"the card is done{signed}" + (
                    f". {METER_FAILED}" if event.meter_failed else ""
                )
            case StepEvent():
                return self._told_by_step(event)
            case _:
                return self._told_of(event)

    def entered(self, event: Entered) -> str:
        """Return an entry as typed, and what it comes to in the unit of the trade here."""
        return entered_words(event, ohm_sign=self._ohm_sign)

    def own(self, result: StepResult) -> str:
        """Return in short what the events of a step's own kind said; empty where nothing."""
        return result.own.in_short(ohm_sign=self._ohm_sign)

    def why(self, event: Judged) -> Iterator[str]:
        """Yield how sure a verdict is, then its budget line by line, then what was assumed."""
        yield sure_words(event, ohm_sign=self._ohm_sign)
        total = sqrt(fsum(line.u**2 for line in event.budget))
        for line in sorted(event.budget, key=lambda line: -line.u):
            shown = self.value(line.u, event.unit, line.u / 10)
            yield f"  {component_words(line):<36}{shown:>12}{(line.u / total) ** 2:>7.0%}"
        if total:
            yield f"  {'together':<36}{self.value(total, event.unit, total / 10):>12}"
            if event.u is not None:
                expanded = self.value(event.u, event.unit, event.u / 10)
                yield f"  times {event.u / total:<30.2f}{expanded:>12}  95 %"
        yield from event.notes

    def verdict(self, event: Judged) -> str:
        """Return a verdict in words, with value, uncertainty and probability."""
        at = f" in “{event.position}”" if event.position else ""
        head = f"{self.title(event.step)}{at}: {VERDICT_WORDS[event.verdict]}"
        if event.corrected is None or event.u is None:
            return f"{head} ({EVIDENCE_WORDS[event.evidence]})" if event.evidence else head
        shown = self.with_u(event.corrected, event.u, event.unit)
        if event.evidence is Evidence.SAID:
            return f"{head}, {shown} ({EVIDENCE_WORDS[event.evidence]})"
        if event.clear:
            return f"{head}, {shown} (clear)"
        return f"{head}, {shown}. {sure_words(event, ohm_sign=self._ohm_sign)}"

    def _told_by_step(self, event: StepEvent) -> str:
        step = self._steps.get(event.step)
        if step is None:
            return event.tell(ohm_sign=self._ohm_sign)
        return step.tell(event, ohm_sign=self._ohm_sign)

    def _ended(self, event: StepEnded) -> str:
        step = self._steps.get(event.step)
        outcome = event.outcome if step is None else step.outcome_words(event.outcome)
        said = EVIDENCE_WORDS[event.evidence] if event.evidence else ""
        reason = (
            f" ({'; '.join(filter(None, (event.reason, said)))})" if event.reason or said else ""
        )
        how = "" if outcome == "done" else f": {outcome}"
        return f"done: {self.title(event.step)}{how}{reason}"

    def _told_of(self, event: Event) -> str:
        match event:
            case CardBegan():
                return self._lacks
            case StepReopened():
                reason = f" ({event.reason})" if event.reason else ""
                return f"again: {self.title(event.step)}{reason}"
            case Gap(until=None):
                return f"gap: {event.why}"
            case Gap(until=float(until)):
                why = event.why.partition(";")[0]  # without its mend, which is done
                return f"readings go on after a gap of {until - event.t:.1f} s: {why}"
            case PassedOver():
                return f"passed over {event.count} readings: {event.why}"
            case MeterSet():
                return "; ".join((*event.lost, *self._new_cautions(event.cautions or ())))
            case MeterFlags():
                return "; ".join(self._new_cautions(event.cautions))
            case Note():
                return f"note: {event.text}"
        return ""

    def _new_cautions(self, cautions: Iterable[str]) -> list[str]:
        """Return those of ``cautions`` that were not said yet: once is enough."""
        new = [caution for caution in cautions if caution not in self._cautioned]
        self._cautioned.update(new)
        return new


def table(progress: Progress, teller: Teller) -> Iterator[str]:
    """Yield the lines of the table of results, one step or switch position a line."""
    rows = [("step", "outcome", "value", "sure")]
    left_out = progress.left_out
    for step in progress.card.step:
        if step in left_out:
            continue
        if not progress.outcome(step.id) and not progress.applies(step):
            continue  # it depends on what did not come to pass
        rows += list(_rows(step, progress.results[step.id], teller))
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    if progress.meter_failed:
        yield METER_FAILED
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
    if left_out:
        yield left_out_words(left_out)


def _rows(step: Step, result: StepResult, teller: Teller) -> Iterator[tuple[str, str, str, str]]:
    title, outcome = step.title, step.outcome_words(result.outcome) or "not done"
    if result.zeroed is not None:
        value = teller.value(result.zeroed.value, "ohm", result.zeroed.resolution)
        yield title, outcome, value, ""
        return
    if not result.judged or result.outcome not in {v.value for v in VERDICT_WORDS}:
        yield title, outcome, _said(result, teller), SAID_WORDS if result.said else ""
    for position, judged in result.judged.items():
        name = f"  in “{position}”" if position else title
        value = "over range"
        if judged.corrected is not None and judged.u is not None:
            value = teller.with_u(judged.corrected, judged.u, judged.unit)
        yield name, VERDICT_WORDS[judged.verdict], value, sure_in_short(judged)


def _said(result: StepResult, teller: Teller) -> str:
    if result.outcome != SKIPPED and (own := teller.own(result)):
        return own
    if result.entered is not None:
        return teller.entered(result.entered)
    return result.reason


def finding_of(progress: Progress, profile: Profile | None = None) -> Iterator[str]:
    """Yield the finding in sentences; nothing where the card is for no complaint, or said nothing.

    ``profile``: of the engine, whose switches alone can be at fault, and whose windows the held
    values should lie in.

    A card of the user's own may speak of checks that only a fault table of their own knows; that
    is said in place of the finding.
    """
    from meterlink.finding.cards import told_by_cards
    from meterlink.finding.find import find

    complaint = progress.card.complaint
    told = told_by_cards([progress], [profile] if profile else [])
    if not complaint or not told.says_something:
        return
    try:
        found = find(told.outcomes, complaint, parts=told.parts, later=told.later, draws=DRAWS)
    except UsageError as fault:
        yield f"No finding: {fault}; “meterlink finding” takes a fault table with --table."
        return
    yield from found.sentences

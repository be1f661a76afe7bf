"""What a job comes to at its end: one sentence, its colour, and the rows that a first page shows.

A check that was done again counts as it was the last time, on whichever card. What did not pass
before the engine was seen to start no longer speaks against it once the job is signed off.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from captures.report.facts import CardFacts, CheckRow
from captures.report.own_rows import own_row
from captures.report.wording import is_close, title_words, verdict_words
from meterlink.finding.finding import Finding
from meterlink.finding.table import shipped_table
from meterlink.steps.entry import CautionStep, ConfirmationStep, EntryStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.repair import Mended, RepairState, RepairStep
from meterlink.steps.step import CANNOT_TELL, SKIPPED
from meterlink.steps.switch import SwitchStep

_START: Final = "start"
"""The check of the fault table that says whether the engine runs."""
_STOP: Final = "stop-check"


@dataclass(frozen=True)
class Summary:
    """The end state of a job."""

    cards: list[CardFacts]
    finding: Finding | None
    """None where no card names a complaint."""
    stops: bool
    """The engine was seen to stop by its control, and the job is signed off."""

    @cached_property
    def rows(self) -> list[CheckRow]:
        """The rows that count, in the order of the cards; each knows what it gave before."""
        newest: dict[tuple[str, str, str], CheckRow] = {}
        for card in self.cards:
            for row in card.checks:
                own = row.step.check or card.card.id  # another card's step may have the same name
                key = (own, row.step.id, row.position)
                old = newest.get(key)
                if old is not None and row.ended is None and row.judged is None:
                    continue  # asked for again on a later card, and not done there
                if old is not None:
                    row.before = row.before or old.before or (old if old.order else None)
                    del newest[key]
                newest[key] = row
        return list(newest.values())

    @cached_property
    def told(self) -> list[CheckRow]:
        """The rows that are good or bad."""
        return [row for row in self.rows if row.good is not None]

    @cached_property
    def good(self) -> list[CheckRow]:
        """Those that passed."""
        return [row for row in self.told if row.good]

    @cached_property
    def bad(self) -> list[CheckRow]:
        """Those that did not pass the last time that they were done."""
        return [row for row in self.told if not row.good]

    @cached_property
    def narrow(self) -> int:
        """How many passed, too narrowly to be sure."""
        return sum(is_close(row) for row in self.good)

    @cached_property
    def repairs(self) -> list[Mended]:
        """What was put right, oldest first."""
        return [
            mended
            for row in self.rows
            if isinstance(row.step, RepairStep)
            for mended in row.own.of(RepairState).mended
        ]

    @property
    def places(self) -> str:
        """Where something was put right, in one line."""
        return ", ".join(dict.fromkeys(mended.place for mended in self.repairs))

    @cached_property
    def runs(self) -> int:
        """Line of the log at which the engine was seen to start, the job signed off; else 0."""
        if not self.stops:
            return 0
        return max((row.order for row in self.good if row.step.check == _START), default=0)

    @cached_property
    def overcome(self) -> list[CheckRow]:
        """What did not pass on the way to an engine that starts and stops."""
        return [row for row in self.bad if row.order < self.runs]

    @cached_property
    def left(self) -> list[CheckRow]:
        """What does not pass as the job stands."""
        return [row for row in self.bad if row.order >= self.runs]

    @property
    def mark(self) -> str:
        """The colour of the end state: ``good``, ``close`` or ``bad``."""
        if self.left:
            return "bad"
        if self.overcome:
            return "good" if self.repairs else "close"
        return "good" if self.told and not self.narrow else "close"

    @property
    def lead(self) -> str:
        """The end state in one sentence."""
        if not self.told:
            return "Nothing was judged in this job."
        if self.left:
            return f"{self._count}."
        if self.runs and self.repairs:
            return f"Repaired: {self.places}. The engine starts, and stops by its control."
        if self.overcome:
            return "Signed off: the engine starts, and stops by its control."
        passed = (
            "The one check passed" if len(self.told) == 1 else f"All {len(self.told)} checks passed"
        )
        narrow = f", {self.narrow} of them too narrowly to be sure" if self.narrow else ""
        return f"{passed}{narrow}."

    @property
    def _count(self) -> str:
        narrow = f", and {self.narrow} passed too narrowly to be sure" if self.narrow else ""
        return f"{len(self.left)} of {len(self.told)} checks did not pass{narrow}"

    @property
    def more(self) -> Iterator[str]:
        """What belongs to that sentence, for a technician."""
        if self.left:
            yield f"{'; '.join(_named(row) for row in self.left)}."
        elif self.overcome:
            many = f"On the way {len(self.overcome)} of {len(self.told)} checks did not pass"
            missing = "" if self.repairs else "; what was put right is not recorded"
            yield f"{many}{missing}."
        found = self.finding
        if found is None:
            if not self.complaint:
                yield "No work card of this job names a complaint, so nothing is concluded from it."
        elif found.closed:
            yield found.sentences[1]  # the first says what the lead says
        elif self.left or self.repairs:
            yield from found.sentences[:4]
        elif not self.overcome and not self.runs:
            yield from found.sentences[:2]

    @property
    def shares(self) -> list[tuple[str, float]]:
        """The likeliest places and their probabilities, while the fault is still looked for."""
        found = self.finding
        if found is None or found.clean or found.closed or self.runs:
            return []
        return [(p.place, p.probability) for p in found.places[:4] if p.probability >= 0.05]

    @property
    def measured(self) -> list[CheckRow]:
        """The rows that hold a value, a switch as a whole before its positions."""
        return [row for row in self.rows if _is_measured(row)]

    @property
    def heads(self) -> tuple[str, ...]:
        """The headings of the values: one, or two where some were had before as well."""
        if self.repairs:
            return "Before repair", "After"
        return ("First", "At the end") if any(row.before for row in self.measured) else ("Value",)

    def is_after(self, row: CheckRow) -> bool:
        """Whether ``row`` stands as it did after the last repair, or there was none."""
        return row.order > self._repaired_at

    @cached_property
    def _repaired_at(self) -> int:
        """Line of the log with the last repair; 0 without one."""
        done = (
            r for r in self.rows if isinstance(r.step, RepairStep) and r.own.of(RepairState).mended
        )
        return max((row.order for row in done), default=0)

    @property
    def answered(self) -> list[CheckRow]:
        """The rows that somebody answered by looking or trying."""
        return [row for row in self.rows if _is_answered(row)]

    @property
    def as_typed(self) -> list[tuple[str, str]]:
        """What was typed of the engine and its owner: title and text."""
        return [
            (row.step.title, row.entered.text)
            for row in self.rows
            if isinstance(row.step, EntryStep) and row.step.takes == "text"
            if row.entered is not None and row.entered.text
        ]

    @property
    def undone(self) -> list[str]:
        """Titles of what was passed over, or never come to; of cards that were worked at all."""
        return [
            row.step.title
            for row in self.rows
            if row.ended is None or row.ended.outcome in (SKIPPED, CANNOT_TELL)
            if not isinstance(row.step, CautionStep) and not row.judged
        ]

    @property
    def complaint(self) -> str:
        """What the engine came in with, in words; empty where no card names it."""
        named = next((c.card.complaint for c in self.cards if c.card.complaint), "")
        return shipped_table().complaints.get(named, named)

    @property
    def fault(self) -> tuple[str, str]:
        """Where the fault is, for a customer, and how it is mended; empty where nothing tells."""
        found = self.finding
        if found is None or found.clean or self.runs:
            return "", ""
        places = " and ".join(placed.place for placed in found.named)
        if not found.sure:
            return f"Most likely at fault: {places}. That is not settled yet.", ""
        first = {fault.place: fault.mend for fault in reversed(found.faults)}
        mends = " ".join(first[placed.place] for placed in found.named if placed.place in first)
        return f"At fault: {places}.", mends

    @property
    def measured_bad(self) -> list[CheckRow]:
        """Parts that were found bad, by measuring; of a repaired engine, before the repair."""
        before = [row.before for row in self.good if row.before and row.before.good is False]
        return [row for row in (*self.bad, *before) if _is_part(row)]

    @property
    def measured_good(self) -> list[CheckRow]:
        """Parts that are good, by measuring."""
        return [row for row in self.good if _is_part(row)]


def _named(row: CheckRow) -> str:
    return f"{title_words(row)}: {verdict_words(row)}"


def _is_part(row: CheckRow) -> bool:
    return not isinstance(row.step, ConfirmationStep | EntryStep | MeterCheckStep)


def _is_measured(row: CheckRow) -> bool:
    if isinstance(row.step, RepairStep | LeadZeroStep):
        return False
    if isinstance(row.step, SwitchStep):
        return (row.ended is not None and row.ended.outcome != SKIPPED) or row.judged is not None
    if row.judged is not None or (row.size is not None and row.entered is not None):
        return True
    return bool(own_row(row.step, row.own).value)


def _is_answered(row: CheckRow) -> bool:
    if row.ended is None or row.ended.outcome in (SKIPPED, CANNOT_TELL) or _is_measured(row):
        return False
    step = row.step
    if isinstance(step, ConfirmationStep):
        return not step.signs_off and step.check != _STOP
    return isinstance(step, EntryStep) and step.takes == "choice"

"""Where each card of a job stands, folded from its log, and what that means."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, Final

import msgspec

from captures.job.job import Job
from captures.record.reader import read_capture
from captures.record.records import Header
from meterlink.bench.progress import Progress
from meterlink.bench.steps.assessors import criterion_for, switch_criterion
from meterlink.card.card import Card, MeasurementStep, Step, SwitchStep
from meterlink.card.profile import Profile
from meterlink.card.profile_parts import find_part
from meterlink.declared import InvalidFileError, from_plain
from meterlink.errors import MeterlinkError, UnreadableError
from meterlink.events import CardBegan
from meterlink.finding import Finding, find
from meterlink.finding.from_progress import outcomes_of_cards, parts_of_cards
from meterlink.finding.outcomes import Said
from meterlink.judging.criterion import Criterion

FindCard = Callable[[str], Card]
"""Returns the card of that id for jobs that do not hold their own.

Raises:
    MeterlinkError: there is none.
"""


class JobSettings:
    """The cards and profiles that a job was done by, as they were then.

    They lie whole in the log's header and in those of its captures, so that a job says what was
    judged by even where the files have changed since.
    """

    def __init__(self, job: Job) -> None:
        """Read the headers.

        Raises:
            UnreadableError: the log cannot be read.
        """
        self.headers: dict[str, Header] = {}
        """Of the captures that can be read, by their path inside the job's folder."""
        self.cards: dict[str, Card] = {}
        self.profiles: dict[str, Profile] = {}
        self._take(job.header().settings)
        for path in job.captures():
            try:
                with read_capture(path) as capture:
                    header = capture.header
            except UnreadableError:
                continue  # checking a job names it; here the rest still counts
            self.headers[path.relative_to(job.folder).as_posix()] = header
            self._take(header.settings)

    def _take(self, settings: dict[str, Any]) -> None:
        try:
            if "card" in settings:
                card = _card(msgspec.json.encode(settings["card"]))
                self.cards.setdefault(card.id, card)
            if "profile" in settings:
                profile = _profile(msgspec.json.encode(settings["profile"]))
                self.profiles.setdefault(profile.id, profile)
        except InvalidFileError:
            return


_KEPT: Final = 64
"""Cards, profiles and findings, of which ten thousand jobs share a few."""


@lru_cache(_KEPT)
def _card(encoded: bytes) -> Card:
    return from_plain(msgspec.json.decode(encoded), Card, "a record")


@lru_cache(_KEPT)
def _profile(encoded: bytes) -> Profile:
    return from_plain(msgspec.json.decode(encoded), Profile, "a record")


def criterion_of(step: Step, position: str, profile: Profile | None) -> Criterion | None:
    """Return what ``step`` judges by; None where that cannot be known."""
    if profile is None:
        return None
    try:
        if isinstance(step, SwitchStep):
            switch = find_part(step, profile)
            return switch_criterion(switch, closed=switch.positions.get(position) == "closed")
        if isinstance(step, MeasurementStep):
            return criterion_for(find_part(step, profile))
    except (KeyError, MeterlinkError):
        return None
    return None


def finding_of(stands: Sequence[Progress], profiles: Iterable[Profile]) -> Finding | None:
    """Return what the outcomes of a job's cards say together; None where there is nothing.

    ``profiles``: of the engines, whose switches alone can be at fault.
    """
    parts = parts_of_cards(stands, profiles)
    outcomes = outcomes_of_cards(stands)
    for progress in stands:
        if progress.card.complaint and outcomes:
            told = tuple(
                (check, tuple(said.items()) if isinstance(said, Mapping) else said)
                for check, said in outcomes.items()
            )
            return _finding(told, progress.card.complaint, parts)
    return None


@lru_cache(_KEPT)
def _finding(
    told: tuple[tuple[str, str | Said | tuple[tuple[str, float], ...]], ...],
    complaint: str,
    parts: tuple[str, ...],
) -> Finding | None:
    outcomes = {c: dict(said) if isinstance(said, tuple) else said for c, said in told}
    try:
        return find(outcomes, complaint, parts=parts)
    except MeterlinkError:
        return None  # a card of the user's own, with checks that the table does not know


def card_progress(job: Job, settings: JobSettings, shelved: FindCard) -> Iterator[Progress]:
    """Yield where each card of the job stands, in the order in which they were begun.

    Raises:
        UnreadableError: the log cannot be read.
    """
    begun: dict[str, Progress] = {}
    current: Progress | None = None
    for entry in job.entries():
        if isinstance(entry.event, CardBegan):
            name = entry.event.card
            if name not in begun:
                begun[name] = Progress(settings.cards.get(name) or shelved(name))
            current = begun[name]
        if current is not None:
            current.apply(entry.event)
    yield from begun.values()

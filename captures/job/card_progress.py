"""Where each card of a job stands, folded from its log, and what that means."""

import contextlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, Self

import msgspec

from captures.job.job import Job
from captures.record.reader import read_capture
from captures.record.records import Header
from meterlink.bench.progress import Progress
from meterlink.card import Card, Step
from meterlink.declared import from_plain
from meterlink.errors import InvalidFileError, MeterlinkError, NotationError, UnreadableError
from meterlink.events import CardBegan
from meterlink.finding.cards import ToldByCards, told_by_cards
from meterlink.finding.find import find
from meterlink.finding.finding import Finding
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile

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

    def __init__(self, job: Job, log: Header) -> None:
        """Begin with the header of the job's log; ``take`` those of its captures."""
        self._job = job
        self.headers: dict[str, Header] = {}
        """Of the captures that can be read, by their path inside the job's folder."""
        self.cards: dict[str, Card] = {}
        self.profiles: dict[str, Profile] = {}
        self._add(log.settings)

    @classmethod
    def read(cls, job: Job) -> Self:
        """Return those of the log and of every capture that can be read.

        Raises:
            UnreadableError: the log cannot be read.
        """
        settings = cls(job, job.header())
        for path in job.captures():
            # Checking a job names one that cannot be read; here the rest still counts.
            with contextlib.suppress(UnreadableError), read_capture(path) as capture:
                settings.take(path, capture.header)
        return settings

    def take(self, path: Path, header: Header) -> None:
        """Take the header of the capture at ``path``."""
        self.headers[path.relative_to(self._job.folder).as_posix()] = header
        self._add(header.settings)

    def _add(self, settings: dict[str, Any]) -> None:
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
    """Return what ``step`` judges by; None where a record does not let that be known."""
    if profile is None:
        return None
    try:
        return step.criterion(profile, position)
    except NotationError:  # windows that contradict each other, in a log of another program
        return None


def finding_of(stands: Sequence[Progress], profiles: Iterable[Profile]) -> Finding | None:
    """Return what the outcomes of a job's cards say together; None where there is nothing.

    ``profiles``: of the engines, whose switches alone can be at fault, and whose windows the held
    values should lie in.
    """
    told = told_by_cards(stands, profiles)
    complaint = next((p.card.complaint for p in stands if p.card.complaint), "")
    if not complaint or not (told.outcomes or told.later):
        return None
    key = (complaint, repr(told))
    if key not in _FINDINGS:
        if len(_FINDINGS) >= _KEPT:
            del _FINDINGS[next(iter(_FINDINGS))]
        _FINDINGS[key] = _finding(told, complaint)
    return _FINDINGS[key]


_FINDINGS: Final[dict[tuple[str, str], Finding | None]] = {}


def _finding(told: ToldByCards, complaint: str) -> Finding | None:
    try:
        return find(told.outcomes, complaint, parts=told.parts, later=told.later)
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

"""Where each card of a job stands, folded from its log."""

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Self

from captures.job.job import Job
from captures.record.reader import read_capture
from captures.record.records import Header
from meterlink.bench.progress import Progress
from meterlink.card import Card
from meterlink.declared import InvalidFileError, from_plain
from meterlink.errors import UnreadableError
from meterlink.events import CardBegan
from meterlink.profile import Profile
from meterlink.quantities.text import plain

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
        self._add(log.settings, f"the log of {plain(job.name)}")

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
        self._add(header.settings, plain(path.name))

    def _add(self, settings: dict[str, Any], where: str) -> None:
        try:
            if "card" in settings:
                card = from_plain(settings["card"], Card, where)
                self.cards.setdefault(card.id, card)
            if "profile" in settings:
                profile = from_plain(settings["profile"], Profile, where)
                self.profiles.setdefault(profile.id, profile)
        except InvalidFileError:
            return


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

"""What there is to choose from before the bench: jobs, meters, profiles, cards."""

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Final

from captures.job.job import Job
from captures.job.store import JobStore
from drivers.discovery import probe_all
from drivers.ports import list_ports
from meterlink.errors import MeterlinkError
from tui.screen.choosing import Choice, ListEntry, Meter, Offer
from tui.settings.configuration import Configuration
from tui.settings.shelf import CARDS, PROFILES, Shelf

_NEWEST: Final = 30
"""So many jobs are offered; older ones by name, with ``--job``."""


def offer(store: JobStore, known: Configuration, card: str) -> Offer:
    """Return what can be chosen, with what was chosen last, and ``card``, marked."""
    return Offer(
        jobs=[ListEntry(job.name, _title(job)) for job in islice(store.jobs(), _NEWEST)],
        profiles=list(_listed(PROFILES)),
        cards=list(_listed(CARDS)),
        usual=Choice(
            port=known.meter.port, wire=known.meter.wire, profile=known.profile, card=card
        ),
    )


def find_meters(known: Configuration) -> Sequence[Meter]:
    """Return the meters that are plugged in; takes some seconds."""
    ports = [port.name for port in list_ports()]
    return [
        Meter(found.port, found.wire, str(found.identity or found.says))
        for found in probe_all(ports, excluded=known.exclude)
        if found.wire and found.sure
    ]


def _listed(shelf: Shelf) -> Iterator[ListEntry]:  # type: ignore[type-arg]
    """Yield what lies on a shelf; what cannot be read says why."""
    for found in shelf.all():
        try:
            thing = shelf.read(found.file)
        except MeterlinkError as fault:
            yield ListEntry(found.name, str(fault))
            continue
        yield ListEntry(found.name, getattr(thing, "title", "") or getattr(thing, "name", ""))


def _title(job: Job) -> str:
    try:
        return job.header().title
    except MeterlinkError as fault:
        return str(fault)

"""The ways into the work: open jobs, new jobs by complaint, and what needs no engine."""

from collections.abc import Iterator, Sequence
from enum import Enum
from itertools import islice
from typing import Final

import msgspec

from captures.job.store import JobStatus, JobStore, list_jobs
from meterlink.errors import MeterlinkError
from meterlink.quantities.text import plain
from tui.settings import CARDS, Configuration

MOST_JOBS: Final = 3
_LOOKED_AT: Final = 60
"""Jobs of the newest days among which open ones are looked for: a full store opens at once."""


class WayKind(Enum):
    """What a way leads to."""

    OPEN_JOB = "open job"
    NEW_JOB = "new job"
    PRACTISE = "practise"
    REPLAY = "replay"
    METERS = "meters"
    HANDS_FREE = "hands-free"


HEADINGS: Final = {
    WayKind.OPEN_JOB: "Go on with an open job",
    WayKind.NEW_JOB: "New job: what is the complaint?",
    WayKind.PRACTISE: "Without an engine",
    WayKind.REPLAY: "Without an engine",
    WayKind.METERS: "The bench",
    WayKind.HANDS_FREE: "The bench",
}
"""What ways stand under, by what they lead to."""


class Way(msgspec.Struct, frozen=True, kw_only=True):
    """One way in."""

    kind: WayKind
    title: str
    about: str = ""
    """What there is to know before it is taken, in a sentence or two."""
    digit: str = ""
    """The key that takes it."""
    job: str = ""
    """Folder name of the job to go on with."""
    card: str = ""
    """Card of the new job."""
    named: str = ""
    """Title of the new job until another is typed; empty: that of its card."""


_COMPLAINTS: Final = (
    ("no-spark", "", ""),
    ("wont-stop", "", ""),
    ("dies-hot", "", ""),
    (
        "no-spark",
        "Weak, or hard to start",
        "There is no card for this complaint yet. The nearest is the one for no spark: it tests "
        "the same parts, but the finding weighs them as for an engine without spark.",
    ),
    ("spare-armature", "", ""),
    ("reassembly", "", ""),
)
"""Card, and title and words where they are not the card's own; numbered from 1."""

_REST: Final = (
    Way(
        kind=WayKind.PRACTISE,
        digit="7",
        title="Practise",
        about="A virtual engine with a hidden fault. No meter and no engine needed.",
    ),
    Way(
        kind=WayKind.REPLAY,
        digit="8",
        title="Replay",
        about="An exercise or a job of your own, played again as it was recorded.",
    ),
    Way(
        kind=WayKind.METERS,
        digit="9",
        title="A look at the meters",
        about="Every port, and what is at it.",
    ),
    Way(
        kind=WayKind.HANDS_FREE,
        digit="0",
        title="Hands-free",
        about="Speech, tones, taps and pedal: switch each on or off, and try it.",
    ),
)


def ways_of(store: JobStore) -> Sequence[Way]:
    """Return every way in, the newest open jobs first.

    Raises:
        UnreadableError: the folder of all jobs cannot be read.
    """
    return [*_open_jobs(store), *_new_jobs(), *_REST]


def _open_jobs(store: JobStore) -> Iterator[Way]:
    jobs = list_jobs(islice(store.jobs(), _LOOKED_AT))
    going = [job for job in jobs if job.standing in (JobStatus.BEGUN, JobStatus.UNDER_WAY)]
    for job in sorted(going, key=lambda job: job.started, reverse=True)[:MOST_JOBS]:
        begun = job.started[:16].replace("T", " ")
        stands = "under way" if job.standing is JobStatus.UNDER_WAY else "nothing done yet"
        about = f"{plain(job.job)}, begun {begun}, {stands}."
        yield Way(
            kind=WayKind.OPEN_JOB, title=job.title or plain(job.job), about=about, job=job.job
        )


def _new_jobs() -> Iterator[Way]:
    for digit, (card, title, about) in enumerate(_COMPLAINTS, start=1):
        named = title
        if not title:
            try:
                shown = CARDS.get(card)
                title, about = plain(shown.title), plain(shown.about)
            except MeterlinkError as fault:  # a card of the user's own, in this one's place
                title, about = card, plain(str(fault), 300)
        yield Way(
            kind=WayKind.NEW_JOB,
            digit=str(digit),
            title=title,
            about=about,
            card=card,
            named=named,
        )


def command_of(way: Way, known: Configuration) -> str:
    """Return the command that goes ``way``, as it is typed; capitals stand for what is chosen."""
    profile = _typed(known.profile) if known.profile else "PROFILE"
    match way.kind:
        case WayKind.OPEN_JOB:
            return f"meterlink bench --job {_typed(way.job)}"
        case WayKind.NEW_JOB:
            return f"meterlink bench --card {way.card} --profile {profile} --new TITLE"
        case WayKind.PRACTISE:
            return "meterlink practice"
        case WayKind.REPLAY:
            return "meterlink replay CAPTURE-OR-JOB"
        case WayKind.METERS:
            return "meterlink meters"
        case WayKind.HANDS_FREE:
            return "meterlink (in a terminal)"


def as_lines(ways: Sequence[Way], known: Configuration) -> Iterator[str]:
    """Yield ``ways`` under their headings, each with the command that goes it."""
    heading = ""
    for way in ways:
        if HEADINGS[way.kind] != heading:
            yield from ([""] if heading else [])
            heading = HEADINGS[way.kind]
            yield heading
        yield f"  {way.title}: {way.about}"
        yield f"      {command_of(way, known)}"
    yield ""
    yield "“meterlink profiles show PROFILE” shows a profile's limits with their sources,"
    yield "“meterlink profiles” lists the profiles, “meterlink library” the exercises."
    yield "“meterlink --help” names every command."


def _typed(name: str) -> str:
    safe = all(sign.isalnum() or sign in "-_." for sign in name)
    return name if safe else f'"{plain(name)}"'

"""What is kept of a practice: every line while it goes on, and its score when it is over."""

import hashlib
import secrets
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import msgspec

from captures.record.files import local_now, rfc3339
from captures.training.trainees import (
    LONGEST_TYPED,
    PracticeBegun,
    Practised,
    Results,
    TopicCount,
    TraineeFile,
    TraineeRecord,
    TraineeStore,
    Typed,
    Unfinished,
)
from meterlink import __version__
from meterlink.declared import to_plain
from meterlink.errors import UnreadableError, UsageError
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.training.case import Case, Order, engines_like
from meterlink.training.ledger import Topic
from meterlink.training.practice import Practice
from meterlink.training.score import TOTAL, Score, score, sentences
from meterlink.wording import counted


class Diary:
    """Writes each line that a trainee types behind those before it, in the trainee's file."""

    def __init__(
        self,
        file: TraineeFile,
        begun: PracticeBegun,
        before: Unfinished | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Keep a practice that is ``begun`` now, or goes on from ``before``."""
        self.begun = begun
        self._file, self._clock = file, clock
        self.earlier = None if before is None else [typed.line for typed in before.typed]
        """Lines typed before the interruption, oldest first; None where there was none."""
        self._to_come = len(self.earlier or ())
        """Lines that are in the file already, and come again before the first new one."""
        earlier = before.typed[-1].seconds if before and before.typed else 0.0
        self._zero = clock() - earlier
        self._first: tuple[TraineeRecord, ...] = () if before else (begun,)
        """What goes before the next line: a practice in which nothing was done is not kept."""

    @property
    def seconds(self) -> float:
        """Seconds at the keyboard so far, in all sittings."""
        return self._clock() - self._zero

    @property
    def trouble(self) -> str:
        """Why nothing can be written at this moment; empty while it can."""
        return self._file.trouble

    def typed(self, practice: Practice, line: str) -> None:
        """Keep ``line``, which was just done; what cannot be written waits."""
        if self._to_come:
            self._to_come -= 1
            return
        typed = Typed(
            begun=self.begun.id,
            line=line[:LONGEST_TYPED],
            minutes=practice.ledger.minutes,
            checks=len(practice.ledger.checks),
            seconds=round(self.seconds, 1),
        )
        self._file.append(*self._first, typed)
        self._first = ()

    def end(self, worth: Practised) -> Path:
        """Keep what the practice was worth, and let go of the file; return it.

        Raises:
            CannotWriteError: something could not be written, and is lost.
        """
        self._file.append(worth)
        self._file.close()
        return self._file.path


def begin(case: Case, story: str) -> PracticeBegun:
    """Return the record of a practice on ``case`` that begins now."""
    return PracticeBegun(
        id=secrets.token_hex(8),
        when=rfc3339(local_now()),
        program=f"meterlink {__version__}",
        order=msgspec.to_builtins(case.order),
        complaint=case.model.complaint,
        story=story,
        engine=mark_of(case),
    )


def mark_of(case: Case) -> str:
    """Return a mark of the engine, the same as long as the engine is, that gives nothing away."""
    engine = msgspec.json.encode([to_plain(case.patient), case.range])
    return hashlib.sha256(engine).hexdigest()[:16]


def interrupted(store: TraineeStore, name: str) -> Unfinished:
    """Return the practice of ``name`` that was interrupted last.

    Raises:
        UsageError: there is none.
        UnreadableError: there are no results of that name, or they cannot be read.
    """
    unfinished = store.results(name).unfinished
    if not unfinished:
        raise UsageError(f"“{plain(name)}” has no practice that was interrupted; begin a new one")
    return unfinished[-1]


def ordered_before(begun: PracticeBegun) -> tuple[Order, str]:
    """Return what was ordered, and the story that goes with it.

    Raises:
        UnreadableError: the order makes no sense.
    """
    try:
        return msgspec.convert(begun.order, Order), plain(begun.story, LONGEST_TYPED)
    except msgspec.ValidationError as fault:
        raise UnreadableError(
            f"the practice begun {plain(begun.when, 40)} cannot be gone on with: its order makes "
            "no sense; begin a new one"
        ) from fault


def check_same(case: Case, begun: PracticeBegun) -> None:
    """Hold the engine against the one that was begun with.

    Raises:
        UnreadableError: it is another.
    """
    if mark_of(case) != begun.engine:
        raise UnreadableError(
            f"the practice begun {plain(begun.when, 40)} was on an engine of "
            f"{plain(begun.program, 60)}, which this version no longer makes; begin a new one"
        )


DRAWS: Final = 3
"""Engines drawn for each fault, to know what was to be expected."""
_TITLES: Final = {topic.value: topic.title for topic in Topic}


def scored(practice: Practice, base: Profile) -> Score:
    """Return the score of ``practice``; ``base`` is the profile that its engine goes by."""
    case = practice.case
    likely = [(share, len(walk.checks)) for share, walk in engines_like(case, base, DRAWS)]
    return score(case, practice.ledger, sum(share * checks for share, checks in likely))


def kept(case: Case, judged: Score, seconds: float, begun: str = "") -> Practised:
    """Return what is kept of a practice that took ``seconds`` at the keyboard.

    ``begun``: the id that it was begun under, where its lines were kept.
    """
    return Practised(
        when=rfc3339(local_now()),
        program=f"meterlink {__version__}",
        order=msgspec.to_builtins(case.order),
        complaint=case.model.complaint,
        fault="+".join(case.patient.faults),
        place=judged.place,
        found=judged.found,
        points=round(judged.points, 1),
        of=TOTAL,
        minutes=judged.minutes,
        parts=judged.parts,
        checks=judged.checks,
        advised=judged.advised,
        seconds=round(seconds, 1),
        topics={
            topic: TopicCount(tally.practised, tally.missed)
            for topic, tally in judged.topics.items()
        },
        say=tuple(sentences(judged)),
        begun=begun,
    )


def score_lines(judged: Score, seconds: float) -> Iterator[str]:
    """Yield the score in sentences, and what to practise next."""
    yield from sentences(judged)
    yield f"You were at it for {_time(seconds)}."
    missed = [_TITLES[topic] for topic, tally in judged.topics.items() if tally.missed]
    if missed:
        yield f"To practise: {'; '.join(missed)}."


def result_lines(results: Results) -> Iterator[str]:
    """Yield a trainee's practices and the table of topics, the most often missed first."""
    yield f"{_summary(results)}."
    for practice in results.practised:
        yield f"  {plain(practice.when[:16])}  {_practice_line(practice)}"
    for unfinished in results.unfinished:
        yield f"  {plain(unfinished.begun.when[:16])}  {_unfinished_line(unfinished)}"
    if results.unfinished:
        yield "“--resume” goes on with the last that was not finished."
    topics = results.topics()
    if not topics:
        return
    order = sorted(topics, key=lambda topic: (-_share(topics[topic]), topic))
    titles = {topic: plain(_TITLES.get(topic, topic), 60) for topic in order}
    width = max(map(len, titles.values()))
    yield f"{'topic':<{width}}  practised  missed"
    for topic in order:
        tally = topics[topic]
        yield f"{titles[topic]:<{width}}  {tally.practised:>9}  {tally.missed:>6}"


def overview_lines(everybody: list[Results]) -> Iterator[str]:
    """Yield a line for each trainee."""
    if not everybody:
        yield "There are no results yet; practise with --trainee NAME to keep them."
    for results in everybody:
        yield _summary(results)


def result_objects(results: Results) -> Iterator[dict[str, object]]:
    """Yield a trainee's practices and topics, as objects for ``--json``."""
    for practice in results.practised:
        yield {"trainee": results.name, **msgspec.to_builtins(practice)}
    for unfinished in results.unfinished:
        minutes, checks = _done(unfinished)
        yield {
            "kind": "unfinished",
            "trainee": results.name,
            "when": unfinished.begun.when,
            "order": unfinished.begun.order,
            "complaint": unfinished.begun.complaint,
            "minutes": minutes,
            "checks": checks,
            "typed": len(unfinished.typed),
        }
    for topic, tally in results.topics().items():
        yield {
            "kind": "topic",
            "trainee": results.name,
            "topic": topic,
            "practised": tally.practised,
            "missed": tally.missed,
        }


def _practice_line(practice: Practised) -> str:
    how = "found" if practice.found else "not found"
    took = counted(practice.checks, "check")
    return (
        f"{plain(practice.place, 40)}: {how}; {practice.points:.0f} of {practice.of:.0f}; {took}, "
        f"advised {practice.advised}; {practice.minutes:.0f} min, {practice.parts:g} in parts"
    )


def _summary(results: Results) -> str:
    found = sum(practice.found for practice in results.practised)
    left = f"; {len(results.unfinished)} not finished" if results.unfinished else ""
    return f"{results.name}: {len(results.practised)} practised, the fault found in {found}{left}"


def _done(unfinished: Unfinished) -> tuple[float, int]:
    """Return minutes and checks of a practice until it was interrupted."""
    last = unfinished.typed[-1] if unfinished.typed else None
    return (last.minutes, last.checks) if last else (0.0, 0)


def _unfinished_line(unfinished: Unfinished) -> str:
    minutes, checks = _done(unfinished)
    came = plain(unfinished.begun.complaint, 40)
    begun = counted(checks, "check")
    return f"{came}: not finished, no score; {begun} begun, {minutes:.0f} min"


def _share(tally: TopicCount) -> float:
    return tally.missed / tally.practised if tally.practised else 0.0


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"

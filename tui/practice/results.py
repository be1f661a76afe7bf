"""A practice that is over: its score in words, what is kept of it, and a trainee's table."""

from collections.abc import Iterator
from typing import Final

import msgspec

from captures.record.files import local_now, rfc3339
from captures.training.trainees import Practised, Results, TopicCount, Unfinished
from meterlink import __version__
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from meterlink.training.case import Case, engines_like
from meterlink.training.ledger import Topic
from meterlink.training.practice import Practice
from meterlink.training.score import TOTAL, Score, score, sentences
from meterlink.wording import counted

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
        fault=case.patient.fault,
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
        yield "«--resume» goes on with the last that was not finished."
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

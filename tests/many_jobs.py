"""Many finished jobs of a rescue club's workshop, made quickly: invented, sealed, and seeded.

What is random is known: coils of a profile are normal with the deviations below, each meter drifts
by so much a year, one step in so many is done again, and some engines come back. So a test can hold
an answer to what went in. Lines of readings are taken from a pool, as ten million of them are not
otherwise written in a minute; every job's seals are its own.
"""

import hashlib
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple
from zlib import crc32

from captures.record.files import rfc3339
from captures.record.records import LOG_FORMAT, CaptureBegan, CaptureEnded, Header, encode
from captures.record.seals import Seal
from meterlink.commands import Confirm, Enter, How, Redo
from meterlink.declared import to_plain
from meterlink.events import (
    CardBegan,
    CardEnded,
    CommandReceived,
    Contact,
    Entered,
    Event,
    Held,
    Judged,
    Lift,
    StepBegan,
    StepEnded,
    StepReopened,
    Verdict,
    Zeroed,
)
from meterlink.reading import Reading
from meterlink.source import Identity
from meterlink.steps.meter_check import MeterChecked
from tui.settings import CARDS, PROFILES

CARD: Final = "ignition-check"
PROFILE: Final = "pump-set-demo"
PRIMARY: Final = (0.85, 0.02)
"""Mean and deviation of the sound primaries, ohms at 20 °C."""
SECONDARY: Final = (5500.0, 150.0)
SCRAP: Final = 0.05
"""Share of jobs with a secondary above its window."""
REDONE: Final = 0.1
"""Share of jobs that measured the primary twice."""
CHECKED: Final = 0.2
"""Share of jobs that began with a check of the meter."""
DRIFT: Final = 2e-4
"""Of the first meter, of the value, a year; the others do not drift."""
METERS: Final = tuple(Identity(model="bench meter", serial=f"RC-{n}") for n in (1, 2, 3))
PEOPLE: Final = ("Ines", "Tomas", "Ruta", "Odile")
FIRST_DAY: Final = datetime(2016, 1, 4, 8, 30, tzinfo=UTC)
_BLOCK: Final = 90
"""Lines of readings in one go; a writer seals at least every hundred lines."""
_POOL: Final = 20


class Made(NamedTuple):
    """What is known of one job that was made."""

    name: str
    engine: str
    began: datetime
    who: str
    meter: str
    celsius: float
    primary: float
    """At 20 °C; the one that counts."""
    secondary: float
    redone: bool
    error: float | None
    """Relative, of the meter check."""


def make_jobs(
    root: Path, count: int, *, readings: int = 1000, years: float = 10.0, seed: int = 1
) -> list[Made]:
    """Make ``count`` jobs under ``root`` spread over ``years``; return what is known of each."""
    dice = random.Random(seed)
    engines = max(1, count // 8)
    made = []
    for number in range(count):
        began = FIRST_DAY + timedelta(days=365.25 * years * number / count)
        job = _job(dice, number, began, dice.randrange(engines), dice.randrange(len(METERS)))
        made.append(job)
        _write(root / job.name, job, list(_events(job)), readings, dice)
    return made


def _job(dice: random.Random, number: int, began: datetime, engine: int, meter: int) -> Made:
    years = (began - FIRST_DAY) / timedelta(days=365.25)
    scrap = dice.random() < SCRAP
    error = dice.gauss(DRIFT * years if meter == 0 else 0.0, 2e-5)
    return Made(
        name=f"{began:%Y-%m-%d}-pump-{engine}-{number:05d}",
        engine=f"pump {engine}",
        began=began,
        who=dice.choice(PEOPLE),
        meter=str(METERS[meter]),
        celsius=dice.choice((8.0, 14.0, 19.0, 23.0)),
        primary=dice.gauss(*PRIMARY),
        secondary=dice.gauss(9000.0, 200.0) if scrap else dice.gauss(*SECONDARY),
        redone=dice.random() < REDONE,
        error=error if dice.random() < CHECKED else None,
    )


def _events(job: Made) -> Iterator[list[Event]]:
    """Yield the events of each stretch of readings; ``t`` is given when they are written."""
    said: dict[str, Any] = {"how": How.KEY, "who": job.who}
    yield [
        CardBegan(t=0.0, card=CARD, profile=PROFILE),
        StepBegan(t=0.0, step="cautions"),
        CommandReceived(t=0.0, command=Confirm(**said)),
        StepEnded(t=0.0, step="cautions", outcome="acknowledged", how="key", who=job.who),
        StepBegan(t=0.0, step="ambient"),
    ]
    text = f"{job.celsius:g} °C"
    yield [
        CommandReceived(t=0.0, command=Enter(text=text, **said)),
        Entered(t=0.0, step="ambient", text=text, value=job.celsius, unit="celsius", who=job.who),
        StepEnded(t=0.0, step="ambient", outcome="done", how="typed", who=job.who),
        StepBegan(t=0.0, step="lead-zero"),
    ]
    yield [
        Zeroed(t=0.0, step="lead-zero", value=0.12, u=1e-4, dof=20.0, resolution=1e-4),
        *([] if job.error is None else [_checked(job.error)]),
        StepEnded(t=0.0, step="lead-zero", outcome="done"),
        StepBegan(t=0.0, step="primary"),
    ]
    if job.redone:
        yield [
            *_touch(job, "primary", job.primary * 1.3, Verdict.ABOVE),
            StepEnded(t=0.0, step="primary", outcome="above"),
            StepBegan(t=0.0, step="secondary"),
            CommandReceived(t=0.0, command=Redo(step="primary", reason="probe slipped", **said)),
            StepReopened(t=0.0, step="primary", reason="probe slipped"),
            StepBegan(t=0.0, step="primary"),
        ]
    yield [
        *_touch(job, "primary", job.primary, Verdict.IN_WINDOW),
        StepEnded(t=0.0, step="primary", outcome="in-window"),
        StepBegan(t=0.0, step="secondary"),
    ]
    verdict = Verdict.IN_WINDOW if job.secondary <= 7000.0 else Verdict.ABOVE
    yield [
        *_touch(job, "secondary", job.secondary, verdict),
        StepEnded(t=0.0, step="secondary", outcome=verdict.value),
        StepBegan(t=0.0, step="stop-switch"),
    ]
    yield [
        StepEnded(t=0.0, step="stop-switch", outcome="passed"),
        CardEnded(t=0.0, card=CARD),
    ]


def _touch(job: Made, step: str, corrected: float, verdict: Verdict) -> list[Event]:
    warm = (235 + job.celsius) / (235 + 20)
    read: dict[str, Any] = {"value": corrected * warm + 0.12, "readings": 40, "resolution": 1e-3}
    return [
        Contact(t=0.0),
        Held(t=0.0, contact_t=0.0, noise=1e-3, u=1e-4, dof=39.0, **read),
        Judged(
            t=0.0,
            step=step,
            contact_t=0.0,
            noise=1e-3,
            corrected=corrected,
            u=corrected * 0.005,
            verdict=verdict,
            probability=0.999,
            clear=True,
            **read,
        ),
        Lift(t=0.0, contact_t=0.0, held=True),
    ]


def _checked(error: float) -> Event:
    ohms = 1000.0
    return MeterChecked(
        t=0.0,
        step="lead-zero",
        contact_t=0.0,
        marking="1 kohm 0.1%",
        ohms=ohms,
        tolerance=0.1,
        value=ohms * (1 + error),
        readings=40,
        noise=1e-3,
        resolution=1e-3,
        corrected=ohms * (1 + error),
        error=ohms * error,
        u=1.2,
        passed=abs(ohms * error) <= 1.2,
    )


def _write(
    folder: Path, job: Made, stretches: list[list[Event]], readings: int, dice: random.Random
) -> None:
    (folder / "captures").mkdir(parents=True)
    file = "captures/0001-ignition-check.jsonl"
    capture, log = _Record(), _Record()
    capture.add(_header(job))
    log.add(_log_header(job))
    log.add(_at(CaptureBegan(t=0.0, file=file), job.began))
    left, t = readings, 0.0
    for number, events in enumerate(stretches):
        last = number == len(stretches) - 1
        share = left if last else readings // len(stretches)
        left -= share
        while share > 0:
            block = _block(round(t / (_BLOCK * 0.02)), dice.randrange(_POOL), min(share, _BLOCK))
            capture.add_block(block)
            share -= block.lines
            t += _BLOCK * 0.02
        for event in events:
            placed = _placed(event, t)
            capture.add(encode(placed))
            log.add(_at(placed, job.began + timedelta(seconds=t)))
    seal = capture.close(folder / file)
    ended = CaptureEnded(t=t, file=file, lines=seal.lines, sha256=seal.sha256)
    log.add(_at(ended, job.began + timedelta(seconds=t)))
    log.close(folder / "log.jsonl")


def _placed(event: Event, t: float) -> Event:
    """Return ``event`` at ``t``, its touch begun half a second before."""
    from msgspec.structs import replace

    touch = {"contact_t": t - 0.5} if hasattr(event, "contact_t") else {}
    return replace(event, t=t, **touch)


def _at(event: Event | CaptureBegan | CaptureEnded, when: datetime) -> bytes:
    stamp = rfc3339(when).encode()
    return encode(event).removesuffix(b"}\n") + b',"at":"' + stamp + b'"}\n'


def _header(job: Made) -> bytes:
    return _with_settings(
        Header(
            started=rfc3339(job.began),
            program="meterlink 0",
            meter=next(meter for meter in METERS if str(meter) == job.meter),
            profile=PROFILE,
            card=CARD,
        )
    )


def _log_header(job: Made) -> bytes:
    return _with_settings(
        Header(
            format=LOG_FORMAT,
            started=rfc3339(job.began),
            program="meterlink 0",
            title=f"{job.engine.capitalize()}, no spark",
        )
    )


def _with_settings(header: Header) -> bytes:
    return encode(header).removesuffix(b"}\n") + b',"settings":' + _settings() + b"}\n"


@cache
def _settings() -> bytes:
    import msgspec

    card, profile = CARDS.get(CARD), PROFILES.get(PROFILE)
    return msgspec.json.encode({"card": to_plain(card), "profile": to_plain(profile)})


class _Block(NamedTuple):
    data: bytes
    marks: str
    lines: int


@cache
def _block(position: int, variant: int, lines: int) -> _Block:
    dice = random.Random(position * _POOL + variant)
    began = position * _BLOCK * 0.02
    found = [
        encode(
            Reading(
                round(began + 0.02 * n, 6),
                round(dice.gauss(0.95, 0.01), 3),
                resolution=0.001,
                raw=f"+{dice.randrange(10**9):010d}E-03",
            )
        )
        for n in range(lines)
    ]
    marks = "".join(f"{crc32(line) & 0xFFFF:04x}" for line in found)
    return _Block(b"".join(found), marks, lines)


class _Record:
    """A file in the making, sealed as a writer seals it."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._texts: list[str] = []
        self._digest = hashlib.sha256()
        self._count = self._length = self._since = 0

    def add(self, line: bytes) -> None:
        self.add_block(_Block(line, f"{crc32(line) & 0xFFFF:04x}", 1))

    def add_block(self, block: _Block) -> None:
        if self._since + block.lines > 100:
            self._put_seal(final=False)
        self._parts.append(block.data)
        self._digest.update(block.data)
        self._texts.append(block.marks)
        self._count += block.lines
        self._since += block.lines
        self._length += len(block.data)

    def close(self, path: Path) -> Seal:
        seal = self._put_seal(final=True)
        path.write_bytes(b"".join(self._parts))
        return seal

    def _put_seal(self, *, final: bool) -> Seal:
        seal = Seal(
            lines=self._count,
            bytes=self._length,
            sha256=self._digest.hexdigest(),
            marks="".join(self._texts),
            final=final,
        )
        line = encode(seal)
        self._texts, self._since = [], 0
        self.add(line)
        return seal

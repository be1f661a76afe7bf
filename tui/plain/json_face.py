"""The session's updates as JSON, one object a line, for programs that look on."""

import contextlib
import threading
from collections import deque
from collections.abc import Callable
from typing import IO, Final

import msgspec

from captures.record.records import encode
from meterlink.bench.bench import Snapshot
from meterlink.bench.progress import Progress
from tui.session.session import Update

MOST_WAITING: Final = 10_000
"""Updates with events that wait for a slow reader; a whole job has some hundred."""

PATIENCE_S: Final = 5.0
"""So long the end waits for a reader that does not read."""


class JsonFace:
    """Writes each update as a line, on a thread of its own.

    The bench never waits for whoever reads. Updates with events all come, in order; of the glances
    between them only the newest. More than ``MOST_WAITING`` updates are not kept: the number of
    those that were left out stands under ``left_out`` in the next.
    """

    def __init__(self, out: IO[str], trouble: Callable[[], str] = str) -> None:
        """``trouble`` says why nothing can be written down now; empty where all is well."""
        self._out = out
        self._trouble = trouble
        self._waiting: deque[bytes] = deque()
        self._glance: bytes | None = None
        self._left_out = 0
        self._over = False
        self._changed = threading.Condition()
        self._writer = threading.Thread(target=self._write, daemon=True, name="json updates")
        self._writer.start()

    def __call__(self, seen: Update) -> None:
        """Take an update; returns at once."""
        facts = _facts(seen.look) | {"trouble": self._trouble()}
        facts["events"] = [msgspec.Raw(encode(event).strip()) for event in seen.events]
        with self._changed:
            if not seen.events:
                self._glance = msgspec.json.encode(facts)
            elif len(self._waiting) >= MOST_WAITING:
                self._left_out += 1
            else:
                self._put(facts)
            self._changed.notify()

    def end(self, progress: Progress) -> None:
        """Say how the card stands, and wait until all is written, though not for ever."""
        outcomes = {name: result.outcome for name, result in progress.results.items()}
        summary = {
            "ended": progress.ended,
            "signed_off": progress.signed_off,
            "outcomes": {name: outcome for name, outcome in outcomes.items() if outcome},
        }
        with self._changed:
            self._put({"summary": summary})
            self._over = True
            self._changed.notify()
        self._writer.join(PATIENCE_S)

    def _put(self, facts: dict[str, object]) -> None:
        if self._left_out:
            facts["left_out"], self._left_out = self._left_out, 0
        self._waiting.append(msgspec.json.encode(facts))
        self._glance = None  # what it showed is older than this

    def _write(self) -> None:
        # Whoever read has enough, or the disk is full: the bench goes on without.
        with contextlib.suppress(OSError, ValueError):
            while (line := self._next()) is not None:
                self._out.write(line.decode() + "\n")
                self._out.flush()

    def _next(self) -> bytes | None:
        """Return the next line, when there is one; None at the end."""
        with self._changed:
            while not self._waiting and self._glance is None:
                if self._over:
                    return None
                self._changed.wait()
            if self._waiting:
                return self._waiting.popleft()
            line, self._glance = self._glance, None
            return line


def _facts(look: Snapshot) -> dict[str, object]:
    """Return what can be seen, in SI units; an over range has no value."""
    reading, criterion, asked = look.reading, look.criterion, look.asked
    window = None if criterion is None else criterion.window
    return {
        "t_s": None if reading is None else reading.t,
        "step": look.step,
        "stage": look.stage.value,
        "reading": None
        if reading is None
        else {
            "value": reading.value,  # what is not finite is null
            "unit": reading.quantity.unit,
            "overload": reading.overload,
        },
        "value": look.value,
        "corrected": look.corrected,
        "u": look.u,
        "window": None
        if window is None
        else {"low": _number(window.low), "high": _number(window.high), "unit": window.unit},
        "asked": None
        if asked is None
        else {"say": asked.say, "position": asked.position, "answers": asked.answers},
        "remaining_s": look.remaining_s,
        "can_call_open": look.can_call_open,
    }


def _number(value: float | None) -> float | None:
    """Return a number of a kind of its own, as profiles have, as the usual one."""
    return None if value is None else float(value)

"""Plays a record to the faces that a live sitting has: the same engine, events and looks.

``run`` belongs to a thread of its own; the controls may be called from any other.
"""

import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final, NamedTuple

from msgspec.structs import replace

from captures.record.files import local_now, rfc3339
from captures.record.replay import Played
from captures.record.verify import State, Verification
from captures.training.notes import Notes, Pinned, TraineeAnswer, add_answer, read_notes
from drivers.clock import Clock
from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Face, Snapshot, Update
from meterlink.card import BenchEvent
from meterlink.commands import AnyCommand
from meterlink.events import Judged, Note, StepBegan
from meterlink.judging.criterion import Criterion
from meterlink.source import Identity
from meterlink.wording import VERDICT_WORDS
from tui.replay.pacing import Pacing, Until, at_touch
from tui.session.session import GLANCE_S

_LOOK_S: Final = 0.2
"""The wish to stop is looked at this often."""


class VerdictQuestion(NamedTuple):
    """A verdict that the bench has, and the trainee is to say first."""

    judged: Judged
    criterion: Criterion | None
    """What the bench judged by."""


Asker = Callable[[VerdictQuestion, Callable[[], bool]], str]
"""Asks, and returns the verdict code that was said; empty where none was, or where the function
that it is given says that the answer is no longer wanted."""


class ReplayPlayer:
    """One record, played. To a face it looks like a live session."""

    def __init__(
        self,
        path: Path,
        clock: Clock,
        pacing: Pacing | None = None,
        check: Verification | None = None,
    ) -> None:
        """Open the record and the notes beside it. ``check`` is what a check of it found.

        Raises:
            UnreadableError: the record or its notes cannot be read.
            InvalidFileError: they make no sense.
        """
        self.path = path
        self._clock = clock
        self._check = check
        self._pacing = pacing or Pacing()
        self.ask: Asker | None = None
        """Where there is one, each verdict is hidden until it was said."""
        self.on_pause: Callable[[], bool] | None = None
        """Called where it waits, for a face without keys; returns whether to step on and wait
        again rather than to go on."""
        self.on_restart: Callable[[], None] | None = None
        """Called by ``run`` when the record begins again, before anything else happens."""
        self._faces: list[Face] = []
        self._turn = threading.Condition()
        self._back_to: int | None = None
        self._said: set[tuple[str, str]] = set()
        self._answers: Path | None = None
        self._who = ""
        self._shown_at = float("-inf")
        self.finished = False
        """Whether the record was played to its end."""
        self.played, self.notes = self._open()
        self.bench: Bench = self.played.replay.bench
        """The bench at work; another one once the record has begun again."""
        self.readings = 0
        """How many readings were played."""

    # --- what a face needs ----------------------------------------------------------------------

    @property
    def trouble(self) -> str:
        """Why not everything can be seen, or what is seen was not recorded; else empty."""
        if self._check is not None and self._check.state is not State.WHOLE:
            return f"this record is {self._check.words}"
        damaged = self.played.reader.damaged
        return f"{damaged} lines of this record cannot be read" if damaged else ""

    @property
    def meter(self) -> Identity:
        """The meter that the record names."""
        return self.played.header.meter or Identity(port=self.played.reader.name)

    def show(self, face: Face) -> None:
        """Tell ``face`` of everything from now on; on the thread where it happens."""
        self._faces.append(face)

    def tell(self, command: AnyCommand) -> None:
        """Do nothing: what was said is in the record, and nothing can be added."""

    def run(self, stop: threading.Event) -> None:
        """Play until ``stop``, or the end of the record.

        Raises:
            UnreadableError: the medium fails.
        """
        while not self._play(stop):
            self._restart()

    def keep_answers(self, path: Path, who: str) -> None:
        """Keep what is said in the file ``path``, as said by ``who``."""
        self._answers, self._who = path, who

    def close(self) -> None:
        """Let go of the record. Safe to call twice."""
        self.played.close()

    # --- controls -------------------------------------------------------------------------------

    @property
    def speed(self) -> float:
        """Multiple of the record's own pace."""
        return self._pacing.speed

    @property
    def paused(self) -> bool:
        """Whether it waits."""
        return self._pacing.paused

    @property
    def running_on(self) -> bool:
        """Whether it is on its way to some moment."""
        return self._pacing.running_on

    def pause_or_go(self) -> None:
        """Wait here, or go on."""
        with self._turn:
            if self._pacing.paused:
                self._pacing.go(self._clock.now())
            else:
                self._pacing.pause()
            self._turn.notify_all()

    def step(self) -> None:
        """Go on to the next thing that happens, and wait there."""
        with self._turn:
            self._pacing.step()
            self._turn.notify_all()

    def faster(self) -> None:
        """Play faster."""
        with self._turn:
            self._pacing.faster(self._clock.now())
            self._turn.notify_all()

    def slower(self) -> None:
        """Play slower."""
        with self._turn:
            self._pacing.slower(self._clock.now())
            self._turn.notify_all()

    def run_on(self, until: Until) -> None:
        """Go on as fast as can be until the moment comes."""
        with self._turn:
            self._pacing.run_on(until)
            self._turn.notify_all()

    def next_touch(self) -> None:
        """Go on to the next touch."""
        self.run_on(at_touch(self.played.replay.touches + 1))

    def previous_touch(self) -> None:
        """Go back to the touch before this one: the record is played again up to there."""
        with self._turn:
            self._back_to = max(0, self.played.replay.touches - 1)
            self._turn.notify_all()

    # --- within ---------------------------------------------------------------------------------

    def _goes_back(self) -> bool:
        return self._back_to is not None

    def _open(self) -> tuple[Played, Notes]:
        return Played(self.path), read_notes(self.path)

    def _restart(self) -> None:
        """Begin again, and run on to where it was wanted."""
        self.played.close()
        self.played, self.notes = self._open()
        self.bench, self.readings = self.played.replay.bench, 0
        with self._turn:
            self._pacing.restarted()
            if self._back_to:
                self._pacing.run_on(at_touch(self._back_to))
            self._back_to = None
        self.finished = False
        if self.on_restart is not None:
            self.on_restart()

    def _play(self, stop: threading.Event) -> bool:
        """Play on; return False where the record is to begin again."""
        if self._goes_back():
            return False
        for record in self.played.records():
            self._wait_for(record.t, stop)
            if stop.is_set():
                return True
            if self._goes_back():
                return False
            events = self.played.replay.feed(record)
            self.readings = self.played.replay.readings
            self._happened(events, stop)
        self._happened(self.played.finish(), stop)
        self.finished = True
        return True

    def _wait_for(self, t: float, stop: threading.Event) -> None:
        while not stop.is_set() and not self._goes_back():
            with self._turn:
                wait = self._pacing.wait_s(t, self._clock.now())
                if wait <= 0:
                    return
                if self.on_pause is None or not self._pacing.paused:
                    self._turn.wait(min(wait, _LOOK_S))
                    continue
            if self.on_pause():
                self.step()
            else:
                self.pause_or_go()

    def _happened(self, events: Sequence[BenchEvent], stop: threading.Event) -> None:
        """Show what happened: before a verdict that is hidden its question, after each event the
        notes that are pinned to it."""
        t = self.played.replay.t
        with self._turn:
            self._pacing.played(self.played.replay, events, self._clock.now())
        shown: list[BenchEvent] = []
        for event in events:
            if isinstance(event, StepBegan):
                self._said = {key for key in self._said if key[0] != event.step}
            if isinstance(event, Judged) and self._hides(event):
                self._show(shown)
                shown = []
                if not self._answered(event, stop):
                    return
            shown.append(event)
            if pinned := self.notes.now(t, (event,)):
                self._show(shown)
                shown = []
                self._note(pinned)
        self._note(self.notes.now(t))
        self._show(shown)

    def _answered(self, judged: Judged, stop: threading.Event) -> bool:
        """Ask for the verdict; return whether the replay goes on from here."""

        def gone() -> bool:
            return stop.is_set() or self._goes_back()

        step = self.bench.card.find(judged.step)
        question = VerdictQuestion(judged, step.criterion(self.bench.profile, judged.position))
        said = "" if self.ask is None else self.ask(question, gone)
        if gone():
            return False
        self._said.add((judged.step, judged.position))
        self._keep(judged, said)
        with self._turn:
            self._pacing.anchor(self._clock.now())
        return True

    def _hides(self, judged: Judged) -> bool:
        if self.ask is None or self._pacing.running_on:
            return False
        return (judged.step, judged.position) not in self._said

    def _keep(self, judged: Judged, said: str) -> None:
        if self._answers is None:
            return
        answer = TraineeAnswer(
            capture=self.path.name,
            started=self.played.header.started,
            t=judged.t,
            step=judged.step,
            position=judged.position,
            said=said,
            verdict=judged.verdict,
            clear=judged.clear,
            who=self._who,
            when=rfc3339(local_now()),
        )
        add_answer(self._answers, answer)

    def _note(self, pinned: Sequence[Pinned]) -> None:
        """Show notes, and wait after one that says so."""
        for note in pinned:
            self._show([Note(t=self.played.replay.t, text=note.say, who=self.notes.by)])
            if note.pause and not self._pacing.running_on:
                with self._turn:
                    self._pacing.pause()

    def _show(self, events: Sequence[BenchEvent]) -> None:
        now = self._clock.now()
        if not events and (self._pacing.running_on or now - self._shown_at < GLANCE_S):
            return
        self._shown_at = now
        seen = Update(events, self._veiled(self.bench.look()))
        for face in self._faces:
            face(seen)

    def _veiled(self, look: Snapshot) -> Snapshot:
        """Return ``look`` without what gives a verdict away, while that is to be said."""
        if self.ask is None:
            return look
        asked = look.asked
        position = asked.position if asked is not None and asked.step == look.step else ""
        if (look.step, position) in self._said:
            return look
        return replace(look, criterion=None, corrected=None)


def comment_on(said: str, judged: Judged) -> str:
    """Return what there is to say of a verdict that a trainee said, beside the bench's own."""
    words = VERDICT_WORDS[judged.verdict]
    if not said:
        return f"not said; the bench says: {words}"
    if said == judged.verdict.value:
        return f"the bench says so too: {words}"
    close = "" if judged.clear else ", but not clearly"
    return f"you said {said}; the bench says: {words}{close}"

"""From a job's log to its rows: what was measured, said and decided, by the bench's rules."""

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from captures.exchange.export import HoldRow, join_holds
from captures.job.card_progress import JobSettings, criterion_of, finding_of
from captures.job.job import LogEntry
from captures.record.files import read_rfc3339
from captures.record.records import CaptureBegan
from meterlink.bench.progress import Progress
from meterlink.card import Step
from meterlink.errors import UnreadableError
from meterlink.events import (
    CardBegan,
    CardEnded,
    CommandReceived,
    Entered,
    Event,
    Held,
    Judged,
    StepBegan,
    StepEnded,
    StepReopened,
)
from meterlink.quantities.text import plain
from meterlink.steps.entry import EntryStep
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.meter_check import MeterChecked

LogRow = dict[str, Any]
"""A row by the names of its columns; what is left out is empty."""

_SET_UNITS: Final = frozenset({"metre", "newton-metre"})
"""Units of what is set in putting an engine together: gaps and torques."""

_NO_WINDOW: Final[tuple[float | None, float | None]] = (None, None)


class RowContext(NamedTuple):
    """What holds for the readings of a capture after ``t``."""

    t: float
    step: str
    card: str
    profile: str
    temperature: float | None
    window: tuple[float | None, float | None]


def epoch_ms(when: str) -> int | None:
    """Return an RFC 3339 time as milliseconds since 1970, UTC; None where it is none."""
    try:
        return round(read_rfc3339(when).timestamp() * 1000)
    except (UnreadableError, OverflowError, OSError, ValueError):
        return None


class LogRows:
    """Follows a log, entry by entry; the rows stand when ``finish`` was called."""

    def __init__(self, settings: JobSettings) -> None:
        self.rows: dict[str, list[LogRow]] = {
            name: []
            for name in ("holds", "verdicts", "outcomes", "findings", "repairs", "meter_checks")
        }
        self.moments: dict[str, list[RowContext]] = {}
        """Of each capture, by its path inside the job's folder, oldest first."""
        self.who = ""
        self.ended_ms: int | None = None
        self.done = self.signed_off = False
        self.card = self.profile = self.complaint = ""
        self._settings = settings
        self._progress: dict[str, Progress] = {}
        self._file = ""
        self._touches: list[Event] = []
        self._held: dict[tuple[float, float], LogRow] = {}
        self._judged: dict[tuple[object, ...], LogRow] = {}
        self._began_ms: dict[tuple[str, str], int | None] = {}
        self._times: dict[tuple[str, str], int] = {}
        self._reasons: dict[tuple[str, str], str] = {}
        self._standing: dict[tuple[str, str, str, str], LogRow] = {}
        """The newest row by table, card, step and switch position."""
        self._windows: dict[tuple[str, str, str, str], tuple[float | None, float | None]] = {}

    def take(self, entry: LogEntry) -> None:
        """Take the next entry."""
        event, at = entry.event, epoch_ms(entry.at)
        self.ended_ms = at if at is not None else self.ended_ms
        speaker = event.command if isinstance(event, CommandReceived) else event
        self.who = plain(getattr(speaker, "who", "")) or self.who
        match event:
            case CaptureBegan():
                self._end_capture()
                self._file = event.file
            case CardBegan():
                self._begin_card(event)
            case CardEnded():
                self.done, self.signed_off = True, event.signed_off
        progress = self._progress.get(self.card)
        if progress is not None:
            progress.apply(event)
        self._put_down(event, at)

    def finish(self) -> None:
        """The log is at its end."""
        self._end_capture()
        profiles = self._settings.profiles.values()
        found = finding_of(list(self._progress.values()), profiles)
        if found is None:
            return
        first, place = found.faults[0], found.places[0]
        self.rows["findings"].append(
            self._row(self.ended_ms)
            | {
                "complaint": found.complaint,
                "place": place.place,
                "fault": first.fault,
                "probability": place.probability,
                "sure": found.sure,
                "contradictory": found.contradictory,
                "clean": found.clean,
                "mend": first.mend,
                "says": " ".join(found.sentences),
            }
        )

    def _begin_card(self, event: CardBegan) -> None:
        self.card, self.profile = event.card, event.profile
        self.done = self.signed_off = False
        card = self._settings.cards.get(event.card)
        if card is not None:
            self.complaint = card.complaint or self.complaint
            if event.card not in self._progress:
                self._progress[event.card] = Progress(card)

    def _put_down(self, event: Event, at: int | None) -> None:
        match event:
            case CaptureBegan() | StepBegan() | Entered(unit="celsius") | StepReopened():
                self._note_moment(event)
        match event:
            case StepBegan():
                self._began_ms[self.card, event.step] = at
            case StepReopened():
                self._reopen(event)
            case Held():
                self._touches.append(event)
                self._held[event.contact_t, event.t] = self._row(at)
            case Judged():
                self._touches.append(event)
                self._judge(event, at)
            case StepEnded():
                self._outcome(event, at)
            case MeterChecked():
                self._check(event, at)
            case Entered() if event.unit in _SET_UNITS:
                self._set(event, at)
            case _:
                self._touches.append(event)

    def _row(self, at: int | None, step: str = "", position: str = "") -> LogRow:
        low, high = self._window(step, position) if step else _NO_WINDOW
        progress = self._progress.get(self.card)
        return {
            "at_utc": at,
            "card": self.card,
            "profile": self.profile,
            "temperature": None if progress is None else progress.temperature,
            "window_low": low,
            "window_high": high,
            "meter": self._meter(),
            "who": self.who,
        }

    def _stand(self, table: str, row: LogRow, step: str, position: str = "") -> None:
        """Put a row down as the one that counts of its step."""
        row |= {"step": step, "stands": True}
        key = (table, self.card, step, position)
        if key in self._standing:
            self._standing[key]["stands"] = False
        self._standing[key] = row
        self.rows[table].append(row)

    def _reopen(self, event: StepReopened) -> None:
        for key in [key for key in self._standing if key[1:3] == (self.card, event.step)]:
            self._standing.pop(key)["stands"] = False
        self._reasons[self.card, event.step] = plain(event.reason, 400)

    def _judge(self, event: Judged, at: int | None) -> None:
        row = self._row(at, event.step, event.position)
        row |= {
            "capture": _name(self._file),
            "position": event.position or None,
            "contact_t_s": event.contact_t,
            "t_s": event.t,
            "winding": self._winding(event.step),
            "value": event.value,
            "unit": event.unit,
            "readings": event.readings,
            "noise": event.noise,
            "resolution": event.resolution,
            "corrected": event.corrected,
            "u": event.u,
            "verdict": event.verdict.value,
            "probability": event.probability,
            "clear": event.clear,
            "evidence": None if event.evidence is None else event.evidence.value,
        }
        self._judged[
            event.step, event.position or None, event.contact_t, event.value, event.corrected
        ] = row
        self._stand("verdicts", row, event.step, event.position)

    def _outcome(self, event: StepEnded, at: int | None) -> None:
        key = (self.card, event.step)
        began, time = self._began_ms.get(key), self._times.get(key, 0) + 1
        self._times[key] = time
        step = self._step(event.step)
        row = self._row(at, event.step)
        row |= {
            "feeds": "" if step is None else step.check,
            "outcome": event.outcome,
            "reason": plain(event.reason, 400),
            "how": event.how,
            "took_s": None if began is None or at is None else (at - began) / 1000,
            "time": time,
            "again_because": self._reasons.pop(key, None) if time > 1 else None,
        }
        self._stand("outcomes", row, event.step)

    def _check(self, event: MeterChecked, at: int | None) -> None:
        row = self._row(at)
        row |= {
            "marking": " ".join(plain(event.marking).lower().split()),
            "ohms": event.ohms,
            "tolerance": event.tolerance,
            "value": event.value,
            "corrected": event.corrected,
            "error": event.error,
            "relative_error": event.error / event.ohms if event.ohms else None,
            "u": event.u,
            "passed": event.passed,
        }
        self._stand("meter_checks", row, event.step)

    def _set(self, event: Entered, at: int | None) -> None:
        step, profile = self._step(event.step), self._settings.profiles.get(self.profile)
        row = self._row(at)
        row |= {"value": event.value, "unit": event.unit, "within": None}
        if isinstance(step, EntryStep):
            row["part"] = step.of
            try:
                part = step.limits(profile)
            except KeyError:
                part = None
            if part is not None and event.value is not None:
                low, high = part.low, part.high
                row |= {"window_low": low, "window_high": high}
                row["within"] = low <= event.value <= high
        self._stand("repairs", row, event.step)

    def _end_capture(self) -> None:
        """Bring the holds of the capture that ends together with their verdicts and lifts."""
        for hold in join_holds(self._touches, _name(self._file)):
            row = self._held.get((hold.contact_t_s, hold.t_s))
            if row is not None:  # what was judged without one is in the verdicts
                self.rows["holds"].append(row | self._hold(hold))
        self._touches, self._held = [], {}
        self._judged = {}

    def _hold(self, hold: HoldRow) -> LogRow:
        # The state of the record is the job's, and stands in every row already.
        of_file = ("record", "after_damage")
        fields: LogRow = {
            name: getattr(hold, name) for name in hold.__struct_fields__ if name not in of_file
        }
        low, high = self._window(hold.step or "", hold.position or "")
        judged = self._judged.get(
            (hold.step, hold.position, hold.contact_t_s, hold.value, hold.corrected)
        )
        # The row of the verdict is looked at when all is known: a later one may replace it.
        return fields | {"window_low": low, "window_high": high, "stands": judged}

    def holds(self) -> Iterator[LogRow]:
        """Yield the rows of the holds, each with whether its verdict is the one that counts."""
        for row in self.rows["holds"]:
            judged = row["stands"]
            yield row | {"stands": None if judged is None else judged["stands"]}

    def _note_moment(self, event: Event) -> None:
        progress = self._progress.get(self.card)
        step = getattr(event, "step", "") if progress is None else progress.current or ""
        self.moments.setdefault(self._file, []).append(
            RowContext(
                event.t,
                step,
                self.card,
                self.profile,
                None if progress is None else progress.temperature,
                self._window(step, "") if step else _NO_WINDOW,
            )
        )

    def _meter(self) -> str:
        header = self._settings.headers.get(self._file)
        return "" if header is None or header.meter is None else plain(str(header.meter))

    def _step(self, step: str) -> Step | None:
        progress = self._progress.get(self.card)
        try:
            return None if progress is None else progress.card.find(step)
        except KeyError:
            return None

    def _winding(self, step_id: str) -> str | None:
        step = self._step(step_id)
        return step.winding or None if isinstance(step, MeasurementStep) else None

    def _window(self, step_id: str, position: str) -> tuple[float | None, float | None]:
        key = (self.card, self.profile, step_id, position)
        if key not in self._windows:
            step, profile = self._step(step_id), self._settings.profiles.get(self.profile)
            criterion = None if step is None else criterion_of(step, position, profile)
            window = None if criterion is None else criterion.window
            self._windows[key] = _NO_WINDOW if window is None else (window.low, window.high)
        return self._windows[key]


def _name(file: str) -> str:
    """Return the name of a capture's file; a log from elsewhere may say anything."""
    return plain(file.rpartition("/")[2])

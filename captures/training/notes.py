"""An instructor's notes on a capture, pinned to its moments. They lie beside it, never in it.

``NAME.notes.toml`` belongs to ``NAME.jsonl``:

    format = 1
    by = "the instructor"

    [[note]]
    at = "12.5 s"            # a time since the start of the capture,
    say = "Watch the last digit."

    [[note]]
    touch = 3                # or the third touch,
    when = "held"            # at its contact, when it is held, or at its lift,
    say = "Held, and yet wrong: why?"
    pause = true             # and wait here until the trainee goes on

    [[note]]
    step = "secondary"       # or the begin of a step, or when = "verdict", when = "end"
    say = "Where do the fingers belong?"
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final, Literal

import msgspec

from captures.record.append_file import AppendFile
from captures.record.files import ends_whole, is_regular, open_regular
from meterlink.card import BenchEvent, Card
from meterlink.declared import LARGEST_FILE, decode
from meterlink.errors import CannotWriteError, InvalidFileError
from meterlink.events import Contact, Event, Held, Judged, Lift, StepBegan, StepEnded, Verdict
from meterlink.quantities.text import plain
from meterlink.quantities.units import Seconds

ENDING: Final = ".notes.toml"

_TOUCH_WHEN: Final[dict[str, type[Event]]] = {"contact": Contact, "held": Held, "lift": Lift}
_STEP_WHEN: Final[dict[str, type[Event]]] = {
    "begin": StepBegan,
    "verdict": Judged,
    "end": StepEnded,
}


class Pinned(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One note, pinned by exactly one of ``at``, ``touch`` and ``step``."""

    say: Annotated[str, msgspec.Meta(min_length=1, max_length=600)]
    at: Seconds | None = None
    """Since the start of the capture."""
    touch: Annotated[int, msgspec.Meta(ge=1)] | None = None
    """The first touch of the capture is 1."""
    step: str | None = None
    """Id of a step of the card."""
    when: Literal["contact", "held", "lift", "begin", "verdict", "end"] | None = None
    """With ``touch``: contact, held or lift; with ``step``: begin, verdict or end. The first
    of these where nothing is said."""
    pause: bool = False
    """Whether the replay waits here."""

    @property
    def moment(self) -> str:
        """The moment that it is pinned to, in words."""
        if self.at is not None:
            return f"{float(self.at):g} s"
        if self.touch is not None:
            return f"touch {self.touch}, {self.when or 'contact'}"
        return f"step “{plain(self.step or '')}”, {self.when or 'begin'}"


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    format: Literal[1]
    by: Annotated[str, msgspec.Meta(max_length=80)] = ""
    note: Annotated[tuple[Pinned, ...], msgspec.Meta(max_length=1000)] = ()


class Notes:
    """The notes of one capture. Tell it what happens; it tells which note's moment has come."""

    def __init__(self, pinned: Sequence[Pinned] = (), by: str = "", name: str = "") -> None:
        """``name`` stands for the file in sentences."""
        self.by = by
        self._name = name
        self._all = tuple(pinned)
        self._left = list(range(len(self._all)))
        self._touch = 0

    def __len__(self) -> int:
        return len(self._all)

    def now(self, t: float, events: Sequence[BenchEvent] = ()) -> list[Pinned]:
        """Return the notes for this moment: ``t`` has come, and ``events`` happen."""
        if not self._left:
            return []
        found = [index for index in self._left if _has_come(self._all[index], t)]
        for event in events:
            self._touch += isinstance(event, Contact)
            found += [
                index
                for index in self._left
                if index not in found and self._is_at(self._all[index], event)
            ]
        self._left = [index for index in self._left if index not in found]
        return [self._all[index] for index in sorted(found)]

    def astray(self, card: Card, ended_t: float) -> list[str]:
        """Return a sentence for each note whose moment never came before ``ended_t``, the end."""
        known = {step.id for step in card.step}
        return [
            f"{self._name}: note[{index}] points at {self._all[index].moment}, and "
            f"{self._why_not(self._all[index], known, card, ended_t)}"
            for index in self._left
        ]

    def _why_not(self, note: Pinned, known: set[str], card: Card, ended_t: float) -> str:
        if note.at is not None:
            return f"the capture ends at {ended_t:.1f} s"
        if note.touch is not None and self._touch < note.touch:
            return f"the capture has {self._touch} touches"
        if note.step is not None and note.step not in known:
            return f"the card “{plain(card.id)}” has no such step"
        return "that never happens in the capture"

    def _is_at(self, note: Pinned, event: BenchEvent) -> bool:
        if note.touch is not None:
            kind = _TOUCH_WHEN[note.when or "contact"]
            return self._touch == note.touch and isinstance(event, kind)
        if note.step is not None:
            begun = isinstance(event, _STEP_WHEN[note.when or "begin"])
            return begun and getattr(event, "step", "") == note.step
        return False


def notes_path(capture: Path) -> Path:
    """Return where the notes of ``capture`` lie, whether there are any or not."""
    return capture.with_name(capture.name.removesuffix(".jsonl") + ENDING)


def read_notes(capture: Path) -> Notes:
    """Return the notes beside ``capture``; none where there is no such file.

    Raises:
        UnreadableError: the file cannot be read.
        InvalidFileError: it does not say what it must; file and key are named.
    """
    path = notes_path(capture)
    if not is_regular(path):
        return Notes()
    with open_regular(path) as file:
        return parse_notes(file.read(LARGEST_FILE + 1), path.name)


def parse_notes(data: bytes, name: str) -> Notes:
    """Return the notes in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: it does not say what it must; file and key are named.
    """
    name = plain(name)
    told = decode(data, _File, name)
    for index, note in enumerate(told.note):
        if fault := _fault(note):
            raise InvalidFileError(f"{name}: note[{index}]{fault}")
    return Notes(told.note, told.by, name)


def _has_come(note: Pinned, t: float) -> bool:
    return note.at is not None and note.at <= t


def _fault(note: Pinned) -> str:
    pins = [name for name in ("at", "touch", "step") if getattr(note, name) is not None]
    if len(pins) != 1:
        given = " and ".join(pins) or "none"
        return f": expected exactly one of at, touch and step, found {given}"
    fits: dict[str, type[Event]] = {"at": {}, "touch": _TOUCH_WHEN, "step": _STEP_WHEN}[pins[0]]
    if note.when is not None and note.when not in fits:
        known = ", ".join(fits) or "nothing, as it is a time already"
        return f".when: with “{pins[0]}” expected {known}, found “{note.when}”"
    if note.at is not None and note.at < 0:
        return ".at: expected a time after the start of the capture"
    return ""


class TraineeAnswer(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="answer"):
    """One verdict as a trainee said it, and what the bench made of the same touch."""

    capture: str
    """Name of the capture's file."""
    started: str
    """RFC 3339 start of that capture: with the name, which one it was."""
    t: float
    """Seconds since the start of the capture."""
    step: str
    position: str = ""
    said: str
    """A verdict code; empty where nothing was said."""
    verdict: Verdict
    """The bench's own."""
    clear: bool
    who: str = ""
    when: str
    """RFC 3339."""

    @property
    def right(self) -> bool:
        """Whether the trainee said what the bench did."""
        return self.said == self.verdict.value


def default_folder() -> Path:
    """Return where answers lie unless the user says otherwise."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "answers"


def add_answer(path: Path, answer: TraineeAnswer) -> None:
    """Put ``answer`` at the end of the file ``path``, which is made if need be.

    Raises:
        CannotWriteError: it cannot be written.
        InUseError: another program writes it.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(path.parent))} cannot be made: {fault.strerror}"
        ) from fault
    file = AppendFile(path, create=not path.exists())
    try:
        cut = b"" if ends_whole(path) else b"\n"
        file.append(cut + msgspec.json.encode(answer) + b"\n")
    finally:
        file.close()

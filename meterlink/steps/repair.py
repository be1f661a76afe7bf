"""The repair: what was found, what was done about it, and the parts that went in, place by place.

From here on the job is about another engine: what is checked afterwards says whether the repair did
it, and no longer what was wrong before.
"""

from collections.abc import Iterable
from typing import Annotated, ClassVar, Final

import msgspec

from meterlink.commands import AnyCommand, Confirm, Enter
from meterlink.events import CommonEvent, StepEvent
from meterlink.profile import Profile
from meterlink.quantities.text import chosen_of, plain
from meterlink.steps.step import SKIPPED, StepBase, StepState
from meterlink.steps.worker import StepContext, Worker

MENDED, NOTHING = "mended", "nothing"
"""Outcomes."""
_PART_KEYS: Final = ("name", "number", "source")


class PartFitted(msgspec.Struct, frozen=True):
    """A part that went in; what nobody said is empty."""

    name: str
    number: str = ""
    source: str = ""
    """Where it came from."""

    @property
    def words(self) -> str:
        """The part in a few words."""
        return ", ".join(filter(None, (self.name, self.number, self.source)))


class Mended(StepEvent, frozen=True, kw_only=True, tag="mended"):
    """One place of the engine was put right."""

    place: str
    """In the fault table's words."""
    found: str = ""
    """What was found there."""
    done: str
    """What was done about it."""
    part: PartFitted | None = None
    """None where none was fitted."""
    who: str = ""

    @property
    def spoken(self) -> str:
        """What is said aloud of it."""
        return f"Recorded: {self.place}."

    def tell(self, *, ohm_sign: bool = True) -> str:
        """Return the repair as one sentence."""
        found = f"found {self.found}; " if self.found else ""
        fitted = f"; fitted: {self.part.words}" if self.part is not None else ""
        return f"{self.place[:1].upper()}{self.place[1:]}: {found}{self.done}{fitted}."


class RepairState(StepState, kw_only=True):
    """What was put right so far."""

    mended: tuple[Mended, ...] = ()

    def apply(self, event: StepEvent) -> None:
        """Take a repair; of two at one place the newer counts."""
        if isinstance(event, Mended):
            others = (each for each in self.mended if each.place != event.place)
            self.mended = (*others, event)

    @property
    def places(self) -> tuple[str, ...]:
        """The places, in the order in which they were put right."""
        return tuple(each.place for each in self.mended)

    def in_short(self, *, ohm_sign: bool) -> str:
        """Return the places and what was done there."""
        return "; ".join(f"{each.place}: {each.done}" for each in self.mended)


class RepairStep(StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="repair"):
    """What was put right: place, finding, work and part, for as many places as there are."""

    places: Annotated[
        tuple[Annotated[str, msgspec.Meta(min_length=1, max_length=80)], ...],
        msgspec.Meta(min_length=1, max_length=40),
    ]
    """Where something can be put right, in the fault table's words."""

    answered: ClassVar[bool] = True

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({MENDED, NOTHING, SKIPPED})

    @property
    def fault(self) -> str:
        return ".places: one is there twice" if len(set(self.places)) < len(self.places) else ""

    def is_good(self, outcome: str, profile: Profile | None) -> bool | None:
        """Return None: a repair is neither good nor bad, what is tried after it is."""
        return None

    def state(self) -> RepairState:
        return RepairState()

    def worker(self, around: StepContext) -> "RepairWorker":
        return RepairWorker(self, around)


class RepairWorker(Worker[Mended]):
    """Asks where, what was found, what was done and what was fitted, until that is all."""

    def __init__(self, step: RepairStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._told: list[str] = []
        """Of the place that is being recorded: its name, what was found, what was done."""

    def begin(self, t: float) -> Iterable[CommonEvent | Mended]:
        yield self._where(t)

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | Mended]:
        typed = plain(command.text.strip(), 200) if isinstance(command, Enter) else ""
        if not isinstance(command, Enter | Confirm):
            return  # a no, a pedal that means something else
        match len(self._told):
            case 0 if typed.lower() in ("", NOTHING):
                yield self.end(t, MENDED if self._mended else NOTHING, command)
            case 0:
                yield from self._place(typed, t)
            case 1:
                self._told.append(typed)
                yield self.ask(t, f"What was done to “{self._told[0]}”? Such as: renewed, cleaned.")
            case 2 if not typed:
                yield self.again(t, "That takes an entry.")
            case 2:
                self._told.append(typed)
                yield self.ask(t, "Part fitted: name, number, source. Confirm where none was.")
            case _:
                yield self._record(typed, command, t)
                yield self._where(t)

    @property
    def _mended(self) -> tuple[Mended, ...]:
        return self.around.progress.results[self.step_id].own.of(RepairState).mended

    def _where(self, t: float) -> CommonEvent:
        say = self._step.say or "What was put right?"
        if self._mended:
            say = f"{self._mended[-1].tell()} What else was put right?"
        return self.ask(t, say, answers=(*self._step.places, NOTHING))

    def _place(self, typed: str, t: float) -> Iterable[CommonEvent]:
        place, why = chosen_of(self._step.places, typed)
        if why:
            yield self.again(t, why)
            return
        self._told = [place]
        yield self.ask(t, f"What was found at “{place}”? Confirm to leave it open.")

    def _record(self, typed: str, command: Enter | Confirm, t: float) -> Mended:
        place, found, done = self._told
        said = [word.strip() for word in typed.split(",", 2)]
        self._told = []
        part = PartFitted(**dict(zip(_PART_KEYS, said, strict=False))) if said[0] else None
        return Mended(
            t=t,
            step=self.step_id,
            place=place,
            found=found,
            done=done,
            part=part,
            who=command.who,
        )

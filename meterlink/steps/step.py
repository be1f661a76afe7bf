"""What every kind of step has: its entry in a card, and what it has come to.

A kind is a module: a Struct under ``StepBase`` that a card's file holds, a ``Worker`` that makes
events of readings and commands, and where it has events of its own, those and the ``StepState``
folded from them. ``meterlink.card`` lists the kinds.
"""

from typing import Annotated, ClassVar, Final, TypeVar

import msgspec

from meterlink.events import Entered, Evidence, Held, Judged, MeterSet, StepEvent, Zeroed
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile
from meterlink.wording import OUTCOME_WORDS

SKIPPED: Final = "skipped"
"""Outcome of a step that was left without one of its own."""
CANNOT_TELL: Final = "cannot-tell"
"""Outcome where resistance does not judge the part."""

StepId = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")]
Words = Annotated[str, msgspec.Meta(max_length=600)]


class StepCondition(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An earlier step had one of these outcomes."""

    step: StepId
    was: tuple[str, ...]


S = TypeVar("S", bound="StepState")


class StepState(msgspec.Struct, kw_only=True):
    """What one step has come to by the events of its own kind; most kinds have none."""

    def apply(self, event: StepEvent) -> None:
        """Fold one event."""

    def in_short(self, *, ohm_sign: bool) -> str:
        """Return in a few words what the events said; empty where they said nothing."""
        return ""

    def of(self, kind: type[S]) -> S:
        """Return itself as one of ``kind``, which it is.

        Raises:
            TypeError: it is of another kind.
        """
        if not isinstance(self, kind):
            raise TypeError(f"a {type(self).__name__} is no {kind.__name__}")
        return self


class Basis(msgspec.Struct, frozen=True):
    """What a verdict rests on, so that a correction can judge it again."""

    held: Held
    setting: MeterSet | None
    """What the meter was set to; None where it did not tell, or the value was typed."""


class StepResult(msgspec.Struct, kw_only=True):
    """What one step has said so far."""

    outcome: str = ""
    """Empty while the step is open."""
    reason: str = ""
    how: str = ""
    who: str = ""
    evidence: Evidence | None = None
    """As the end of the step had it."""
    mended: tuple[str, ...] = ()
    """Places that had been put right on this card when the step ended."""
    judged: dict[str, Judged] = msgspec.field(default_factory=dict)
    """The verdict that counts, by switch position; the position is empty for a winding."""
    basis: Basis | None = None
    """Of the verdict that counts, where the step has one only and it is no over range."""
    corrected_by: str = ""
    """The step whose correction makes it necessary to judge again: a lead zero, a temperature."""
    entered: Entered | None = None
    zeroed: Zeroed | None = None
    own: StepState = msgspec.field(default_factory=StepState)
    """What the events of the step's own kind come to."""

    @property
    def said(self) -> bool:
        """Whether the outcome is an open that rests on the technician's word alone."""
        # Records of earlier versions tell it by the verdict alone.
        return self.evidence is Evidence.SAID or any(
            judged.evidence is Evidence.SAID and judged.value is None
            for judged in self.judged.values()
        )


class StepBase(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind"
):
    """What every step says in a card's file, and what every kind tells of itself.

    Each kind has besides ``outcomes``, every outcome that it can end with, and ``worker``, which
    returns it at work. They have no default: a kind without them does not pass the type checker
    where ``meterlink.card`` and the bench use them.
    """

    id: StepId
    title: Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
    say: Words = ""
    """The instruction, one or two sentences."""
    check: str = ""
    """Name of the check in the fault table that this step's outcome feeds."""
    only_if: tuple[StepCondition, ...] = ()
    """All of these must hold, else the step is passed over."""

    answered: ClassVar[bool] = False
    """Whether a person answers it rather than the probes."""
    one_touch: ClassVar[bool] = False
    """Whether its verdict is all that it wants of the probes."""
    can_be_called_open: ClassVar[bool] = False
    """Whether the key that calls an open on somebody's word is shown at it."""

    @property
    def fault(self) -> str:
        """What is wrong with it though its shape is right, key first; empty where nothing is."""
        return ""

    @property
    def wants(self) -> tuple[str, str] | None:
        """Table and name of the entry of the profile that it is about; None: it is about none."""
        return None

    def points(self, profile: Profile) -> tuple[str, ...]:
        """Return the two points that the probes touch; none where it has none."""
        return ()

    def criterion(self, profile: Profile, position: str = "") -> Criterion | None:
        """Return what its value is judged by, a switch in ``position``; None where by nothing."""
        return None

    def outcome_words(self, outcome: str) -> str:
        """Return an outcome in words."""
        return OUTCOME_WORDS.get(outcome, outcome)

    def is_expected(self, outcome: str, profile: Profile | None) -> bool | None:
        """Return whether ``outcome`` is good; None where it says neither good nor bad.

        ``profile``: None where it is not known.
        """
        if outcome in ("", SKIPPED, CANNOT_TELL):
            return None
        return self.is_good(outcome, profile)

    def is_good(self, outcome: str, profile: Profile | None) -> bool | None:
        """Return the same for an outcome of its own kind; kinds override it."""
        return None

    def state(self) -> StepState:
        """Return what it has come to before anything happened."""
        return StepState()

    def tell(self, event: StepEvent, *, ohm_sign: bool) -> str:
        """Return an event of its own kind as one sentence."""
        return event.tell(ohm_sign=ohm_sign)

"""What a pair of hands can do, and what they do at each step of a card."""

from typing import Annotated, Final, Literal

import msgspec

from meterlink.quantities.units import Celsius, Ohms, Seconds


class Knowledge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Each True is a group of commands that the meter obeys; the rest is undefined to it."""

    only_measure: bool = False
    """It knows the one-command measurement, and neither CONFigure nor READ?."""
    configure: bool = True
    """CONFigure and its query."""
    settings: bool = True
    """[SENSe]: function, range and their queries."""
    integration: bool = True
    """NPLCycles."""
    four_wire: bool = True
    """FRESistance."""
    bursts: bool = True
    """SAMPle:COUNt above one."""
    errors: bool = True
    """SYSTem:ERRor?."""
    identity: str = ""
    """What it answers to ``*IDN?``; empty for the simulated bench's own."""


TipPlaces = tuple[str, str]
Tips = Literal["tips"]

VERBS: Final = (
    *("wait", "touch", "lift", "tap", "move", "fingers", "let_go", "flex", "warm", "say", "enter"),
)


class Act(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that hands do: exactly one verb, with what belongs to it."""

    wait: Seconds | None = None
    touch: TipPlaces | Tips | None = None
    """Red and black tip, each on a place; or the tips on one another."""
    until: Literal["held", "judged", "ended", "asked"] | None = None
    """With ``touch``: stay until the bench says so; held is what is meant where nothing is said.
    Judged stands for a lead zero that was taken, too."""
    lasting: Seconds | None = None
    """With ``touch``: stay for this long instead."""
    lift: Seconds | None = None
    """Take the tips off and keep them off for at least this long."""
    tap: Annotated[int, msgspec.Meta(ge=1, le=5)] | None = None
    """Tap the tips together so many times."""
    move: dict[str, str] | None = None
    """Put switches and fittings into positions, wherever the tips are."""
    fingers: Ohms | None = None
    """Fingers on both tips from now on, with this much body between them."""
    let_go: Literal[True] | None = None
    """Fingers off the tips again."""
    flex: Seconds | None = None
    """Move the stop wire about for so long."""
    warm: Celsius | None = None
    """From now on the windings go towards this temperature."""
    within: Seconds = Seconds(120.0)
    """With ``warm``: the time constant."""
    say: Literal["confirm", "deny", "redo", "skip", "back", "zero"] | None = None
    enter: str | None = None
    """A number with its unit, a text or a choice, as typed."""

    @property
    def verbs(self) -> list[str]:
        """The verbs that were given; one is right."""
        return [verb for verb in VERBS if getattr(self, verb) is not None]


class StepScript(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What hands do from the moment a step begins. ``do``, or one of the short forms."""

    do: tuple[Act, ...] = ()
    touch: TipPlaces | Tips | None = None
    """Short for: touch these until judged, then lift."""
    switch: str = ""
    """With ``touch``: stay on until the step ends, and put this switch wherever it is asked."""
    say: Literal["confirm", "deny", "redo", "skip", "back", "zero"] | None = None
    """Short for: think, then say so."""
    enter: str | None = None
    """Short for: think, then type so."""

    def acts(self) -> tuple[Act, ...]:
        """Return the acts, short forms written out."""
        if self.do:
            return self.do
        if self.touch is not None:
            until: Literal["judged", "ended"] = "ended" if self.switch else "judged"
            return (Act(touch=self.touch, until=until), Act(lift=Seconds(0.4)))
        if self.enter is not None:
            return (Act(enter=self.enter),)
        return (Act(say=self.say),) if self.say is not None else ()


class HandsScript(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A pair of hands: how quick, how patient, and what they do at each step."""

    think: Seconds = Seconds(0.8)
    """From a new step to the first move."""
    travel: Seconds = Seconds(0.7)
    """From one place to another."""
    notice: Seconds = Seconds(0.35)
    """From what the bench says to what the hands make of it."""
    patience: Seconds = Seconds(12.0)
    """How long they wait for the bench before they try again."""
    tries: Annotated[int, msgspec.Meta(ge=1, le=20)] = 3
    """How often they try a step before they skip it."""
    steps: dict[str, StepScript] = {}
    """By the step's id."""

"""The ledger: everything that was done on one engine, in order, with its minutes and parts."""

from collections.abc import Iterable, Mapping
from enum import Enum
from typing import TypeVar

import msgspec

from meterlink.finding.model import Model, Node
from meterlink.finding.outcomes import Outcome
from meterlink.training.flaws import Flaw
from meterlink.training.topics import Topic


class Safety(Enum):
    """Something that is done so that nobody gets hurt."""

    CAUTIONS = "read the cautions"
    MADE_SAFE = "ignition off, plug lead off the plug and earthed"
    AIRED = "plug hole closed, fuel off and the place aired"


class Entry(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind"):
    """One line of the ledger."""

    minutes: float = 0.0
    parts: float = 0.0
    """In the workshop's money."""


class Secured(Entry, frozen=True, kw_only=True, tag="secured"):
    """A safety step was done."""

    step: Safety


class Opened(Entry, frozen=True, kw_only=True, tag="opened"):
    """Work that opens the way to several checks, such as the shroud off."""

    setup: str


class Put(Entry, frozen=True, kw_only=True, tag="put"):
    """A switch, connector or fitting was put into a position."""

    control: str
    position: str


class HandsOn(Entry, frozen=True, kw_only=True):
    """Work on the engine, which some safety steps have to come before."""

    due: tuple[Topic, ...] = ()
    """Every safety step that it needs."""
    unsafe: tuple[Topic, ...] = ()
    """Those of them that had not been done."""


class Begun(HandsOn, frozen=True, kw_only=True, tag="begun"):
    """A check was begun; it costs its minutes whatever comes of it."""

    check: str
    closing: bool = False


class Touched(Entry, frozen=True, kw_only=True, tag="touched"):
    """A value was held, or an open was said, in a step of a check."""

    check: str
    step: str
    matters: frozenset[Topic]
    flaws: tuple[Flaw, ...] = ()


class Concluded(Entry, frozen=True, kw_only=True, tag="concluded"):
    """A check has its outcome."""

    check: str
    outcome: str
    with_care: str
    """What the same check shows when it is done with care."""
    matters: frozenset[Topic] = frozenset()
    """What a spark trial practises."""
    flaws: tuple[Flaw, ...] = ()
    """What was wrong with it."""


class Renewed(HandsOn, frozen=True, kw_only=True, tag="renewed"):
    """A place was put right to see whether that helps, without a fault being named."""

    place: str
    helped: bool


class Named(HandsOn, frozen=True, kw_only=True, tag="named"):
    """The fault was named, and its place put right."""

    place: str
    fault: str
    """Empty where only the place was named."""
    right: bool


class Hinted(Entry, frozen=True, kw_only=True, tag="hinted"):
    """The next best check was asked for."""

    check: str


class SignedOff(Entry, frozen=True, kw_only=True, tag="signed-off"):
    """The engine was given back."""


AnyEntry = (
    Secured | Opened | Put | Begun | Touched | Concluded | Renewed | Named | Hinted | SignedOff
)
Kind = TypeVar("Kind", bound=Entry)


class Ledger:
    """The lines so far, and what they add up to."""

    def __init__(self, lines: Iterable[AnyEntry] = ()) -> None:
        self.lines: list[AnyEntry] = list(lines)

    def add(self, entry: AnyEntry) -> None:
        """Write one more line."""
        self.lines.append(entry)

    def all(self, kind: type[Kind]) -> list[Kind]:
        """Return every line of a kind, oldest first."""
        return [entry for entry in self.lines if isinstance(entry, kind)]

    @property
    def minutes(self) -> float:
        """Minutes of workshop time so far."""
        return sum(entry.minutes for entry in self.lines)

    @property
    def parts(self) -> float:
        """Money for parts so far."""
        return sum(entry.parts for entry in self.lines)

    @property
    def search(self) -> "Ledger":
        """The lines before the last naming: what it took to find the fault, or not to."""
        at = [i for i, entry in enumerate(self.lines) if isinstance(entry, Named)]
        return Ledger(self.lines[: at[-1]] if at else self.lines)

    @property
    def outcomes(self) -> Mapping[str, str]:
        """What each check showed last, by check."""
        return {entry.check: entry.outcome for entry in self.all(Concluded)}

    def told(self, model: Model) -> dict[str, Outcome]:
        """Return what the outcomes so far tell of the engine as it came in.

        Those that close a job speak of what is put right by then, and so of nothing before.
        """
        return {
            check: outcome
            for check, outcome in self.outcomes.items()
            if not model.nodes[check].declared.closing
        }

    @property
    def checks(self) -> list[str]:
        """Every check begun, as often as it was; those that close a job aside."""
        return [entry.check for entry in self.all(Begun) if not entry.closing]

    def secured(self, step: Safety) -> bool:
        """Say whether a safety step was done."""
        return any(entry.step is step for entry in self.all(Secured))

    def opened(self) -> set[str]:
        """Return the setups that are done."""
        return {entry.setup for entry in self.all(Opened)}


def setups_due(node: Node, ledger: Ledger, model: Model) -> list[Opened]:
    """Return the setups that ``node`` still needs, as lines with their minutes."""
    done = ledger.opened()
    return [
        Opened(setup=name, minutes=model.table.setups[name].minutes)
        for name in node.declared.needs
        if name not in done
    ]

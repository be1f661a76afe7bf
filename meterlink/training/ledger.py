"""The ledger: everything that was done on one engine, what it cost, and what it repaired.

Each line says what it practised, and what was missed: the rows of a trainee's table are topics.
"""

from collections.abc import Iterable, Mapping
from enum import Enum
from typing import Final, Self, TypeVar

import msgspec

from meterlink.circuit.faults import Patient
from meterlink.finding.model import Model, Node
from meterlink.finding.outcomes import Outcome, record
from meterlink.finding.posterior import posterior
from meterlink.finding.shape import UNSAID
from meterlink.training.case import Case


class Topic(Enum):
    """Something to be learned, and missed. The value is the word in files."""

    title: str
    """The topic in words."""

    def __new__(cls, word: str, title: str) -> Self:
        topic = object.__new__(cls)
        topic._value_ = word
        topic.title = title
        return topic

    CAUTIONS = "cautions", "reading the cautions first"
    MADE_SAFE = "made-safe", "ignition off, plug lead off and earthed"
    VAPOUR = "vapour", "no spark near open fuel"
    WIRE_BACK = "stop-wire-back", "stop wire back on before the engine starts"
    STOP_CHECK = "stop-check", "stop check before sign-off"
    PLACES = "places", "probes on the right places"
    BARE_METAL = "bare-metal", "probes on bare metal"
    FINGERS = "fingers", "fingers off the tips"
    STOP_WIRE = "stop-wire-off", "stop wire off or on, as the check wants it"
    POSITIONS = "switch-positions", "switches in the right position"
    CONNECTORS = "other-switches-off", "other switches unplugged"
    CLIP_LEAD = "clip-lead", "clip lead on where a check wants it, and off again"
    LEAD_OFF = "plug-lead-off", "plug lead off the plug before measuring"
    RANGE = "range", "the meter's range"
    LEAD_ZERO = "lead-zero", "lead zero before low resistances"
    TOUCHING = "tips-on", "no open called with the probes in the air"
    MOVING = "wire-moved", "wire moved while it is watched"
    WARMING = "winding-warmed", "winding warmed while it is logged"
    FAULT = "fault-found", "naming the fault"
    PARTS = "parts", "no good part renewed"
    CHECKS = "checks", "checks that tell"
    TIME = "time", "time"


SAFETY_TOPICS: Final = (
    Topic.CAUTIONS,
    Topic.MADE_SAFE,
    Topic.VAPOUR,
    Topic.WIRE_BACK,
    Topic.STOP_CHECK,
)
"""The steps that keep people from being hurt, in their order."""

SKIPPED: Final = {
    Topic.CAUTIONS: "You went to work before the cautions were read.",
    Topic.MADE_SAFE: "You went to work with the ignition live: switch off, take the plug lead off "
    "and earth it first.",
    Topic.VAPOUR: "You made a spark before plug hole and fuel were closed and the place aired: a "
    "spark lights vapour.",
    Topic.WIRE_BACK: "You ran the engine with its stop circuit apart: nothing would have stopped "
    "it.",
    Topic.STOP_CHECK: "The engine was not seen to stop after the work: none is given back before "
    "that.",
}
"""What there is to say of each of them that was skipped."""


class Flaw(msgspec.Struct, frozen=True):
    """One thing that was wrong with a touch or a trial."""

    topic: Topic
    say: str
    """As part of a sentence: “the stop wire was on its tab”."""


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


class Tally(msgspec.Struct, frozen=True):
    """How often a topic came up, and how often it was missed."""

    practised: int
    missed: int


def support(model: Model, ledger: Ledger) -> dict[str, float]:
    """Return how probable each place is after what was seen."""
    shares = model.by_place(posterior(model, record(model, ledger.told(model)).evidence))
    return dict(zip(model.places, map(float, shares), strict=True))


def reasoned(case: Case, ledger: Ledger) -> float:
    """Return how far the name rests on what was seen, from 0 for none to 1 for all there is.

    That is how probable the place was then, beside how probable the advice could have made it.
    """
    named = ledger.all(Named)
    if not named:
        return 0.0
    return min(1.0, support(case.model, ledger.search)[named[-1].place] / case.walk.probability)


def needless(case: Case, ledger: Ledger) -> list[str]:
    """Return the places whose good part was renewed, as often as it was."""
    mends = [e for e in ledger.lines if isinstance(e, Renewed | Named)]
    return [e.place for e in mends if e.place not in case.places and mend_of(e.place).parts > 0]


def misled(ledger: Ledger) -> list[Concluded]:
    """Return the checks that showed something else than with care, before anything was mended."""
    found = []
    for entry in ledger.lines:
        if isinstance(entry, Named | Renewed):
            break
        if isinstance(entry, Concluded) and entry.outcome not in (entry.with_care, *UNSAID):
            found.append(entry)
    return found


def skipped(ledger: Ledger) -> list[Topic]:
    """Return the safety steps that were needed and not done."""
    missed = {topic for work in ledger.all(HandsOn) for topic in work.unsafe}
    if not stop_checked(ledger):
        missed.add(Topic.STOP_CHECK)
    return [topic for topic in SAFETY_TOPICS if topic in missed]


def stop_checked(ledger: Ledger) -> bool:
    """Return whether the engine was seen to stop after the last thing that was put right."""
    for entry in reversed(ledger.lines):
        if isinstance(entry, Named | Renewed):
            return False
        if isinstance(entry, Concluded) and entry.check == "stop-check":
            return entry.outcome == "stops"
    return False


def topics_of(case: Case, ledger: Ledger) -> dict[str, Tally]:
    """Return what came up and what was missed, by the topic's word in files."""
    seen: dict[Topic, list[bool]] = {}

    def saw(topic: Topic, missed: bool) -> None:
        seen.setdefault(topic, []).append(missed)

    missing = skipped(ledger)
    for topic in dict.fromkeys(topic for work in ledger.all(HandsOn) for topic in work.due):
        saw(topic, topic in missing)
    saw(Topic.STOP_CHECK, Topic.STOP_CHECK in missing)
    touches: list[Touched | Concluded] = [*ledger.all(Touched), *ledger.all(Concluded)]
    for touch in touches:
        flawed = {flaw.topic for flaw in touch.flaws}
        for topic in sorted(touch.matters | flawed, key=lambda topic: topic.value):
            saw(topic, topic in flawed)
    named = ledger.all(Named)
    saw(Topic.FAULT, not (named and named[-1].right))
    saw(Topic.PARTS, bool(needless(case, ledger)))
    saw(Topic.CHECKS, len(ledger.search.checks) > 1.5 * max(1, len(case.walk.checks)))
    return {
        topic.value: Tally(len(seen[topic]), sum(seen[topic])) for topic in Topic if topic in seen
    }


class Mend(msgspec.Struct, frozen=True):
    """What it takes to put a place right."""

    minutes: float
    parts: float
    """In the workshop's money; 0 where cleaning or setting does it."""


_SWITCH: Final = Mend(10, 10)
_MENDS: Final = {
    "armature": Mend(20, 60),
    "plug lead or cap": Mend(10, 12),
    "stop wire": Mend(15, 6),
    "earth": Mend(10, 0),
    "magnets": Mend(20, 90),
    "flywheel key": Mend(20, 3),
    "air gap": Mend(8, 0),
    "plug": Mend(3, 5),
    "outside the ignition": Mend(0, 0),
}


def mend_of(place: str) -> Mend:
    """Return what it takes to put ``place`` right; every switch takes the same."""
    return _MENDS.get(place, _SWITCH)


def mended(patient: Patient, place: str, model: Model) -> Patient:
    """Return ``patient`` with ``place`` put right, whatever else is wrong with it."""
    parts = [suspect.part for suspect in model.suspects if suspect.place == place]
    return patient.put_right(parts[0] or place)

"""The coil profile: windows and data of one ignition armature or family.

Every value has a ``source``: the page of the service manual it was typed from, common practice,
or parts known to be good that were measured. Resistances are in ohms at ``at``.
"""

from collections.abc import Iterable
from typing import Annotated, ClassVar, Final, Literal, Protocol, TypeVar

import msgspec

from meterlink.declared import decode
from meterlink.errors import InvalidFileError, NotationError
from meterlink.judging.assumed import NOTHING_SAID, Assumed
from meterlink.judging.correction import require_sensible
from meterlink.judging.criterion import Criterion, Rule
from meterlink.quantities.units import Celsius, Metres, NewtonMetres, Ohms
from meterlink.quantities.window import Window

FORMAT: Final = 1

Name = Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
SourceText = Annotated[str, msgspec.Meta(min_length=3, max_length=400)]
Points = tuple[Name, Name]


class _Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every entry of a profile says."""

    source: SourceText
    """Where the values come from."""


class Winding(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A winding and the window of its resistance."""

    name: Name
    between: Points
    """The two points that the probes touch."""
    low: Ohms | None = None
    high: Ohms | None = None
    """The window at ``at``, both ends included; none where resistance does not judge it."""
    at: Celsius = Celsius(20.0)
    """Reference temperature of the window."""
    temperature: Literal["ambient", "thermocouple", "unknown"] = "ambient"
    """How its temperature is expected to be had: it has taken on that of the room; a thermocouple
    lies on it; or nobody can take it, and the wider uncertainty stands whatever was entered."""
    four_wire: bool = False
    """So low that four wires are worth having: asked for where the meter can, clips on."""
    open_above: Ohms | None = None
    """A value above this counts as open, after leads, series resistance and temperature are taken
    off like from every value: fingers across the tips of an open read as megohms, not as over
    range."""
    short_below: Ohms | None = None
    """A value below this counts as short, after the same corrections."""
    series: Ohms = Ohms(0.0)
    """Resistance in series that is no winding: a suppressor cap, a resistive lead."""
    series_tolerance: Annotated[float, msgspec.Meta(ge=0, le=100)] = 0.0
    """Percent of ``series``, taken as a rectangular half-width."""
    judged_by_resistance: bool = True
    """False for electronic modules, whose resistance tells nothing."""
    why_not: str = ""
    """Why resistance does not judge it, as the card will say."""

    @property
    def criterion(self) -> Criterion:
        """What a value of it is judged by; it needs its window for that."""
        return Criterion.winding(
            Window(self.low, self.high),
            reference=self.at,
            open_above=self.open_above,
            short_below=self.short_below,
            series=self.series,
            series_tolerance=self.series_tolerance,
            takes_temperature=self.temperature != "unknown",
        )


class Switch(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A switch of the stop circuit, with the state that each position should give."""

    name: Name
    kind: Literal["stop", "brake", "throttle", "key", "low-oil", "seat", "interlock"] = "stop"
    between: Points
    positions: dict[Name, Literal["closed", "open"]]
    """What the path between the two points should be in each position."""
    closed_at_most: Ohms = Ohms(2.0)
    open_at_least: Ohms = Ohms(1e6)

    def criterion(self, *, closed: bool) -> Criterion:
        """Return what a position that should be closed, or should be open, is judged by."""
        if closed:
            return Criterion.closed(self.closed_at_most, open_above=self.open_at_least)
        return Criterion.open(self.open_at_least)

    def criterion_in(self, position: str) -> Criterion:
        """Return what ``position`` is judged by; one that it does not have, as if closed.

        The closed state is the one that has a value.
        """
        return self.criterion(closed=self.positions.get(position, "closed") == "closed")


class Insulation(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A path that should not conduct."""

    name: Name
    between: Points
    at_least: Ohms

    @property
    def criterion(self) -> Criterion:
        """What a value of it is judged by."""
        return Criterion.open(self.at_least)


class Lead(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A plug lead or cap measured by itself."""

    name: Name
    between: Points
    low: Ohms
    high: Ohms

    @property
    def criterion(self) -> Criterion:
        """What a value of it is judged by."""
        return Criterion.part(Window(self.low, self.high))


class GapSetting(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A distance set by a gauge."""

    name: Name
    low: Metres
    high: Metres

    unit: ClassVar = "metre"


class Torque(_Part, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A fastener and its torque."""

    name: Name
    low: NewtonMetres
    high: NewtonMetres

    unit: ClassVar = "newton-metre"


class Profile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything a work card needs to know of one armature and its engine."""

    format: Literal[1]
    id: Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]
    """What ``--profile`` takes."""
    name: Name
    about: str = ""
    winding: tuple[Winding, ...] = ()
    switch: tuple[Switch, ...] = ()
    insulation: tuple[Insulation, ...] = ()
    lead: tuple[Lead, ...] = ()
    gap: tuple[GapSetting, ...] = ()
    torque: tuple[Torque, ...] = ()
    assumed: Assumed = NOTHING_SAID
    """What stands in for facts that nobody declares, where this engine's leads or places differ."""
    rule: Rule | None = None
    """By which its parts are accepted or rejected; None: as the settings say, else simple."""

    def criterion(self, name: str) -> Criterion | None:
        """Return what the entry ``name`` is judged by; None where there is none to measure."""
        parts: tuple[Winding | Lead | Insulation, ...] = (
            *self.winding,
            *self.lead,
            *self.insulation,
        )
        for part in parts:
            if part.name == name:
                return part.criterion
        for switch in self.switch:
            if switch.name == name:
                return switch.criterion(closed=True)
        return None

    def lacks(self, kind: str, name: str) -> bool:
        """Return whether the table ``kind`` has no entry ``name``."""
        return all(part.name != name for part in getattr(self, kind))


class _Named(Protocol):
    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=_Named)


def named(parts: Iterable[N], name: str) -> N:
    """Return the entry of a table of the profile that is called ``name``.

    Raises:
        KeyError: there is none.
    """
    for part in parts:
        if part.name == name:
            return part
    raise KeyError(name)


KINDS: Final = ("winding", "switch", "insulation", "lead", "gap", "torque")
"""The tables of a profile, each a list of parts with a name of its own."""


def read_profile(data: bytes, name: str) -> Profile:
    """Return the profile in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: one plain sentence with file, key and what was expected.
    """
    profile = decode(data, Profile, name)
    for fault in _faults(profile):
        raise InvalidFileError(f"{name}: {fault}")
    return profile


_NEVER_NEGATIVE: Final = (
    *("low", "high", "open_above", "short_below", "series"),
    *("closed_at_most", "open_at_least", "at_least"),
)


def _faults(profile: Profile) -> list[str]:
    """Return what is wrong with ``profile`` though its shape is right."""
    faults: list[str] = []
    for kind in KINDS:
        seen: set[str] = set()
        for index, part in enumerate(getattr(profile, kind)):
            key = f"{kind}[{index}]"
            if part.name in seen:
                faults.append(f"{key}.name: “{part.name}” is there twice; give each its own name")
            seen.add(part.name)
            low, high = getattr(part, "low", None), getattr(part, "high", None)
            if low is not None and high is not None and low > high:
                faults.append(f"{key}: low {low:g} is above high {high:g}; swap them")
            faults += [
                f"{key}.{name}: {value:g} is below zero; expected zero or more"
                for name in _NEVER_NEGATIVE
                if (value := getattr(part, name, None)) is not None and value < 0
            ]
    for index, winding in enumerate(profile.winding):
        faults += [f"winding[{index}]{fault}" for fault in _winding_faults(winding)]
    for index, switch in enumerate(profile.switch):
        faults += [f"switch[{index}]{fault}" for fault in _switch_faults(switch)]
    if not (profile.winding or profile.switch):
        faults.append("there is neither a [[winding]] nor a [[switch]]; a profile needs one")
    return faults


def _winding_faults(winding: Winding) -> list[str]:
    low, high = winding.low, winding.high
    if not winding.judged_by_resistance:
        return [] if winding.why_not else [".why_not: say why resistance does not judge it"]
    if low is None or high is None:
        return [": needs low and high, or judged_by_resistance = false"]
    faults = []
    try:
        require_sensible(winding.at)
    except NotationError as fault:
        faults.append(f".at: {fault}")
    if winding.short_below is not None and winding.short_below > low:
        faults.append(f".short_below: {winding.short_below:g} ohm is inside or above limits")
    if winding.open_above is not None and winding.open_above < high:
        faults.append(f".open_above: {winding.open_above:g} ohm is inside or below limits")
    return faults


def _switch_faults(switch: Switch) -> list[str]:
    faults = []
    if set(switch.positions.values()) != {"closed", "open"}:
        faults.append(".positions: needs at least one “closed” and one “open” position")
    if switch.closed_at_most >= switch.open_at_least:
        faults.append(".closed_at_most: must be below open_at_least")
    return faults

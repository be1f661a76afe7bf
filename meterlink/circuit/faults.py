"""Faults, each as other values in a sound engine.

A fault is drawn: how many turns, how many ohms, cold or only hot. The same generator gives the same
engine. How the draws are spread is a judgement of the authors, after the fault table's own.
"""

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from typing import Final

import msgspec
from msgspec.structs import replace
from numpy.random import Generator

from meterlink.circuit.engine import Engine, EngineSwitch, EngineWinding
from meterlink.errors import UsageError
from meterlink.quantities.text import plain
from meterlink.quantities.units import Celsius, Ohms

HOT_C: Final = 110.0
"""Windings of an engine that has just died of the heat."""
WONT_STOP: Final = "wont-stop"
DIES_HOT: Final = "dies-hot"


class Patient(msgspec.Struct, frozen=True, kw_only=True):
    """An engine with one fault or more, as it lies cold on the bench and as it is when hot."""

    faults: tuple[str, ...]
    """Those that it came in with."""
    complaint: str
    sound: Engine
    """The same engine without a fault."""
    cold: Engine
    hot: Engine

    @property
    def fault(self) -> str:
        """The fault, or the first of several."""
        return self.faults[0]

    @property
    def ailing(self) -> Engine:
        """The engine in the state that the complaint is about."""
        return self.hot if self.complaint == DIES_HOT else self.cold

    def put_right(self, part: str) -> "Patient":
        """Return the same with one of ``PARTS``, or a switch by its name in the table, as new."""
        return msgspec.structs.replace(
            self,
            cold=put_right(self.cold, self.sound, part),
            hot=put_right(self.hot, self.sound, part),
        )


_LEAD: Final = ("lead", "cap", "unseen.lead_jump_kv", "unseen.lead_holds_kv")
_GAP: Final = ("unseen.gap_mm",)
PARTS: Final[Mapping[str, tuple[str, ...]]] = {
    "armature": (
        *("primary", "secondary", "module", "case_leak"),
        *("unseen.electronics", "unseen.jump_kv", "unseen.holds_kv"),
        *_LEAD,
        *_GAP,
    ),
    "plug lead or cap": _LEAD,
    "stop wire": ("stop_wire",),
    "earth": ("armature_earth",),
    "magnets": ("unseen.pull", "unseen.cracks"),
    "flywheel key": ("unseen.flywheel_key",),
    "air gap": _GAP,
    "plug": ("unseen.plug", "plug_leak"),
    "outside the ignition": ("unseen.elsewhere",),
}
"""What of an engine is as new once a part was put right. A new armature brings its lead, and to
fit it sets the gap; with the earth go the earths of the switches."""


def put_right(engine: Engine, sound: Engine, part: str) -> Engine:
    """Return ``engine`` with ``part`` as it is in ``sound``; a switch by its name in the table.

    Raises:
        KeyError: there is no such part.
    """
    if part in {slug(switch.name) for switch in engine.switch}:
        pairs = zip(engine.switch, sound.switch, strict=True)
        mended = (
            replace(good, earth=bad.earth) if slug(bad.name) == part else bad for bad, good in pairs
        )
        return replace(engine, switch=tuple(mended))
    facts = PARTS[part]
    own = {fact: getattr(sound, fact) for fact in facts if "." not in fact}
    hidden = [fact.partition(".")[2] for fact in facts if "." in fact]
    unseen = replace(engine.unseen, **{fact: getattr(sound.unseen, fact) for fact in hidden})
    if part == "earth":
        pairs = zip(engine.switch, sound.switch, strict=True)
        own["switch"] = tuple(replace(bad, earth=good.earth) for bad, good in pairs)
    return replace(engine, unseen=unseen, **own)


class DrawContext:
    """What a fault is drawn for: the engine, the complaint, and where the chances come from."""

    def __init__(self, engine: Engine, complaint: str, rng: Generator) -> None:
        self.engine = engine
        self.only_hot = complaint == DIES_HOT
        self.wont_stop = complaint == WONT_STOP
        self._rng = rng

    def chance(self, share: float) -> bool:
        """Return True in this share of the cases."""
        return bool(self._rng.random() < share)

    def between(self, low: float, high: float) -> float:
        """Return a value between two, the same in every part."""
        return float(self._rng.uniform(low, high))

    def decades(self, low: float, high: float) -> Ohms:
        """Return a resistance between two, the same in every decade."""
        return Ohms(low * (high / low) ** self._rng.random())

    def unseen(self, **changes: object) -> Engine:
        """Return the engine with other facts that no meter sees."""
        return replace(self.engine, unseen=replace(self.engine.unseen, **changes))


Both = tuple[Engine, Engine]
"""Cold and hot."""
Draw = Callable[[DrawContext], Both]


def _always(engine: Engine) -> Both:
    return engine, engine


def _open_primary(case: DrawContext) -> Both:
    primary = case.engine.primary
    if case.only_hot:
        # Cold, a poor joint may read high already.
        ohms = case.decades(1.3, 4) if case.chance(0.1) else primary.ohms
        opens = replace(primary, ohms=ohms, opens_above=Celsius(case.between(60, 95)))
        return _always(replace(case.engine, primary=opens))
    # A joint that hangs on by corrosion carries a meter's current and little more.
    hangs = case.chance(0.06)
    broken = replace(primary, ohms=case.decades(12, 60) if hangs else None)
    return _always(replace(case.engine, primary=broken))


def _shorted(winding: EngineWinding, share: float) -> EngineWinding:
    return replace(winding, shorted=max(winding.shorted, share))


def _shorted_primary(case: DrawContext) -> Both:
    whole = case.engine.primary
    hot = replace(case.engine, primary=_shorted(whole, case.between(0.74, 0.99)))
    if not case.only_hot:
        return _always(hot)
    # Cold, so few turns that the engine still runs.
    share = case.between(0.01, 0.04) if case.chance(0.3) else 0.0
    return replace(case.engine, primary=_shorted(whole, share)), hot


def _shorted_turns(case: DrawContext) -> Both:
    which = "secondary" if case.chance(0.75) else "primary"
    share = float(case.decades(0.05, 0.45))
    hot = replace(case.engine, **{which: _shorted(getattr(case.engine, which), share)})
    return (case.engine, hot) if case.only_hot else _always(hot)


def _open_secondary(case: DrawContext) -> Both:
    secondary = case.engine.secondary
    torn = case.unseen(jump_kv=case.between(10.5, 30))
    if case.only_hot:
        if case.chance(0.3):
            return (
                replace(case.engine, secondary=replace(secondary, ohms=case.decades(9e3, 1e5))),
                replace(torn, secondary=replace(secondary, ohms=None)),
            )
        opens = replace(secondary, opens_above=Celsius(case.between(60, 95)))
        return replace(case.engine, secondary=opens), replace(torn, secondary=opens)
    # The break may be bridged by carbon, which reads high.
    ohms = case.decades(1.2e4, 1.5e5) if case.chance(0.1) else None
    return _always(replace(torn, secondary=replace(secondary, ohms=ohms)))


def _leaking_insulation(case: DrawContext) -> Both:
    hot = case.unseen(holds_kv=case.between(1.5, 7.0))
    if case.chance(0.45):
        hot = replace(hot, case_leak=case.decades(2e4, 9e5))
    if case.chance(0.12):
        hot = replace(hot, secondary=replace(hot.secondary, leak=case.decades(6e3, 2e4)))
    if not case.only_hot:
        return _always(hot)
    return replace(hot, unseen=case.engine.unseen), hot


def _module_faulty(case: DrawContext) -> Both:
    if case.wont_stop:
        return _always(case.unseen(electronics="stop-dead"))
    dead = case.unseen(electronics="dead")
    return (case.engine, dead) if case.only_hot else _always(dead)


def _bad_lead_or_cap(case: DrawContext) -> Both:
    if case.chance(0.12):  # it leaks outwards, and reads as it should
        hot = case.unseen(lead_holds_kv=case.between(2, 7))
    else:
        hot = case.unseen(lead_jump_kv=case.between(10.5, 25))
        way = case.between(0, 1)
        if way < 0.45:
            hot = replace(hot, lead=None)
        elif way < 0.65:
            hot = replace(hot, cap=None)
        else:
            hot = replace(hot, cap=case.decades(3e4, 5e5))
    if case.only_hot and case.chance(0.4):
        return case.engine, hot
    return _always(hot)


def _chafed_wire(case: DrawContext) -> Both:
    wire = case.engine.stop_wire
    if case.wont_stop:  # the strands are worn through, and the bare end hangs clear
        for_good = case.chance(0.5) or wire.broken == "yes"
        parted = replace(wire, broken="yes" if for_good else "moved")
        return _always(replace(case.engine, stop_wire=parted))
    bare = replace(wire, chafe=case.decades(0.05, 3), chafes="moved")
    lies_on = replace(bare, chafes="always" if case.chance(0.4) else "moved")
    hot = replace(case.engine, stop_wire=lies_on)
    return (replace(case.engine, stop_wire=bare), hot) if case.only_hot else _always(hot)


def _broken_wire(case: DrawContext) -> Both:
    return _always(replace(case.engine, stop_wire=replace(case.engine.stop_wire, broken="yes")))


def _poor_earth(case: DrawContext) -> Both:
    if case.wont_stop:
        rust = case.decades(400, 1e5)
        poor = tuple(replace(switch, earth=rust) for switch in case.engine.switch)
        return _always(replace(case.engine, switch=poor))
    hot = replace(case.engine, armature_earth=case.decades(150, 1e6))
    if not case.only_hot:
        return _always(hot)
    return replace(case.engine, armature_earth=case.decades(1.2, 3.5)), hot


def _magnet(case: DrawContext) -> Both:
    if case.chance(0.2):
        return _always(case.unseen(cracks=_crack(case)))
    return _always(case.unseen(pull="weak", cracks=_crack(case) if case.chance(0.4) else "none"))


def _crack(case: DrawContext) -> str:
    return "face" if case.chance(0.6) else "seat"


def _key(case: DrawContext) -> Both:
    return _always(case.unseen(flywheel_key="missing" if case.chance(0.15) else "sheared"))


def _gap(case: DrawContext) -> Both:
    narrow = case.chance(0.25)
    hot = case.unseen(gap_mm=case.between(0, 0.08) if narrow else case.between(0.75, 1.6))
    if not case.only_hot:
        return _always(hot)
    # Out already when cold, and it still sparks: heat and shaking bring it to where it does not.
    return case.unseen(gap_mm=case.between(0.11, 0.2) if narrow else case.between(0.42, 0.68)), hot


def _plug(case: DrawContext) -> Both:
    kinds = ("fouled", "fouled", "fouled", "cracked", "gap-wrong")
    kind = kinds[int(case.between(0, len(kinds)))]
    leak = case.decades(1e4, 1e6) if kind == "fouled" else None
    return _always(replace(case.unseen(plug=kind), plug_leak=leak))


def _elsewhere(case: DrawContext) -> Both:
    return _always(case.unseen(elsewhere="glows" if case.wont_stop else "starves"))


_SINGLE: Final[Mapping[str, Draw]] = {
    "open-primary": _open_primary,
    "shorted-primary": _shorted_primary,
    "shorted-turns": _shorted_turns,
    "open-secondary": _open_secondary,
    "leaking-insulation": _leaking_insulation,
    "module-faulty": _module_faulty,
    "bad-lead-or-cap": _bad_lead_or_cap,
    "stop-wire-chafed": _chafed_wire,
    "stop-wire-broken": _broken_wire,
    "poor-earth": _poor_earth,
    "weak-or-cracked-magnet": _magnet,
    "key-sheared-or-missing": _key,
    "wrong-air-gap": _gap,
    "plug-bad": _plug,
    "none": _elsewhere,
}


def slug(switch: str) -> str:
    """Return the name that the fault table has for a switch: ``stop-switch``."""
    return switch.replace(" ", "-")


def fault_names(engine: Engine) -> tuple[str, ...]:
    """Return every fault that ``engine`` can be given, in the fault table's names."""
    switches = [slug(switch.name) for switch in engine.switch]
    return (
        *_SINGLE,
        *(f"{name}-stuck-closed" for name in switches),
        *(f"{name}-never-closes" for name in switches),
    )


def afflict(engine: Engine, faults: str | Sequence[str], complaint: str, rng: Generator) -> Patient:
    """Return ``engine``, which is sound, with a fault or several, each such that it complains.

    Raises:
        UsageError: there is no such fault of this engine.
    """
    names = (faults,) if isinstance(faults, str) else tuple(faults)
    cold = hot = engine
    for fault in names:
        if fault not in fault_names(engine):
            known = ", ".join(fault_names(engine))
            raise UsageError(f"there is no fault “{plain(fault)}” of this engine; there is {known}")
        # The same draw twice: on the engine as it is cold so far, and as it is hot.
        again = deepcopy(rng)
        cold, _ = _drawn(DrawContext(cold, complaint, rng), fault)
        _, hot = _drawn(DrawContext(hot, complaint, again), fault)
    return Patient(faults=names, complaint=complaint, sound=engine, cold=cold, hot=hot)


def _drawn(case: DrawContext, fault: str) -> Both:
    draw = _SINGLE.get(fault)
    return _switch_fault(case, fault) if draw is None else draw(case)


def _switch_fault(case: DrawContext, fault: str) -> Both:
    stuck = fault.endswith("-stuck-closed")

    def wrong(switch: EngineSwitch) -> EngineSwitch:
        if stuck:
            return replace(switch, open=case.decades(0.03, 1.5))
        return replace(switch, closes=False)

    name = fault.removesuffix("-stuck-closed").removesuffix("-never-closes")
    bad = tuple(wrong(s) if slug(s.name) == name else s for s in case.engine.switch)
    hot = replace(case.engine, switch=bad)
    return (case.engine, hot) if case.only_hot and case.chance(0.4) else _always(hot)

"""Every check of the fault table, done with care on a virtual engine of which the fault is known.

So a way of searching can be tried to its end, and a trainee's search be set beside it. What a meter
finds is found cold, stop wire and plug lead off, tips on bare metal, leads taken off; the verdicts
are those of the profile's criteria.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from math import isinf
from typing import Final

import msgspec
from msgspec.structs import replace

from meterlink.circuit.engine import (
    CLIP_LEAD,
    CLIP_OFF,
    EARTH_BRIDGED,
    TERMINAL_EARTHED,
    Engine,
    EngineCondition,
    EngineSwitch,
    connector,
)
from meterlink.circuit.faults import DIES_HOT, HOT_C, Patient, slug
from meterlink.circuit.spark import at_run, runs_on, sparks, starts, stopping
from meterlink.circuit.wiring import (
    BLOCK,
    CASE,
    INSULATION_OHM,
    LAMINATIONS,
    LEAD_SOCKET,
    PLUG_LEAD,
    POOR_EARTH_OHM,
    STOP_WIRE,
    resistance_between,
)
from meterlink.errors import UsageError
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile
from meterlink.profile import Switch as SwitchEntry
from meterlink.quantities.text import plain
from meterlink.quantities.window import Window

CANNOT_TELL: Final = "cannot-tell"
ON_THE_BENCH: Final = EngineCondition(controls={"stop wire": "off", "plug lead": "off"})


def _winding(engine: Engine, profile: Profile, name: str) -> str:
    """Return the verdict code of a winding; ``cannot-tell`` where resistance does not judge it."""
    for entry in profile.winding:
        if entry.name == name and entry.judged_by_resistance:
            return _verdict(entry.criterion, _ohms(engine, *entry.between))
    return CANNOT_TELL


def _lead(engine: Engine, sound: Engine, profile: Profile) -> str:
    """Return the verdict code of lead and cap, end to end."""
    read = _ohms(engine, PLUG_LEAD, LEAD_SOCKET)
    for entry in profile.lead:
        if PLUG_LEAD in entry.between:
            return _verdict(entry.criterion, read)
    usual = _ohms(sound, PLUG_LEAD, LEAD_SOCKET)
    return _verdict(Criterion.part(Window(0.5 * usual, 1.5 * usual + 2.0)), read)


def _insulation(engine: Engine, profile: Profile) -> str:
    """Return ``passed`` or ``leaks``."""
    for entry in profile.insulation:
        if _verdict(entry.criterion, _ohms(engine, *entry.between)) != "open":
            return "leaks"
    return "passed" if _ohms(engine, CASE, LAMINATIONS) >= INSULATION_OHM else "leaks"


def _switch(engine: Engine, part: EngineSwitch, profile: Profile) -> str:
    """Return ``passed``, ``stuck-closed`` or ``never-closes``; the other switches are unplugged."""
    alone = replace(engine, switch=tuple(s for s in engine.switch if s.name == part.name))
    entry = next((e for e in profile.switch if e.name == part.name), None) or SwitchEntry(
        name=part.name,
        between=(STOP_WIRE, BLOCK),
        positions=part.positions,
        source="common practice, no published source",
    )
    outcome = "passed"
    for position, state in entry.positions.items():
        there = ON_THE_BENCH.move(part.name, position, alone)
        criterion = entry.criterion(closed=state == "closed")
        read = _ohms(alone, *entry.between, there)
        if _verdict(criterion, read) != criterion.good.value:
            outcome = "never-closes" if state == "closed" else "stuck-closed"
    return outcome


def _watch(engine: Engine) -> str:
    """Return whether the stop wire drops out or touches metal while it is moved: some or none."""
    away = ON_THE_BENCH
    for part in engine.switch:
        away = away.move(part.name, part.at("open"), engine)
    moments = (away, replace(away, chafing=True))
    ends = (STOP_WIRE, f"{engine.switch[0].name} terminal") if engine.switch else None
    parted = ends is not None and any(isinf(_ohms(engine, *ends, now)) for now in moments)
    # The switches' own paths to the block are no fault of the wire: look at it without them.
    bare = replace(engine, switch=())
    touched = any(not isinf(_ohms(bare, STOP_WIRE, BLOCK, now)) for now in moments)
    return "some" if parted or touched else "none"


def _earth(engine: Engine) -> str:
    """Return ``good`` or ``poor``, laminations to block and block to the earth of the switches."""
    ways = [(LAMINATIONS, BLOCK), *((BLOCK, f"{s.name} earth terminal") for s in engine.switch)]
    return "poor" if any(_ohms(engine, *way) > POOR_EARTH_OHM for way in ways) else "good"


def _soak(engine: Engine) -> str:
    """Return ``opens-hot`` where a winding that conducts cold is open when hot, else ``steady``."""
    hot = replace(ON_THE_BENCH, winding_c=HOT_C)
    for name in ("primary", "secondary"):
        start = {"primary": "primary terminal", "secondary": LEAD_SOCKET}[name]
        if not isinf(_ohms(engine, start, LAMINATIONS)) and isinf(
            _ohms(engine, start, LAMINATIONS, hot)
        ):
            return "opens-hot"
    return "steady"


def _ohms(engine: Engine, red: str, black: str, condition: EngineCondition = ON_THE_BENCH) -> float:
    return resistance_between(engine, condition, red, black)


def _verdict(criterion: Criterion, ohms: float) -> str:
    less = ohms - criterion.series
    return criterion.verdict(less).value


GAP_MM: Final = (0.25, 0.36)
"""Where the profile has no gap; invented for practice."""


class Trial(msgspec.Struct, frozen=True, kw_only=True):
    """A look for the spark: the engine turned over with a test gap on its plug lead."""

    engine: Engine
    """As it is turned over: the one that came in, or with something put right."""
    controls: Mapping[str, str]
    """Where switches, connectors and fittings have to be for it."""
    stopping: bool = False
    """Each stop switch is put to stop in turn; else all stay at run."""
    undone: bool = False
    """What was put right is undone again, to see the spark go."""


class Workshop:
    """One virtual engine, and what each check on it shows."""

    def __init__(self, patient: Patient, profile: Profile) -> None:
        """Take ``patient`` in, to be judged by ``profile``."""
        self.patient = patient
        self._profile = profile
        cold = patient.cold
        self.trials: Mapping[str, Trial] = dict(self._trials())
        """The checks that make a spark, or try to."""
        self._checks: Mapping[str, Callable[[], str]] = {
            **{check: partial(self.spark, check) for check in self.trials},
            "plug-condition": lambda: patient.ailing.unseen.plug,
            "primary-resistance": partial(_winding, cold, profile, "primary"),
            "secondary-resistance": partial(_winding, cold, profile, "secondary"),
            "lead-resistance": partial(_lead, cold, patient.sound, profile),
            "insulation": partial(_insulation, cold, profile),
            **{slug(s.name): partial(_switch, cold, s, profile) for s in cold.switch},
            "stop-wire-watch": partial(_watch, cold),
            "earth-path": partial(_earth, cold),
            "air-gap": self._gap,
            "magnet-pull": self._pull,
            "flywheel-key": lambda: cold.unseen.flywheel_key,
            "magnet-cracks": lambda: "none" if cold.unseen.cracks == "none" else "some",
            "soak": partial(_soak, cold),
            "start": self.start,
            "stop-check": self.stop_check,
            "trial-run": self._trial_run,
        }

    @property
    def checks(self) -> tuple[str, ...]:
        """Names of the checks that can be done, as the fault table has them."""
        return tuple(self._checks)

    def answer(self, check: str) -> str:
        """Do a check and return its outcome, in the fault table's words.

        Raises:
            UsageError: there is no such check.
        """
        if check not in self._checks:
            raise UsageError(f"there is no check “{plain(check)}” of this engine")
        return self._checks[check]()

    def spark(self, check: str, controls: Mapping[str, str] | None = None) -> str:
        """Do a spark trial: does a spark jump?

        ``controls`` says how switches and fittings stand; without them they stand as the trial
        wants them. With a switch left at stop it finds no spark.
        """
        trial = self.trials[check]
        stands = trial.controls if controls is None else controls
        turning = self._turning(stands)
        ways = stopping(trial.engine, turning) if trial.stopping else [turning]
        jumps = any(sparks(trial.engine, way) for way in ways)
        if jumps and trial.undone:
            as_it_came = self._turning({**stands, CLIP_LEAD: CLIP_OFF})
            jumps = not sparks(self.patient.ailing, as_it_came)
        return "yes" if jumps else "no"

    def _trials(self) -> Iterator[tuple[str, Trial]]:
        patient = self.patient
        ailing, joined = patient.ailing, at_run(patient.ailing)
        engines = {
            "spark-at-gap": ailing,
            "spark-with-gap-set": patient.put_right("air gap").ailing,
            "spark-with-good-lead": patient.put_right("plug lead or cap").ailing,
            "substitution-module": patient.put_right("armature").ailing,
            "spark-again": ailing,
        }
        for check, engine in engines.items():
            undone = check == "spark-with-good-lead"
            yield check, Trial(engine=engine, controls=joined, undone=undone)
        stands = {
            "spark-with-stop-isolated": {"stop wire": "off"},
            "spark-with-terminal-earthed": {"stop wire": "off", CLIP_LEAD: TERMINAL_EARTHED},
            "spark-with-earth-bridged": {CLIP_LEAD: EARTH_BRIDGED},
            **{f"spark-without-{slug(s.name)}": {connector(s.name): "off"} for s in ailing.switch},
        }
        for check, otherwise in stands.items():
            undone = check == "spark-with-earth-bridged"
            yield check, Trial(engine=ailing, controls={**joined, **otherwise}, undone=undone)
        yield (
            "spark-with-control-at-stop",
            Trial(engine=ailing, controls=joined, stopping=True),
        )

    def start(self, controls: Mapping[str, str] | None = None) -> str:
        """Try to start the engine as it stands: yes or no; without ``controls``, at run."""
        return "yes" if starts(self.patient.ailing, self._running(controls)) else "no"

    def stop_check(self, controls: Mapping[str, str] | None = None) -> str:
        """Put each stop switch of the running engine to stop: stops or runs-on.

        ``cannot-tell`` where the engine does not run, so that there is nothing to be stopped.
        """
        engine, running = self.patient.ailing, self._running(controls)
        if not starts(engine, running):
            return CANNOT_TELL
        ways = list(stopping(engine, running))
        if not ways or any(runs_on(engine, way) for way in ways):
            return "runs-on"
        return "stops"

    def _trial_run(self) -> str:
        works = self.start() == "yes" and self.stop_check() == "stops"
        return "good" if works else "fault"

    def _turning(self, controls: Mapping[str, str]) -> EngineCondition:
        """Return how the engine is while it is turned over, and shaken by it."""
        return EngineCondition(
            winding_c=HOT_C if self.patient.complaint == DIES_HOT else 20.0,
            controls={**controls, "plug lead": "off"},
            chafing=True,
        )

    def _running(self, controls: Mapping[str, str] | None) -> EngineCondition:
        """Return how the engine is when it is started with its plug lead on, and shaken by that."""
        stands = at_run(self.patient.ailing) if controls is None else controls
        return replace(self._turning({}), controls=stands)

    def _pull(self) -> str:
        """Pull of the magnets; of one that is cracked to be seen, that."""
        unseen = self.patient.cold.unseen
        return "cracked" if unseen.cracks == "face" else unseen.pull

    def _gap(self) -> str:
        low, high = GAP_MM
        for entry in self._profile.gap:
            low, high = entry.low * 1000, entry.high * 1000
            break
        gap = self.patient.cold.unseen.gap_mm
        if low <= gap <= high:
            return "in-window"
        return "below" if gap < low else "above"

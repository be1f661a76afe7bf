"""Every check of the fault table, done with care on a virtual engine of which the fault is known.

So a way of searching can be tried to its end, and a trainee's search be set beside it.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Final

import msgspec
from msgspec.structs import replace

from meterlink.circuit import measured
from meterlink.circuit.condition import (
    CLIP_LEAD,
    CLIP_OFF,
    EARTH_BRIDGED,
    TERMINAL_EARTHED,
    EngineCondition,
    connector,
)
from meterlink.circuit.engine import Engine
from meterlink.circuit.faults import DIES_HOT, HOT_C, WONT_STOP, Patient, slug
from meterlink.circuit.spark import STOPPED_BELOW, sparks, stop_path
from meterlink.errors import UsageError
from meterlink.profile import Profile
from meterlink.quantities.text import plain

ARMATURE: Final = frozenset(
    {
        *("open-primary", "shorted-primary", "shorted-turns", "open-secondary"),
        *("leaking-insulation", "module-faulty"),
    }
)
"""Faults that come and go with the armature."""
GAP_MM: Final = (0.25, 0.36)
"""Where the profile has no gap; invented for practice."""
_WITH_THE_ENGINE: Final = ("pull", "cracks", "flywheel_key", "plug", "elsewhere")
_WITH_THE_ARMATURE: Final = ("primary", "secondary", "module", "case_leak", "lead", "cap")
_WITH_THE_LEAD: Final = ("lead_jump_kv", "lead_holds_kv")


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
            "primary-resistance": partial(measured.winding, cold, profile, "primary"),
            "secondary-resistance": partial(measured.winding, cold, profile, "secondary"),
            "lead-resistance": partial(measured.lead, cold, patient.sound, profile),
            "insulation": partial(measured.insulation, cold, profile),
            **{slug(s.name): partial(measured.switch, cold, s, profile) for s in cold.switch},
            "stop-wire-watch": partial(measured.watch, cold),
            "earth-path": partial(measured.earth, cold),
            "air-gap": self._gap,
            "magnet-pull": self._pull,
            "flywheel-key": lambda: cold.unseen.flywheel_key,
            "magnet-cracks": lambda: "none" if cold.unseen.cracks == "none" else "some",
            "soak": partial(measured.soak, cold),
            "start": self._start,
            "stop-check": self._stop_check,
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
            raise UsageError(f"there is no check «{plain(check)}» of this engine")
        return self._checks[check]()

    def spark(self, check: str, controls: Mapping[str, str] | None = None) -> str:
        """Do a spark trial: does a spark jump?

        ``controls`` says how switches and fittings stand; without them they stand as the trial
        wants them. With a switch left at stop it finds no spark.
        """
        trial = self.trials[check]
        stands = trial.controls if controls is None else controls
        ways = self._stopping(stands) if trial.stopping else [stands]
        jumps = any(sparks(trial.engine, self._turning(way)) for way in ways)
        if jumps and trial.undone:
            as_it_came = self._turning({**stands, CLIP_LEAD: CLIP_OFF})
            jumps = not sparks(self.patient.ailing, as_it_came)
        return "yes" if jumps else "no"

    def _trials(self) -> Iterator[tuple[str, Trial]]:
        ailing, sound = self.patient.ailing, self.patient.sound
        joined = _at_run(ailing)
        stays = {fact: getattr(ailing.unseen, fact) for fact in _WITH_THE_ENGINE}
        fitted = {part: getattr(sound, part) for part in _WITH_THE_ARMATURE}
        lead = {fact: getattr(sound.unseen, fact) for fact in _WITH_THE_LEAD}
        gap = replace(ailing.unseen, gap_mm=sound.unseen.gap_mm)
        engines = {
            "spark-at-gap": ailing,
            "spark-with-gap-set": replace(ailing, unseen=gap),
            "spark-with-good-lead": replace(
                ailing, lead=sound.lead, cap=sound.cap, unseen=replace(ailing.unseen, **lead)
            ),
            # A known-good armature with its lead, its gap set anew.
            "substitution-module": replace(ailing, unseen=replace(sound.unseen, **stays), **fitted),
            "spark-again": self._reassembled(),
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

    def _turning(self, controls: Mapping[str, str]) -> EngineCondition:
        """Return how the engine is while it is turned over, and shaken by it."""
        return EngineCondition(
            winding_c=HOT_C if self.patient.complaint == DIES_HOT else 20.0,
            controls={**controls, "plug lead": "off"},
            chafing=True,
        )

    def _stopping(self, controls: Mapping[str, str]) -> Iterator[Mapping[str, str]]:
        """Yield ``controls`` with each switch at stop, one at a time."""
        for switch in self.patient.ailing.switch:
            for position, state in switch.positions.items():
                if state == "closed":
                    yield {**controls, switch.name: position}

    def _reassembled(self) -> Engine:
        """Everything put right, the armature still the one that came in."""
        return self.patient.ailing if self.patient.fault in ARMATURE else self.patient.sound

    def _start(self) -> str:
        return "no" if self.patient.ailing.unseen.elsewhere else self.spark("spark-again")

    def _stop_check(self) -> str:
        engine = self.patient.ailing
        if engine.unseen.electronics == "stop-dead" or (
            engine.unseen.elsewhere and self.patient.complaint == WONT_STOP
        ):
            return "runs-on"
        stopped = map(self._turning, self._stopping(_at_run(engine)))
        runs_on = any(stop_path(engine, condition) >= STOPPED_BELOW for condition in stopped)
        return "runs-on" if runs_on else "stops"

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


def _at_run(engine: Engine) -> dict[str, str]:
    """Return every control as it is when the engine runs: joined up, and each switch open."""
    at_run = {
        switch.name: position
        for switch in engine.switch
        for position, state in reversed(switch.positions.items())
        if state == "open"
    }
    joined = dict.fromkeys((connector(switch.name) for switch in engine.switch), "on")
    return {**at_run, **joined, "stop wire": "on", CLIP_LEAD: CLIP_OFF}

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
from meterlink.circuit.faults import DIES_HOT, HOT_C, Patient, slug
from meterlink.circuit.spark import at_run, runs_on, sparks, starts, stopping
from meterlink.errors import UsageError
from meterlink.profile import Profile
from meterlink.quantities.text import plain

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
            raise UsageError(f"there is no check «{plain(check)}» of this engine")
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
            return measured.CANNOT_TELL
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

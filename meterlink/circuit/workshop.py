"""Every check of the fault table, done with care on a virtual engine of which the fault is known.

So a way of searching can be tried to its end, and a trainee's search be set beside it.
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

from msgspec.structs import replace

from meterlink.circuit import measured
from meterlink.circuit.condition import Condition
from meterlink.circuit.engine import Engine
from meterlink.circuit.faults import HOT_C, Patient, slug
from meterlink.circuit.spark import STOPPED_BELOW, sparks, stop_path
from meterlink.errors import UsageError
from meterlink.profile import Profile
from meterlink.text import plain

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


class Workshop:
    """One virtual engine, and what each check on it shows."""

    def __init__(self, patient: Patient, profile: Profile) -> None:
        """Take ``patient`` in, to be judged by ``profile``."""
        self.patient = patient
        self._profile = profile
        cold = patient.cold
        self._checks: Mapping[str, Callable[[], str]] = {
            "spark-at-gap": self._spark,
            "spark-with-stop-isolated": self._spark_isolated,
            "plug-condition": lambda: patient.ailing.unseen.plug,
            "primary-resistance": partial(measured.winding, cold, profile, "primary"),
            "secondary-resistance": partial(measured.winding, cold, profile, "secondary"),
            "lead-resistance": partial(measured.lead, cold, patient.sound, profile),
            "insulation": partial(measured.insulation, cold, profile),
            **{slug(s.name): partial(measured.switch, cold, s, profile) for s in cold.switch},
            "stop-wire-watch": partial(measured.watch, cold),
            "earth-path": partial(measured.earth, cold),
            "air-gap": self._gap,
            "magnet-pull": lambda: cold.unseen.pull,
            "flywheel-key": lambda: cold.unseen.flywheel_key,
            "magnet-cracks": lambda: "some" if cold.unseen.cracks else "none",
            "soak": partial(measured.soak, cold),
            "substitution-module": self._substituted,
            "spark-again": self._spark_again,
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

    def spark(self, controls: Mapping[str, str]) -> str:
        """Turn the engine over with its switches and fittings as they are: does a spark jump?

        Unlike the checks it takes no care: with a switch at stop it finds no spark.
        """
        hot = self.patient.ailing is self.patient.hot
        turning = Condition(
            winding_c=HOT_C if hot else 20.0,
            controls={**controls, "plug lead": "off"},
            chafing=True,
        )
        return "yes" if sparks(self.patient.ailing, turning) else "no"

    def _trial(self, engine: Engine, wire: str = "on") -> str:
        return "yes" if sparks(engine, self._turning(engine, wire)) else "no"

    def _turning(self, engine: Engine, wire: str = "on") -> Condition:
        """Return the engine turned over with its switches at run, and shaken by it."""
        hot = engine is self.patient.ailing and engine is self.patient.hot
        turning = Condition(
            winding_c=HOT_C if hot else 20.0,
            controls={"stop wire": wire, "plug lead": "off"},
            chafing=True,
        )
        for switch in engine.switch:
            open_at = [position for position, state in switch.positions.items() if state == "open"]
            if open_at:
                turning = turning.move(switch.name, open_at[0], engine)
        return turning

    def _spark(self) -> str:
        return self._trial(self.patient.ailing)

    def _spark_isolated(self) -> str:
        return self._trial(self.patient.ailing, wire="off")

    def _substituted(self) -> str:
        """A known-good armature with its lead, its gap set anew."""
        sound, ailing = self.patient.sound, self.patient.ailing
        stays = {fact: getattr(ailing.unseen, fact) for fact in _WITH_THE_ENGINE}
        fitted = {part: getattr(sound, part) for part in _WITH_THE_ARMATURE}
        return self._trial(replace(ailing, unseen=replace(sound.unseen, **stays), **fitted))

    def _reassembled(self) -> Engine:
        """Everything put right, the armature still the one that came in."""
        return self.patient.ailing if self.patient.fault in ARMATURE else self.patient.sound

    def _spark_again(self) -> str:
        return self._trial(self._reassembled())

    def _start(self) -> str:
        return "no" if self.patient.ailing.unseen.elsewhere else self._trial(self._reassembled())

    def _stop_check(self) -> str:
        engine = self.patient.ailing
        if engine.unseen.electronics == "stop-dead" or (
            engine.unseen.elsewhere and self.patient.complaint == "wont-stop"
        ):
            return "runs-on"
        running = self._turning(engine)
        for switch in engine.switch:
            for position, state in switch.positions.items():
                stopped = running.move(switch.name, position, engine)
                if state == "closed" and stop_path(engine, stopped) >= STOPPED_BELOW:
                    return "runs-on"
        return "stops"

    def _gap(self) -> str:
        low, high = GAP_MM
        for entry in self._profile.gap:
            low, high = entry.low * 1000, entry.high * 1000
            break
        gap = self.patient.cold.unseen.gap_mm
        if low <= gap <= high:
            return "in-window"
        return "below" if gap < low else "above"

"""One practice: the rules of what can be done on a case, and what it leaves in the ledger.

It has no meter: what the probes find is told to it (``touched``, ``concluded``). So it can be tried
without one, and a live face and a test play by the very same rules.
"""

from collections.abc import Mapping, Sequence
from typing import Final

from meterlink.circuit.engine import (
    CLIP_LEAD,
    CLIP_OFF,
    EARTHED,
    Engine,
    EngineCondition,
    connectors,
    controls,
)
from meterlink.circuit.workshop import Workshop
from meterlink.errors import UsageError
from meterlink.finding.outcomes import record
from meterlink.finding.search import prospects
from meterlink.quantities.text import plain
from meterlink.training.case import Case
from meterlink.training.ledger import (
    Begun,
    Concluded,
    Flaw,
    Hinted,
    Ledger,
    Named,
    Opened,
    Put,
    Renewed,
    Safety,
    Secured,
    SignedOff,
    Topic,
    Touched,
    mend_of,
    mended,
    setups_due,
)
from meterlink.training.measurements import (
    PracticeMeasurement,
    Touch,
    flaws_in,
    flaws_in_trial,
    matters_in_trial,
    practice_card,
    probings,
)

NEVER: Final = frozenset({"trial-run"})
"""Checks that are made of others here: start and stop."""
RUNS: Final = frozenset({"start", "stop-check"})
"""Checks with the engine running."""
_RUNNING: Final = {CLIP_LEAD: CLIP_OFF, "cap": "on", "plug lead": "on"}
"""Where fittings have to be for that; the stop circuit can be forgotten."""
Safeties = tuple[tuple[Topic, ...], tuple[Topic, ...]]
"""Safety steps that some work needs, and those of them that were not done."""
LEFT: Final = "skipped"
"""Outcome of a check that was begun and left."""
_SAFETY_MINUTES: Final = {Safety.CAUTIONS: 1.0, Safety.MADE_SAFE: 1.0, Safety.AIRED: 1.0}


class Practice:
    """A case under work."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.ledger = Ledger()
        self.patient = case.patient
        self.steps: Mapping[str, PracticeMeasurement] = probings(
            case.patient.sound, case.model, tell_places=case.tells_places
        )
        self.card = practice_card(case.model.complaint, self.steps)
        self.condition = EngineCondition()
        """How switches, connectors and fittings stand."""
        self._workshop = Workshop(self.patient, case.profile)
        self._step_outcomes: dict[str, str] = {}

    # --- what there is -----------------------------------------------------------------------

    @property
    def engine(self) -> Engine:
        """The engine as it lies cold on the bench."""
        return self.patient.cold

    @property
    def checks(self) -> tuple[str, ...]:
        """Every check that can be done, by the fault table's name."""
        nodes = self.case.model.nodes
        return tuple(name for name in nodes if name in self._workshop.checks and name not in NEVER)

    @property
    def controls(self) -> dict[str, tuple[str, ...]]:
        """Every switch, connector and fitting with its positions."""
        return {**controls(self.engine), **connectors(self.engine)}

    @property
    def places(self) -> tuple[str, ...]:
        """Every place that can be mended."""
        return self.case.model.places

    @property
    def signed_off(self) -> bool:
        """Whether the engine was given back; nothing can be done on it any more."""
        return bool(self.ledger.all(SignedOff))

    def faults_at(self, place: str) -> dict[str, str]:
        """Return the faults that a place can have, each with its words, by the table's name."""
        return {s.name: s.say for s in self.case.model.suspects if s.place == place}

    def say(self, check: str) -> str:
        """Return a check in words."""
        return self.case.model.nodes[check].say

    def steps_of(self, check: str) -> tuple[str, ...]:
        """Return the steps that a check is made of with the probes; none where it takes none."""
        return tuple(name for name, probing in self.steps.items() if probing.check == check)

    def turns_over(self, check: str) -> bool:
        """Say whether a check makes a spark on purpose, with the engine turned over."""
        return check in self._workshop.trials

    def wanted(self, check: str) -> Mapping[str, str]:
        """Return where switches, connectors and fittings have to be for a check without probes."""
        return self._workshop.trials[check].controls if self.turns_over(check) else {}

    def minutes_of(self, check: str) -> float:
        """Return what a check would take now, with the work that opens the way to it."""
        node = self.case.model.nodes[check]
        due = setups_due(node, self.ledger, self.case.model)
        return node.declared.minutes + sum(setup.minutes for setup in due)

    # --- what can be done --------------------------------------------------------------------

    def secure(self, step: Safety) -> None:
        """Do a safety step; a second time takes no more minutes."""
        if step is Safety.MADE_SAFE and self._stands("plug lead") == "on":
            self.put("plug lead", EARTHED)
        if self.ledger.secured(step):
            return
        self.ledger.add(Secured(step=step, minutes=_SAFETY_MINUTES[step]))

    def put(self, control: str, position: str) -> None:
        """Put a switch, connector or fitting into a position.

        Raises:
            UsageError: there is no such control or position.
        """
        try:
            self.condition = self.condition.move(control, position, self.engine)
        except ValueError as fault:
            raise UsageError(plain(str(fault), 600)) from fault
        self.ledger.add(Put(control=control, position=position))

    def open_up(self, setup: str) -> None:
        """Do the work that opens the way, such as the shroud off; done once.

        Raises:
            UsageError: there is no such work.
        """
        setups = self.case.model.table.setups
        if setup not in setups:
            raise UsageError(f"there is no “{plain(setup)}”; there is {', '.join(setups)}")
        if setup not in self.ledger.opened():
            self.ledger.add(Opened(setup=setup, minutes=setups[setup].minutes))

    def begin(self, check: str) -> Sequence[str]:
        """Begin a check: count what it takes; return what had to be opened up for it first.

        Raises:
            UsageError: there is no such check, or the engine cannot or must not run as it is.
        """
        if check not in self.checks:
            known = ", ".join(self.checks)
            raise UsageError(f"there is no check “{plain(check)}”; there is {known}")
        if check in RUNS:
            self._check_fitted()
        node = self.case.model.nodes[check]
        due = setups_due(node, self.ledger, self.case.model)
        for setup in due:
            self.ledger.add(setup)
        due_first, unsafe = self._safety(check)
        self.ledger.add(
            Begun(
                check=check,
                minutes=node.declared.minutes,
                parts=node.declared.parts,
                closing=node.declared.closing,
                due=due_first,
                unsafe=unsafe,
            )
        )
        for step in self.steps_of(check):
            self._step_outcomes.pop(step, None)
        return [self.case.model.table.setups[setup.setup].say for setup in due]

    def answer(self, check: str) -> str:
        """Do a check that takes no probes; return its outcome."""
        with_care = self._workshop.answer(check)
        wanted, outcome = self.wanted(check), with_care
        stands = {name: self._stands(name) for name in self.controls}
        if self.turns_over(check):
            outcome = self._workshop.spark(check, stands)
        elif check == "start":
            outcome = self._workshop.start(stands)
        elif check == "stop-check":
            outcome = self._workshop.stop_check(stands)
        self.ledger.add(
            Concluded(
                check=check,
                outcome=outcome,
                with_care=with_care,
                matters=matters_in_trial(wanted),
                flaws=flaws_in_trial(wanted, self.condition, self.engine),
            )
        )
        return outcome

    def touched(self, step: str, touch: Touch) -> tuple[Flaw, ...]:
        """Take note of a touch in a step; return what was wrong with it."""
        probing = self.steps[step]
        flaws = flaws_in(touch, probing, self.engine)
        self.ledger.add(
            Touched(check=probing.check, step=step, matters=probing.matters, flaws=flaws)
        )
        return flaws

    def ended(self, step: str, outcome: str) -> str | None:
        """A step has its outcome: return the next step of its check, None where it is done."""
        probing = self.steps[step]
        outcome = self.case.model.nodes[probing.check].declared.reads_as.get(outcome, outcome)
        self._step_outcomes[step] = outcome
        rest = [s for s in self.steps_of(probing.check) if s not in self._step_outcomes]
        if rest and outcome not in probing.bad:
            return rest[0]
        self.ledger.add(
            Concluded(
                check=probing.check,
                outcome=outcome,
                with_care=self._workshop.answer(probing.check),
            )
        )
        return None

    def leave(self, check: str) -> None:
        """Leave a check that was begun with the probes; it says nothing then."""
        self.ledger.add(
            Concluded(check=check, outcome=LEFT, with_care=self._workshop.answer(check))
        )

    def renew(self, place: str) -> None:
        """Put a place right to see whether that helps.

        Raises:
            UsageError: there is no such place.
        """
        self._known(place)
        mend = mend_of(place)
        due, unsafe = self._safety_of_mending(place)
        helped = self._mend(place)
        self.ledger.add(
            Renewed(
                place=place,
                helped=helped,
                minutes=mend.minutes,
                parts=mend.parts,
                due=due,
                unsafe=unsafe,
            )
        )

    def name(self, place: str, fault: str = "") -> None:
        """Say where the fault is, and which; the place is put right.

        Raises:
            UsageError: there is no such place, or it cannot have that fault.
        """
        self._known(place)
        if fault and fault not in self.faults_at(place):
            known = ", ".join(self.faults_at(place))
            raise UsageError(f"“{place}” cannot have “{plain(fault)}”; it can have {known}")
        mend = mend_of(place)
        due, unsafe = self._safety_of_mending(place)
        self._mend(place)
        self.ledger.add(
            Named(
                place=place,
                fault=fault,
                right=place in self.case.places,
                minutes=mend.minutes,
                parts=mend.parts,
                due=due,
                unsafe=unsafe,
            )
        )

    def hint(self) -> str | None:
        """Return the next best check after what was seen; None where none would tell more."""
        outcomes = self.ledger.told(self.case.model)
        seen = record(self.case.model, outcomes).evidence
        best = next(iter(prospects(self.case.model, seen, done=outcomes, again=False)), None)
        check = None if best is None else best.node.name
        self.ledger.add(Hinted(check=check or ""))
        return check

    def sign_off(self) -> None:
        """Give the engine back."""
        self.ledger.add(SignedOff())

    # --- within ------------------------------------------------------------------------------

    def _known(self, place: str) -> None:
        if place not in self.places:
            known = ", ".join(self.places)
            raise UsageError(f"there is no place “{plain(place)}”; there is {known}")

    def _mend(self, place: str) -> bool:
        before = self.patient
        self.patient = mended(before, place, self.case.model)
        self._workshop = Workshop(self.patient, self.case.profile)
        return self.patient is not before and before.ailing != self.patient.ailing

    def _stands(self, control: str) -> str:
        return self.condition.position(control, self.engine)

    def _check_fitted(self) -> None:
        """Raise where the engine is not put together so far that it can run."""
        due = [c for c, position in _RUNNING.items() if self._stands(c) != position]
        if due:
            sets = "; ".join(f"set {control} {_RUNNING[control]}" for control in due)
            raise UsageError(f"the engine cannot run like this; first {sets}")

    def _stop_circuit_whole(self) -> bool:
        """Return whether the stop wire and every connector are on."""
        joints = ("stop wire", *connectors(self.engine))
        return all(self._stands(joint) == "on" for joint in joints)

    def _safety(self, check: str) -> Safeties:
        """Return the safety steps that a check needs, and those of them that were not done."""
        needed = self._needed(check)
        return tuple(needed), tuple(topic for topic, done in needed.items() if not done)

    def _safety_of_mending(self, place: str) -> Safeties:
        """Return the same for a mend: hands on the engine, unless nothing on it is touched."""
        return self._safety("") if mend_of(place).minutes else ((), ())

    def _needed(self, check: str) -> dict[Topic, bool]:
        secured = self.ledger.secured
        needed = {Topic.CAUTIONS: secured(Safety.CAUTIONS)}
        if check in RUNS:
            needed[Topic.WIRE_BACK] = self._stop_circuit_whole()
            return needed
        needed[Topic.MADE_SAFE] = secured(Safety.MADE_SAFE)
        if self.turns_over(check):
            needed[Topic.VAPOUR] = secured(Safety.AIRED)
        return needed

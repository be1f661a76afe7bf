"""A recorded stream of readings, gone through by the engine's own hold and verdict."""

from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from meterlink.events import Contact, Held, Lift, Limit, Noise, PassedOver, TouchEvent, Verdict
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.judging.advice import why_implausible
from meterlink.judging.assess import Assessment, Assessor
from meterlink.judging.verdict import RULES
from meterlink.meter_state import MeterState
from meterlink.reading import Reading


class HoldFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One hold, as ``meterlink analyse --json`` prints it. Times in seconds, values in SI units."""

    step: str | None
    """The step of the card that it was judged for; None where a window was given instead."""
    contact_t_s: float
    t_s: float
    """When it was held."""
    lift_t_s: float | None
    """None where the stream ended, or the probes slid to another point, without a lift."""
    value: float
    """As read, steadied."""
    unit: str
    readings: int
    noise: float
    resolution: float | None
    """Step of the last digit; None where it is not known ..."""
    resolution_at_most: float | None
    """... and then how coarse it can be, where readings that repeat show that there is one."""
    corrected: float | None
    u: float | None
    """Expanded, 95 %."""
    verdict: Verdict | None
    """None where there is nothing to judge it by."""
    probability: float | None
    clear: bool | None
    revises: bool
    """It takes the place of what was held before in the same touch."""
    slope: float
    """How fast the value moves, a second; 0 where no movement shows."""
    slope_u: float
    noise_origin: Noise
    poor_contact: bool
    interval: tuple[float, float] | None = None
    """Both ends of the 95 % interval of the true value."""
    limit: Limit | None = None
    """What the largest share of the uncertainty comes from."""
    advice: str = ""
    """Where it is close: what limits and what would help."""
    notes: tuple[str, ...] = ()
    """What nobody declared and so is assumed, each a plain sentence."""
    rule: str = ""
    decision: str = ""
    """``accept``, ``reject`` or ``undecided``, by ``rule``."""
    risk: float | None = None
    """Specific risk that the decision is wrong; None where undecided."""
    rules: str = RULES
    """Version of the rules that it is judged by."""
    refused: str = ""
    """Why nothing is judged by a value that cannot be."""


class StreamTotals(msgspec.Struct, kw_only=True):
    """What the stream held altogether."""

    readings: int = 0
    touches: int = 0
    holds: int = 0
    dropped: int = 0
    """Readings that could not be used: not-a-numbers, times that went back."""


class _Pending(NamedTuple):
    """A hold whose touch has not ended, with what it was judged to be."""

    held: Held
    assessment: Assessment | None
    step: str | None

    def ended(self, lift_t: float | None = None) -> HoldFacts:
        held, assessment = self.held, self.assessment
        refused = "" if assessment is None else _refused(held, assessment)
        if refused:
            assessment = None
        judgement = None if assessment is None else assessment.judgement
        decided = None if judgement is None else judgement.decided
        return HoldFacts(
            step=self.step,
            contact_t_s=held.contact_t,
            t_s=held.t,
            lift_t_s=lift_t,
            value=held.value,
            unit=held.unit,
            readings=held.readings,
            noise=held.noise,
            resolution=held.resolution or None,
            resolution_at_most=held.step_at_most or None,
            corrected=None if assessment is None else assessment.corrected,
            u=None if assessment is None else assessment.expanded,
            verdict=None if judgement is None else judgement.verdict,
            probability=None if judgement is None else judgement.probability,
            clear=None if judgement is None else judgement.clear,
            revises=held.revises,
            slope=held.slope,
            slope_u=held.slope_u,
            noise_origin=held.origin,
            poor_contact=held.poor,
            interval=None if assessment is None else assessment.interval,
            limit=None if judgement is None else judgement.limit,
            advice="" if judgement is None else judgement.advice,
            notes=() if assessment is None else assessment.notes,
            rule="" if judgement is None else judgement.rule.value,
            decision="" if decided is None else decided.decision.value,
            risk=None if decided is None else decided.risk,
            refused=refused,
        )


def _refused(held: Held, assessment: Assessment) -> str:
    """Return why nothing is judged by ``held``; empty where it can be."""
    refused = why_implausible(held.value, held.unit, held.resolution)
    if not refused and assessment.judgement.impossible:
        refused = assessment.judgement.advice
    return refused


class Analysis:
    """Takes readings, oldest first, and gives what a touch held once it is known how it ended."""

    def __init__(self, policy: HoldPolicy = POLICY) -> None:
        self.summary = StreamTotals()
        self._detector = HoldDetector(policy)
        self._state = MeterState()
        self._assessor: Assessor | None = None
        self._step: str | None = None
        self._pending: list[_Pending] = []
        """What was held in the touch that goes on: the first value, then its revisions."""

    def judge_by(self, assessor: Assessor | None, step: str | None = None) -> None:
        """Judge the holds from now on by ``assessor``, for ``step`` of a card."""
        self._assessor, self._step = assessor, step
        self._detector.aim_at(None if assessor is None else assessor.aim())

    def feed(self, reading: Reading) -> Sequence[HoldFacts]:
        """Take one reading; return the holds that it completes, nearly always none."""
        self.summary.readings += 1
        if self._state.see(reading) and self._state.blocks:
            return self._follow(self._detector.gap(reading.t)) + self._take_pending()
        if not self._state.passes(reading):
            return ()
        touches = self._detector.feed(reading)
        return self._follow(touches) if touches else ()

    def close(self) -> Sequence[HoldFacts]:
        """End the stream; return the hold that was still open."""
        done = self._follow(self._detector.close())
        return done + self._take_pending()

    def _follow(self, touches: Sequence[TouchEvent]) -> list[HoldFacts]:
        done: list[HoldFacts] = []
        for touch in touches:
            match touch:
                case Contact():
                    self.summary.touches += 1
                case Held():
                    if not touch.revises:
                        done += self._take_pending()
                        self.summary.holds += 1
                    self._pending.append(_Pending(touch, self._assess(touch), self._step))
                case Lift():
                    done += self._take_pending(touch.t)
                case PassedOver():
                    self.summary.dropped += touch.count
        return done

    def _take_pending(self, lift_t: float | None = None) -> list[HoldFacts]:
        pending, self._pending = self._pending, []
        return [one.ended(lift_t) for one in pending]

    def _assess(self, held: Held) -> Assessment | None:
        assessor = self._assessor
        if assessor is None or held.unit != assessor.criterion.window.unit:
            return None
        return assessor.assess(held)

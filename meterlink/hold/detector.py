"""The hold detector: readings in, touch events out."""

from collections.abc import Sequence
from math import inf, isfinite, sqrt
from typing import Final

import msgspec

from meterlink.events import Contact, Held, Lift, PassedOver, TouchEvent
from meterlink.hold.absence import Absence
from meterlink.hold.cadence import Cadence
from meterlink.hold.decision_edges import DecisionEdges
from meterlink.hold.mains import Blocks
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.hold.repeatability import serial_inflation
from meterlink.hold.resolution import StepSeen
from meterlink.hold.settling import SteadinessEstimate, tolerance
from meterlink.hold.stages import Stage
from meterlink.hold.steadiness import Steadiness
from meterlink.hold.stop_rule import limit_of, should_stop
from meterlink.quantities.plausible import beyond_measure
from meterlink.reading import Quantity, Reading

_NOTHING: Final[tuple[TouchEvent, ...]] = ()
_BEYOND: Final = 1e30
"""Values beyond this are overloads, whatever the meter calls them (SCPI-1999 sends 9.9E37)."""


class LiveEstimate(msgspec.Struct, frozen=True, gc=False):
    """The best estimate so far of the value under the probes, for the eye."""

    value: float
    """As read, steadied; the unit of the readings."""
    u: float
    """Its standard uncertainty by repeatability; infinite while there is nothing to go by."""


class HoldDetector:
    """Follow the touches in a stream of readings and say when each value stands.

    Feed readings in the order they came. Memory is constant; so is the time a reading, as at
    most ``HoldPolicy.kept`` points are weighed. While the probes are off and once a value is held
    a reading costs a comparison; on fast meters it is a block of readings that is weighed.

    A hold belongs to its touch: ``Held.contact_t`` is the first reading of the touch. A slide to
    another point without a lift ends in a second hold, whose ``contact_t`` is the first reading
    away from the first value. ``Lift.contact_t`` is that of the newest hold of the touch, or of
    the touch where it had none.
    """

    def __init__(self, policy: HoldPolicy = POLICY, aim: DecisionEdges | None = None) -> None:
        self._ohms = policy
        self.policy = policy
        """The same in the unit of the readings."""
        self._aim = aim
        self._quantity: Quantity | None = None
        self._last_t = -inf
        self._back_t = inf
        self._back_count = 0
        self._passed: dict[str, int] = {}
        self._cadence = Cadence()
        self._absence = Absence(policy)
        self._blocks = Blocks(policy.mains, policy.fastest_plain, policy.block_time)
        self._steadiness = Steadiness(policy)
        self._seen = StepSeen()
        self._size = 1
        """Readings in a point that is weighed."""
        self._forget()

    def _forget(self) -> None:
        """Wait for the next touch."""
        self._stage = Stage.APART
        self._contact_t = 0.0
        self._began_t = 0.0
        self._held: Held | None = None
        self._newest_held: Held | None = None
        self._track = 0.0
        self._band = 0.0
        self._astray_t = 0.0
        self._astray_count = 0
        self._start_over()
        self._seen.clear()
        self._resolution: float | None = None
        self._coarser = 0

    def aim_at(self, aim: DecisionEdges | None) -> None:
        """Say what the verdict of this step needs; None for a hold for its own sake."""
        self._aim = aim

    @property
    def stage(self) -> Stage:
        """Where the current touch stands."""
        return self._stage

    @property
    def live(self) -> LiveEstimate | None:
        """The value so far, or None while there is nothing under the probes."""
        if self._held is not None:
            return LiveEstimate(self._held.value, self._held.u)
        found = self._steadiness.latest
        if found is not None:
            return LiveEstimate(found.value, found.u)
        newest = self._steadiness.newest
        return None if newest is None else LiveEstimate(newest, inf)

    # --- what comes in ------------------------------------------------------------------------

    def feed(self, reading: Reading) -> Sequence[TouchEvent]:
        """Take one reading; return what it brings about, nearly always nothing."""
        t, value = reading.t, reading.value
        if not self._last_t < t < inf:
            return self._untimely(reading)
        self._last_t = t
        if self._cadence.tick(t):
            self._learn_rate()
        if reading.overload or value > _BEYOND or value < -_BEYOND:
            self._absence.over(t)
            return self._missing(t, inf) if self._stage is not Stage.APART else _NOTHING
        if value != value:
            return self._pass_over("not-a-number")
        if beyond_measure(value, reading.quantity.unit):
            return self._pass_over("beyond any meter")
        self._absence.finite()
        if reading.quantity is not self._quantity:
            self._change(reading.quantity)
        if self._held is None:
            return self._settling(reading)
        if abs(value - self._track) <= self._band:
            # Follow a cooling winding, slowly enough that an outlier does not matter.
            self._track += 0.2 * (value - self._track)
            if self._astray_count:
                self._astray_count = 0
                self._start_over()
            self._absence.here()
            return _NOTHING
        return self._astray(reading)

    def close(self) -> Sequence[TouchEvent]:
        """End of the stream: say what was passed over and not yet said."""
        return self._flush(self._last_t)

    def gap(self, t: float) -> Sequence[TouchEvent]:
        """Readings are missing from ``t`` on, as when the meter was lost.

        The touch is abandoned and the detector armed again. No lift is told, as none was seen.
        """
        said = self._flush(t)
        self._forget()
        self._absence.here()
        return said

    def _learn_rate(self) -> None:
        """Go by blocks of readings where the meter sends fast, and by what suits its rate."""
        interval = self._cadence.interval
        was, self._size = self._size, 1
        if 0.0 < interval * self.policy.fast < 1.0:
            self._blocks.tune(1 / interval)
            self._size = self._blocks.size
        if was != self._size:
            self._start_over()

    # --- what cannot be used ------------------------------------------------------------------

    def _pass_over(self, why: str) -> Sequence[TouchEvent]:
        self._passed[why] = self._passed.get(why, 0) + 1
        return _NOTHING

    def _flush(self, t: float) -> list[TouchEvent]:
        said: list[TouchEvent] = [
            PassedOver(t=t, why=why, count=count) for why, count in self._passed.items()
        ]
        self._passed.clear()
        return said

    def _untimely(self, reading: Reading) -> Sequence[TouchEvent]:
        """A reading no later than the one before; many of them are a clock set back."""
        t = reading.t
        if t == self._last_t:
            return self._pass_over("time repeated")
        if not isfinite(t):
            return self._pass_over("time not-a-number")
        if t != self._back_t:
            self._back_count = self._back_count + 1 if t > self._back_t else 1
        self._back_t = t
        if self._back_count < self.policy.clock_readings:
            return self._pass_over("time went back")
        said = self.gap(self._last_t)
        self._back_t, self._back_count = inf, 0
        self._last_t = -inf
        self._cadence = Cadence()
        self._size = 1
        return [*said, *self.feed(reading)]

    def _change(self, quantity: Quantity) -> None:
        """The meter was set to something else: what was under the probes has no value now."""
        if self._stage is not Stage.APART:
            self._pass_over("quantity changed in mid-touch")
        self.policy = self._ohms.in_unit(quantity.unit)
        self._steadiness = Steadiness(self.policy)
        self._forget()
        self._absence.air_from = inf
        self._quantity = quantity

    # --- no contact ---------------------------------------------------------------------------

    def _missing(self, t: float, value: float) -> Sequence[TouchEvent]:
        self._blocks.clear()
        if not self._absence.missing(t, self._cadence.interval, value):
            return _NOTHING
        return [*self._flush(t), self._lift(self._absence.since)]

    def _lift(self, t: float) -> Lift:
        newest = self._newest_held
        contact_t = self._contact_t if newest is None else newest.contact_t
        self._forget()
        return Lift(t=t, contact_t=contact_t, held=newest is not None)

    def _astray(self, reading: Reading) -> Sequence[TouchEvent]:
        """A reading that is not the held value: an outlier, another point, or the air."""
        t, value = reading.t, reading.value
        if self._quantity is Quantity.RESISTANCE and self._absence.far_above(value, self._track):
            return self._missing(t, value)
        self._absence.here()
        coarse = self.policy.slide_tols * (reading.resolution or 0.0)
        if abs(value - self._track) <= coarse < _BEYOND:
            # A coarser range shows the same value.
            return _NOTHING
        if not self._astray_count:
            self._astray_t = t
        self._astray_count += 1
        brief = t - self._astray_t < self.policy.dropout_time
        if brief or self._astray_count < self.policy.least_readings:
            self._learn_step(reading)
            self._follow_step()
            self._take(value)
            return _NOTHING
        self._stage = Stage.SETTLING
        self._held = None
        self._began_t = self._astray_t
        self._astray_count = 0
        return self._settling(reading)

    def _follow_step(self) -> None:
        """Count a last digit that only shows now, after a value that stood still, as no slide."""
        step = self._seen.shown if self._resolution is None else 0.0
        if step <= self.policy.step_most:
            self._band = max(self._band, self.policy.slide_tols * step)

    def _start_over(self) -> None:
        """Weigh none of the readings so far."""
        self._steadiness.clear()
        self._blocks.clear()

    # --- settling -----------------------------------------------------------------------------

    def _settling(self, reading: Reading) -> Sequence[TouchEvent]:
        t, value = reading.t, reading.value
        said: list[TouchEvent] = []
        if value >= self._absence.air_from and self._quantity is Quantity.RESISTANCE:
            # The level at which the probes are known to float.
            return _NOTHING if self._stage is Stage.APART else self._missing(t, value)
        if self._stage is Stage.APART:
            said.append(self._contact(t))
        else:
            self._stage = Stage.SETTLING
            newest = self._steadiness.newest
            if (
                newest is not None
                and newest > self.policy.air_least
                and self._quantity is Quantity.RESISTANCE
                and self._absence.far_above(newest, value)
            ):
                self._absence.dropped(newest)
                said += [self._lift(t), self._contact(t)]
        self._absence.here()
        self._learn_step(reading)
        found = self._look() if self._take(value) else None
        if found is not None:
            self._hold(t, found, said)
        return said

    def _contact(self, t: float) -> Contact:
        self._stage = Stage.CONTACT
        self._contact_t = self._began_t = t
        return Contact(t=t)

    def _learn_step(self, reading: Reading) -> None:
        if reading.resolution != self._resolution:
            self._tell_step(reading.value, reading.resolution)
        else:
            self._coarser = 0
        if self._resolution is None:
            self._seen.add(reading.value)

    def _tell_step(self, value: float, resolution: float | None) -> None:
        """Follow the resolution that is told, finer at once and coarser with some doubt.

        Where it comes from the digits as sent, a value that happens to end in zeros looks ten
        times as coarse as its neighbours. Another range shows in several readings in a row, or
        with another value.
        """
        if resolution is None or not 0 < resolution < _BEYOND:
            self._resolution = None
            return
        known, newest = self._resolution, self._steadiness.newest
        self._coarser = self._coarser + 1 if known and resolution > 1.4 * known else 0
        elsewhere = newest is None or not 0.5 * abs(newest) <= abs(value) <= 2 * abs(newest)
        if not known or not self._coarser or self._coarser > 3 or elsewhere:
            self._resolution = resolution
            self._coarser = 0

    def _take(self, value: float) -> bool:
        """Take a reading, or the block that it ends; True where a look at them is due."""
        place, size = self._cadence.place, self._size
        if size > 1:
            mean = self._blocks.feed(value)
            if mean is None:
                return False
            value, place = mean, place // size
        return self._steadiness.take(place, value, self._cadence.interval * size)

    def _look(self) -> SteadinessEstimate | None:
        """Weigh the newest points."""
        steadiness, blocks, single = self._steadiness, self._blocks, 0.0
        if self._size > 1:
            # Where a block is too short to tell: as if half of the scatter of blocks were shared
            # by all.
            variance = blocks.variance
            single = 0.7 * steadiness.scatter / blocks.gain if variance is None else sqrt(variance)
        step = self._seen.step if self._resolution is None else self._resolution
        return steadiness.look(step, self._cadence.interval * self._size, single)

    def _noise_of_one(self, found: SteadinessEstimate) -> float:
        """Standard deviation of one reading, where blocks too short to tell it were weighed."""
        if self._size > 1 and self._blocks.variance is None:
            return max(found.noise, found.scatter / self._blocks.gain)
        return found.noise

    def _hold(self, t: float, found: SteadinessEstimate, said: list[TouchEvent]) -> None:
        """Hold what was found, unless it is the held value come back, or not yet enough."""
        newest = self._newest_held
        if newest is not None and abs(found.value - self._track) <= self._band:
            self._held = newest
            self._stage = Stage.HELD
            self._start_over()
            return
        steadiness = self._steadiness
        step = steadiness.step
        inflation = serial_inflation(steadiness.stretch.values)
        u = found.u * sqrt(inflation)
        policy = self.policy
        due = steadiness.stretch.is_due(policy)
        sd = found.scatter * sqrt(inflation)
        if not due and not should_stop(policy, self._aim, found.value, u, sd, found.n, step):
            return
        fixed = self._aim.u_fixed(found.value) if self._aim is not None else 0.0
        quantity = self._quantity or Quantity.RESISTANCE
        held = Held(
            t=t,
            contact_t=self._began_t,
            value=found.value,
            unit=quantity.unit,
            readings=found.n * self._size,
            noise=self._noise_of_one(found),
            resolution=step,
            step_at_most=0.0 if step else self._seen.at_most,
            u=u,
            dof=max(found.dof / inflation, 1.0),
            limit=limit_of(u, fixed, step),
        )
        self._held = self._newest_held = held
        self._stage = Stage.HELD
        self._track = found.value
        self._band = policy.slide_tols * tolerance(policy, found.value, step, found.noise)
        self._start_over()
        said.append(held)

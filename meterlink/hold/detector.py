"""The hold detector: readings in, touch events out."""

from collections.abc import Sequence
from math import hypot, inf, isfinite, sqrt
from typing import Final

import msgspec

from meterlink.events import Contact, Held, Lift, Noise, PassedOver, TouchEvent
from meterlink.hold.absence import Absence
from meterlink.hold.cadence import Cadence
from meterlink.hold.decision_edges import DecisionEdges
from meterlink.hold.exponentials import LONGEST
from meterlink.hold.following import (
    Course,
    Statement,
    is_no_settling,
    is_noisy,
    is_poor,
    may_be_stated,
    statement,
    takes_the_place,
)
from meterlink.hold.levels import has_turned, is_quiet
from meterlink.hold.mains import Blocks
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.hold.repeatability import serial_inflation
from meterlink.hold.resolution import StepSeen
from meterlink.hold.settling import ModelComparison, SteadinessEstimate, tolerance, variance_floor
from meterlink.hold.stages import Stage
from meterlink.hold.steadiness import OUTLIER_SPACING, Steadiness
from meterlink.hold.stop_rule import limit_of, should_stop
from meterlink.hold.wandering import FEWEST, factor, weigh
from meterlink.quantities.plausible import beyond_measure
from meterlink.reading import Quantity, Reading

_NOTHING: Final[tuple[TouchEvent, ...]] = ()
_BEYOND: Final = 1e30
"""Values beyond this are overloads, whatever the meter calls them (SCPI-1999 sends 9.9E37)."""


_LATE_MOVING: Final = 0.25
"""Where noise hides what is left to settle, a larger probability of it than this is waited for."""
_STRAYS: Final = 16
"""Most readings away from a held value that are remembered until it is known what they are."""

_CREEP_GAIN: Final = 3.0
"""Log likelihood by which creep explains a touch better than settling does."""
_FOLLOWED: Final = 48
"""Most means that the record of a touch keeps."""
_FAST: Final = 42.0
"""Above this many readings a second, readings are averaged over blocks ..."""
_BLOCK_TIME: Final = 0.03
"""... that last at least this long, seconds ..."""
_FASTEST_PLAIN: Final = 70.0
"""... and above this many a second are blind to mains ripple of ..."""
_MAINS: Final = (50.0, 60.0)
"""... these frequencies, hertz."""
_CLOCK_READINGS: Final = 8
"""This many readings in order, all before the newest one, are a clock that was set back."""


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
        self._blocks = Blocks(_MAINS, _FASTEST_PLAIN, _BLOCK_TIME)
        self._steadiness = Steadiness(policy)
        self._seen = StepSeen()
        self._course = Course(_FOLLOWED)
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
        self._astray_near = True
        self._strays: list[float] = []
        self._since_stray = 0
        self._provisional = False
        self._half = self._fixed = 0.0
        self._doubt_t = inf
        self._course.start([])
        self._look_at = 0
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
            if self._strays:
                self._since_stray += 1
                if self._since_stray > _STRAYS:
                    self._strays.clear()
            return self._follow(t, value)
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
        if 0.0 < interval * _FAST < 1.0:
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
        if self._back_count < _CLOCK_READINGS:
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
            self._astray_t, self._astray_near = t, True
        self._astray_count += 1
        near = self._is_near(value)
        self._astray_near &= near
        if near and self._size == 1:
            self._strays.append(value)
            self._since_stray = 0
            if self._is_level():
                return self._jumped(t)
        brief = t - self._astray_t < self.policy.dropout_time
        if brief or self._astray_count < self.policy.least_readings:
            self._learn_step(reading)
            self._follow_step()
            self._take(value)
            return _NOTHING
        if self._astray_near:
            self._strays.append(value)
            return self._jumped(t)
        self._stage = Stage.SETTLING
        self._held = None
        self._began_t = self._astray_t
        self._astray_count = 0
        return self._settling(reading)

    def _is_near(self, value: float) -> bool:
        """Whether a value may be of the same point, seen through a contact that is not good."""
        held = self._held
        return held is not None and (
            abs(value - held.value) <= self.policy.jump_share * abs(held.value)
        )

    def _is_back(self, value: float, held: Held) -> bool:
        """Whether a value is the held one, or where that has gone since."""
        return min(abs(value - self._track), abs(value - held.value)) <= self._band

    def _is_level(self) -> bool:
        """Whether the newest strays agree, so that they are no lone outliers."""
        strays = self._strays
        slow = self._cadence.interval > self.policy.dropout_time
        few = 2 if slow and self._astray_count > 1 else 3
        if len(strays) < few:
            return False
        newest = strays[-few:]
        spread = max(newest) - min(newest)
        return spread <= min(abs(v - self._track) for v in newest) / 6

    def _jumped(self, t: float) -> Sequence[TouchEvent]:
        """Take the strays as values of the same point."""
        strays, newest = self._strays, self._strays[-1]
        self._astray_count = 0
        self._start_over()
        for value in strays[:-1]:
            self._course.add(value)
        strays.clear()
        self._track = newest
        self._look_at = 0
        return self._follow(t, newest)

    # --- a value that is held -----------------------------------------------------------------

    def _follow(self, t: float, value: float) -> Sequence[TouchEvent]:
        """Take a reading of what is held; say it anew where it has left its interval."""
        held, course = self._held, self._course
        if held is None:
            return _NOTHING
        if self._provisional:
            found = self._look() if self._take(value) else None
            if found is not None:
                said: list[TouchEvent] = []
                self._hold(t, found, said)
                return said
        elif self._size > 1:
            mean = self._blocks.feed(value)
            if mean is None:
                return _NOTHING
            value = mean
        course.add(value)
        if course.count < self._look_at:
            return _NOTHING
        settled = self._doubt_t == inf and self._half <= 0.25 * self.policy.sharper * self._fixed
        if settled and abs(self._track - held.value) <= 0.5 * self._half:
            return _NOTHING
        return self._revise(t, held)

    def _revise(self, t: float, held: Held) -> Sequence[TouchEvent]:
        """Weigh the touch so far; say what is stated of it now, if that is something else."""
        policy, course = self.policy, self._course
        step = held.resolution or (self._seen.step if self._resolution is None else 0.0)
        self._look_at = course.count + max(2, course.count // 8)
        every = self._cadence.interval * self._size
        fixed = tolerance(policy, held.value, step)
        found = course.found(every, fixed, variance_floor(policy, fixed, step))
        if found is None:
            return _NOTHING
        new = statement(policy, found, every * course.size, step, t - self._began_t)
        if not may_be_stated(policy, new, fixed) or not takes_the_place(
            policy, new, held, self._half, fixed, max(2, course.count // 8) * every
        ):
            self._doubt_t = inf
            return _NOTHING
        self._doubt_t = min(self._doubt_t, t)
        lasted = t - self._doubt_t
        shown = new.is_plain or (
            lasted >= policy.late_time
            if new.moves
            else lasted >= policy.doubt_time and has_turned(course.means, held.value)
        )
        if not shown or (self._provisional and is_quiet(course.means[-3:], new.scatter)):
            self._look_at = course.count + 1
            return _NOTHING
        return [self._state(t, new, step, revises=True)]

    def _state(self, t: float, new: Statement, step: float, *, revises: bool) -> Held:
        """Hold what can be stated, and follow it."""
        policy = self.policy
        quantity = self._quantity or Quantity.RESISTANCE
        fixed = self._aim.u_fixed(new.value) if self._aim is not None else 0.0
        swings = new.half if new.noise is Noise.JUMPING else new.scatter
        held = Held(
            t=t,
            contact_t=self._began_t,
            value=new.value,
            unit=quantity.unit,
            readings=new.n * self._size * self._course.size,
            noise=new.scatter,
            resolution=step,
            step_at_most=0.0 if step else self._seen.at_most,
            u=new.u,
            dof=new.dof,
            limit=limit_of(new.u, fixed, step),
            revises=revises,
            slope=new.slope,
            slope_u=new.slope_u,
            origin=new.noise,
            poor=is_poor(policy, new.value, swings, step or self._seen.at_most),
        )
        self._keep(held, new.half, tolerance(policy, new.value, step, new.scatter))
        return held

    def _keep(self, held: Held, half: float, tol: float) -> None:
        """Go by a value that is held from now on."""
        self._held = self._newest_held = held
        self._stage = Stage.HELD
        self._track = held.value
        self._half = half
        self._fixed = tolerance(self.policy, held.value, held.resolution)
        self._doubt_t = inf
        self._band = self.policy.slide_tols * tol
        if not self._provisional:
            self._start_over()

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
        elif self._steadiness.count >= max(self._look_at, self.policy.due_readings):
            self._hold_late(t, said)
        return said

    def _hold_late(self, t: float, said: list[TouchEvent]) -> None:
        """Hold what is due and will not come to rest, if its level is known as well as may be."""
        policy, steadiness = self.policy, self._steadiness
        self._look_at = steadiness.count + max(1, steadiness.count // 8)
        step = self._seen.step if self._resolution is None else self._resolution
        every = self._cadence.interval * self._size
        places, values = steadiness.recent(policy.jump_share, step)
        span = places[-1] - places[0] if places else 0
        if len(values) < policy.due_readings or span * every < policy.late_time:
            return
        if span > len(values) + len(values) // OUTLIER_SPACING:
            return  # contact that comes and goes
        fixed = tolerance(policy, values[-1], step)
        found = weigh(values, every, 0.3 * fixed, variance_floor(policy, fixed, step))
        new = statement(policy, found, every, step, t - self._began_t)
        if not may_be_stated(policy, new, fixed) or span >= LONGEST:
            return
        model = ModelComparison(places, values, every, step, policy)
        model.refine()
        noisy = is_no_settling(found, every, new, fixed) and model.scatter > 0.5 * new.scatter
        if noisy:
            noisy = model.ask(policy.settling_share, bounce=False).p_moving <= _LATE_MOVING
        if not noisy and not self._creeps(every, step):
            return
        if is_quiet(values[-3:], new.scatter):
            self._look_at = steadiness.count + 1
            return  # about to come to rest
        self._course.start(values)
        self._provisional = True
        said.append(self._state(t, new, step, revises=False))

    def _creeps(self, every: float, step: float) -> bool:
        """Whether the whole touch, and its newer half, move too slowly for settling."""
        policy, course = self.policy, self._course
        newest = course.means[-1]
        values = [v for v in course.means if abs(v - newest) <= policy.jump_share * abs(newest)]
        half = len(values) // 2
        if half < 4:
            return False
        every *= course.size
        whole, newer = (
            ModelComparison(list(range(len(part))), part, every, step, policy).creep_gain()
            for part in (values, values[half:])
        )
        return whole > _CREEP_GAIN and newer > 0.0

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
        if self._held is None:
            self._course.add(value)
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
        newest, steadiness = self._newest_held, self._steadiness
        settled = self._held is None
        if newest is not None and settled and self._is_back(found.value, newest):
            # What lay between was no value of this point.
            self._held = newest
            self._stage = Stage.HELD
            self._track = found.value
            self._course.start(steadiness.settled(found))
            self._start_over()
            return
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
        dof = max(found.dof / inflation, 1.0)
        if found.p_course < 0.5 and is_noisy(found.value, found.scatter, step):
            # Contacts wander more slowly than the few newest readings can show.
            values = steadiness.recent(policy.jump_share, step)[1]
            tol = tolerance(policy, found.value, step)
            every = self._cadence.interval * self._size
            if len(values) >= FEWEST:
                seen = weigh(values, every, 0.3 * tol, variance_floor(policy, tol, step))
                u = max(u, seen.half / factor(dof))
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
            dof=dof,
            limit=limit_of(u, fixed, step),
            revises=not settled,
        )
        self._course.start(steadiness.settled(found))
        self._provisional = False
        half = factor(held.dof) * hypot(held.u, step / sqrt(12))
        if found.p_course > 0.5:
            # What is left of the settling is within the tolerance, and no movement to speak of.
            half = max(half, 0.5 * found.tol)
        self._keep(held, half, tolerance(policy, found.value, step, found.noise))
        self._look_at = 0
        said.append(held)

"""The hold detector: readings in, touch events out."""

from collections.abc import Sequence
from math import hypot, inf, sqrt
from typing import Final

from meterlink.events import Contact, Held, Lift, Noise, TouchEvent
from meterlink.hold.contact import Absence, Stage, Unusable
from meterlink.hold.following import Follower, Strays, is_quiet
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.hold.resolution import LastDigit
from meterlink.hold.sampling import Points
from meterlink.hold.settling import SteadinessEstimate, tolerance, variance_floor
from meterlink.hold.statement import LiveEstimate, Statement, is_noisy, is_poor, restless, waits
from meterlink.hold.steadiness import Steadiness
from meterlink.hold.stopping import DecisionEdges, limit_of, serial_inflation, should_stop
from meterlink.hold.wandering import FEWEST, factor, weigh
from meterlink.quantities.units import beyond_measure
from meterlink.reading import Quantity, Reading

_NOTHING: Final[tuple[TouchEvent, ...]] = ()
_BEYOND: Final = 1e30
"""Values beyond this are overloads, whatever the meter calls them (SCPI-1999 sends 9.9E37)."""


class HoldDetector:
    """Follow the touches in a stream of readings and say when each value stands.

    Feed readings in the order they came. Memory is constant; so is the time a reading, which is a
    comparison while the probes are off and once a value is held. Fast readings come in blocks.

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
        self._unusable = Unusable()
        self._points = Points()
        self._absence = Absence(policy)
        self._steadiness = Steadiness(policy)
        self._digit = LastDigit()
        self._follower = Follower(policy)
        self._strays = Strays(policy)
        self._forget()

    def _forget(self) -> None:
        """Wait for the next touch."""
        self._stage = Stage.APART
        self._contact_t = 0.0
        self._began_t = 0.0
        self._held: Held | None = None
        self._newest_held: Held | None = None
        self._provisional = False
        self._look_at = 0
        self._strays.clear()
        self._follower.start([])
        self._start_over()
        self._digit.clear()

    def _start_over(self) -> None:
        """Weigh none of the readings so far."""
        self._steadiness.clear()
        self._points.clear()

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
        if (found := self._steadiness.latest) is not None:
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
        if self._points.tick(t):
            self._start_over()
        if reading.overload or value > _BEYOND or value < -_BEYOND:
            self._absence.over(t)
            return self._missing(t, inf) if self._stage is not Stage.APART else _NOTHING
        if value != value or beyond_measure(value, reading.quantity.unit):
            self._unusable.add("not-a-number" if value != value else "beyond any meter")
            return _NOTHING
        self._absence.finite()
        if reading.quantity is not self._quantity:
            self._change(reading.quantity)
        if (held := self._held) is None:
            return self._settling(reading)
        if not self._follower.is_here(value):
            return self._astray(reading, held)
        if self._strays.here():
            self._start_over()
        self._absence.here()
        return self._follow(t, value, held)

    def close(self) -> Sequence[TouchEvent]:
        """End of the stream: say what was passed over and not yet said."""
        return self._unusable.say(self._last_t)

    def gap(self, t: float) -> Sequence[TouchEvent]:
        """Readings are missing from ``t`` on, as when the meter was lost.

        The touch is abandoned and the detector armed again. No lift is told, as none was seen.
        """
        said = self._unusable.say(t)
        self._forget()
        self._absence.here()
        return said

    def _untimely(self, reading: Reading) -> Sequence[TouchEvent]:
        """A reading no later than the one before; many of them are a clock set back."""
        if not self._unusable.is_clock_set_back(reading.t, self._last_t):
            return _NOTHING
        said = self.gap(self._last_t)
        self._last_t = -inf
        self._points = Points()
        return [*said, *self.feed(reading)]

    def _change(self, quantity: Quantity) -> None:
        """The meter was set to something else: what was under the probes has no value now."""
        if self._stage is not Stage.APART:
            self._unusable.add("quantity changed in mid-touch")
        self.policy = policy = self._ohms.in_unit(quantity.unit)
        self._steadiness = Steadiness(policy)
        self._follower = Follower(policy)
        self._forget()
        self._absence.air_from = inf
        self._quantity = quantity

    def _take(self, value: float) -> tuple[float | None, bool]:
        """Take a reading: the point that it ends, and whether a look at the points is due."""
        point = self._points.take(value)
        if point is None:
            return None, False
        return point, self._steadiness.take(self._points.place, point, self._points.every)

    def _look(self) -> SteadinessEstimate | None:
        """Weigh the newest points."""
        steadiness, points = self._steadiness, self._points
        single = points.sd_of_reading(steadiness.scatter)
        return steadiness.look(self._digit.step, points.every, single)

    # --- no contact ---------------------------------------------------------------------------

    def _missing(self, t: float, value: float) -> Sequence[TouchEvent]:
        self._points.clear()
        if not self._absence.missing(t, self._points.interval, value):
            return _NOTHING
        since = self._absence.since
        return [*self._unusable.say(t), *self._last_word(since), self._lift(since)]

    def _last_word(self, t: float) -> Sequence[TouchEvent]:
        """Hold as the probes leave what was waited for, or what a contact jumped down to."""
        if self._newest_held is None and self._steadiness.count >= self.policy.due_readings:
            return self._hold_late(t, leaves=True)
        if (held := self._held) is None or self._quantity is not Quantity.RESISTANCE:
            return _NOTHING
        new = self._follower.jumped_down(held, self._strays, self._points.interval)
        return _NOTHING if new is None else [self._state(t, new, held.resolution, revises=True)]

    def _lift(self, t: float) -> Lift:
        newest = self._newest_held
        contact_t = self._contact_t if newest is None else newest.contact_t
        self._forget()
        return Lift(t=t, contact_t=contact_t, held=newest is not None)

    def _contact(self, t: float) -> Contact:
        self._stage, self._contact_t, self._began_t = Stage.CONTACT, t, t
        return Contact(t=t)

    # --- a value that is held -----------------------------------------------------------------

    def _astray(self, reading: Reading, held: Held) -> Sequence[TouchEvent]:
        """A reading that is not the held value: an outlier, another point, or the air."""
        t, value, track, strays = reading.t, reading.value, self._follower.track, self._strays
        if self._quantity is Quantity.RESISTANCE and self._absence.far_above(value, track):
            return self._missing(t, value)
        self._absence.here()
        coarse = self.policy.slide_tols * (reading.resolution or 0.0)
        if abs(value - track) <= coarse < _BEYOND:
            # A coarser range shows the same value.
            return _NOTHING
        kept = strays.take(t, value, held, keeps=self._points.size == 1)
        if kept and strays.are_level(track, self._points.interval):
            return self._jumped(t, value, held)
        if strays.is_brief(t):
            self._digit.take(reading, self._steadiness.newest)
            self._follower.widen(self._digit.shown)
            self._take(value)
            return _NOTHING
        if strays.are_near:
            return self._jumped(t, value, held)
        self._stage, self._held, self._began_t = Stage.SETTLING, None, strays.since
        strays.here()
        return self._settling(reading)

    def _jumped(self, t: float, newest: float, held: Held) -> Sequence[TouchEvent]:
        """Take the strays as values of the same point."""
        self._start_over()
        self._follower.jump(self._strays.give(), newest)
        # Of a fast meter none is kept: the points of the new level come from now on.
        return self._revise(t, held) if self._points.size == 1 else self._follow(t, newest, held)

    def _follow(self, t: float, value: float, held: Held) -> Sequence[TouchEvent]:
        """Take a reading of what is held."""
        if self._provisional:
            point, due = self._take(value)
            found = self._look() if due else None
            if found is not None:
                return self._hold(t, found)
        else:
            point = self._points.take(value)
        if point is None or not self._follower.add(point, held):
            return _NOTHING
        return self._revise(t, held)

    def _revise(self, t: float, held: Held) -> Sequence[TouchEvent]:
        """Say a held value again where it has left its interval."""
        step = held.resolution or self._digit.step
        new = self._follower.revision(
            t,
            held,
            self._points.every,
            step,
            t - self._began_t,
            provisional=self._provisional,
        )
        return _NOTHING if new is None else [self._state(t, new, step, revises=True)]

    def _state(self, t: float, new: Statement, step: float, *, revises: bool) -> Held:
        """Hold what can be stated, and follow it."""
        at_most = self._digit.at_most
        swings = new.half if new.noise is Noise.JUMPING else new.scatter
        held = Held(
            t=t,
            contact_t=self._began_t,
            value=new.value,
            unit=self._unit,
            readings=new.n * self._points.size * self._follower.course.size,
            noise=new.scatter,
            resolution=step,
            step_at_most=0.0 if step else at_most,
            u=new.u,
            dof=new.dof,
            limit=limit_of(new.u, self._u_fixed(new.value), step),
            revises=revises,
            slope=new.slope,
            slope_u=new.slope_u,
            origin=new.noise,
            poor=is_poor(self.policy, new.value, swings, step or at_most),
        )
        self._keep(held, new.half, new.scatter)
        return held

    @property
    def _unit(self) -> str:
        return (self._quantity or Quantity.RESISTANCE).unit

    def _u_fixed(self, value: float) -> float:
        """What averaging cannot mend at ``value``."""
        return self._aim.u_fixed(value) if self._aim is not None else 0.0

    def _keep(self, held: Held, half: float, noise: float) -> None:
        """Go by a value that is held from now on."""
        self._held = self._newest_held = held
        self._stage = Stage.HELD
        self._follower.keep(held, half, noise)
        if not self._provisional:
            self._start_over()

    # --- settling -----------------------------------------------------------------------------

    def _settling(self, reading: Reading) -> Sequence[TouchEvent]:
        t, value = reading.t, reading.value
        said: list[TouchEvent] = []
        if value >= self._absence.air_from and self._quantity is Quantity.RESISTANCE:
            # The level at which the probes are known to float.
            return _NOTHING if self._stage is Stage.APART else self._missing(t, value)
        newest = self._steadiness.newest
        if self._stage is Stage.APART:
            said.append(self._contact(t))
        else:
            self._stage = Stage.SETTLING
            if (
                newest is not None
                and newest > self.policy.air_least
                and self._quantity is Quantity.RESISTANCE
                and self._absence.far_above(newest, value)
            ):
                self._absence.dropped(newest)
                said += [self._lift(t), self._contact(t)]
                newest = None
        self._absence.here()
        self._digit.take(reading, newest)
        point, due = self._take(value)
        if point is not None:
            self._follower.course.add(point)
        found = self._look() if due else None
        if found is not None:
            said += self._hold(t, found)
        elif self._steadiness.count >= max(self._look_at, self.policy.due_readings):
            said += self._hold_late(t)
        return said

    def _hold(self, t: float, found: SteadinessEstimate) -> Sequence[TouchEvent]:
        """Hold what was found, unless it is the held value come back, or not yet enough."""
        newest, steadiness, follower = self._newest_held, self._steadiness, self._follower
        settled = self._held is None
        if newest is not None and settled and follower.is_back(found.value, newest):
            # What lay between was no value of this point.
            self._held, self._stage = newest, Stage.HELD
            follower.track = found.value
            follower.start(steadiness.settled(found), soon=False)
            self._start_over()
            return _NOTHING
        policy, step = self.policy, steadiness.step
        inflation = serial_inflation(steadiness.stretch.values)
        u, sd = found.u * sqrt(inflation), found.scatter * sqrt(inflation)
        if not steadiness.stretch.is_due(policy) and not should_stop(
            policy, self._aim, found.value, u, sd, found.n, step
        ):
            return _NOTHING
        dof = max(found.dof / inflation, 1.0)
        if found.p_course < 0.5 and is_noisy(found.value, found.scatter, step):
            # Contacts wander more slowly than the few newest readings can show.
            values = steadiness.recent(policy.jump_share, step)[1]
            tol = tolerance(policy, found.value, step)
            if len(values) >= FEWEST:
                floor = variance_floor(policy, tol, step)
                u = max(u, weigh(values, self._points.every, 0.3 * tol, floor).half / factor(dof))
        held = Held(
            t=t,
            contact_t=self._began_t,
            value=found.value,
            unit=self._unit,
            readings=found.n * self._points.size,
            noise=self._points.noise_of_reading(found.noise, found.scatter),
            resolution=step,
            step_at_most=0.0 if step else self._digit.at_most,
            u=u,
            dof=dof,
            limit=limit_of(u, self._u_fixed(found.value), step),
            revises=not settled,
        )
        follower.start(steadiness.settled(found))
        self._provisional = False
        half = factor(held.dof) * hypot(held.u, step / sqrt(12))
        if found.p_course > 0.5:
            # What is left of the settling is within the tolerance, and no movement to speak of.
            half = max(half, 0.5 * found.tol)
        self._keep(held, half, found.noise)
        return [held]

    def _hold_late(self, t: float, *, leaves: bool = False) -> Sequence[TouchEvent]:
        """Hold what is due and will not come to rest, if its level is known as well as may be.

        Of a poor contact more is waited for, until the probes leave.
        """
        policy, steadiness = self.policy, self._steadiness
        self._look_at = steadiness.count + max(1, steadiness.count // 8)
        step, every, lasted = self._digit.step, self._points.every, t - self._began_t
        places, values = steadiness.recent(policy.jump_share, step)
        course = self._follower.course
        new = restless(policy, places, values, course, every, step, lasted, leaves)
        if new is None:
            return _NOTHING
        if leaves:
            return [self._state(t, new, step, revises=False)]
        if waits(new, lasted):
            return _NOTHING
        if is_quiet(values[-3:], new.scatter):
            self._look_at = steadiness.count + 1
            return _NOTHING  # about to come to rest
        self._follower.start(values, soon=False)
        self._provisional = True
        return [self._state(t, new, step, revises=False)]

"""What becomes of a value after it is held: it stands until it leaves its interval.

``Follower`` weighs the course of the touch now and then, and says what is to take the place of a
held value. ``Strays`` are readings away from that: lone outliers, another point, or a contact that
jumps.
"""

from math import inf
from typing import Final

from meterlink.events import Held, Noise
from meterlink.hold.policy import HoldPolicy
from meterlink.hold.settling import tolerance, variance_floor
from meterlink.hold.statement import Course, Statement, is_noisy, may_be_stated, statement

_MAYBE: Final = 0.3
"""Probability of a memory from which on noise is not taken to average out."""
_MOST_STRAYS: Final = 16
"""Most readings away from a held value that are remembered until it is known what they are."""


class Follower:
    """A value that is held, and the course of its touch."""

    def __init__(self, policy: HoldPolicy) -> None:
        self._policy = policy
        self.course = Course()
        self.track = 0.0
        """Where the held value has gone since ..."""
        self.band = 0.0
        """... and how far from there a reading may be."""
        self._half = self._fixed = 0.0
        self._doubt_t = inf
        self._look_at = 0

    def keep(self, held: Held, half: float, noise: float) -> None:
        """Go by a value that is held from now on; ``half``: of its 95 % interval."""
        policy = self._policy
        self.track, self._half = held.value, half
        self._fixed = tolerance(policy, held.value, held.resolution)
        self._doubt_t = inf
        self.band = policy.slide_tols * tolerance(policy, held.value, held.resolution, noise)

    def start(self, points: list[float], *, soon: bool = True) -> None:
        """Begin the course with these points, and weigh it at the next one if ``soon``."""
        self.course.start(points)
        self._look_at = 0 if soon else len(points) + max(1, len(points) // 8)

    def jump(self, points: list[float], to: float) -> None:
        """Take points that were astray as those of the held value; it is ``to`` by now."""
        for point in points:
            self.course.add(point)
        self.track, self._look_at = to, 0

    def is_here(self, value: float) -> bool:
        """Take a reading; whether it is the held value."""
        if abs(value - self.track) > self.band:
            return False
        # Follow a cooling winding, slowly enough that an outlier does not matter.
        self.track += 0.2 * (value - self.track)
        return True

    def is_back(self, value: float, held: Held) -> bool:
        """Whether a value is the held one, or where that has gone since."""
        return min(abs(value - self.track), abs(value - held.value)) <= self.band

    def widen(self, step: float) -> None:
        """Count a last digit that only shows now, after a value that stood still, as no slide."""
        if step <= self._policy.step_most:
            self.band = max(self.band, self._policy.slide_tols * step)

    def add(self, point: float, held: Held) -> bool:
        """Take a point of the held value; whether it is time to weigh the course."""
        self.course.add(point)
        if self.course.count < self._look_at:
            return False
        away, means, half = abs(self.track - held.value), self.course.means, self._half
        if self._doubt_t < inf or away > 0.5 * half:
            return True
        if half <= 0.25 * self._policy.sharper * self._fixed:
            return False
        # Of quiet readings that stay well within the interval there is nothing else to say.
        quiet = not is_noisy(held.value, held.noise, held.resolution)
        return not (quiet and max(means) - min(means) <= half)

    def revision(
        self, t: float, held: Held, every: float, step: float, lasted: float, *, provisional: bool
    ) -> Statement | None:
        """Weigh the touch so far; return what is to take the place of what is held, if anything.

        Args:
            t: of the newest point.
            held: what is held.
            every: seconds between points.
            step: of the last digit.
            lasted: seconds that the touch has lasted.
            provisional: it was held before it came to rest, and may come to rest yet.
        """
        policy, course = self._policy, self.course
        pause = max(2, course.count // 8)
        self._look_at = course.count + pause
        fixed = tolerance(policy, held.value, step)
        found = course.found(every, fixed, variance_floor(policy, fixed, step))
        if found is None:
            return None
        new = statement(policy, found, every * course.size, step, lasted)
        if not may_be_stated(policy, new, fixed) or not self._takes_the_place(
            new, held, fixed, pause * every
        ):
            self._doubt_t = inf
            return None
        self._doubt_t = min(self._doubt_t, t)
        if not self._shows(new, held, t) or (
            provisional and is_quiet(course.means[-3:], new.scatter)
        ):
            self._look_at = course.count + 1
            return None
        return new

    def jumped_down(self, held: Held, strays: "Strays", interval: float) -> Statement | None:
        """Return what a held value comes to whose contact got better just before the lift."""
        lower = strays.lower(self.track, interval)
        if lower is None:
            return None
        high = held.value + self._half
        half = 0.5 * (high - lower) + 0.5 * held.resolution
        return Statement(
            value=0.5 * (lower + high),
            half=half,
            half_now=half,
            dof=60.0,
            scatter=held.noise,
            noise=Noise.JUMPING,
            wanders=0.0,
            n=self.course.count,
        )

    def _shows(self, new: Statement, held: Held, t: float) -> bool:
        """Whether what speaks against the held value has done so for long enough."""
        lasted = t - self._doubt_t
        if new.is_plain or new.moves:
            return new.is_plain or lasted >= self._policy.late_time
        return lasted >= self._policy.doubt_time and has_turned(self.course.means, held.value)

    def _takes_the_place(self, new: Statement, held: Held, fixed: float, lead: float) -> bool:
        """Whether a statement is to replace the one that stands.

        Args:
            new: what is known now.
            held: what was stated.
            fixed: tolerance of the value.
            lead: seconds until it is looked at again.
        """
        away, half = abs(new.value - held.value), self._half
        if new.noise is Noise.JUMPING:
            return away + new.half > half + 0.25 * fixed and away + new.half > 1.1 * half
        if held.origin is Noise.JUMPING:
            return away > half
        if away > half and (away > new.half_now or new.half_now > half):
            return True
        if new.half_now > 1.5 * half:
            return True
        if new.moves and away + lead * abs(new.slope) > half:
            return True
        if new.wanders > _MAYBE or not is_noisy(held.value, held.noise, held.resolution):
            return False
        matters = 0.25 * fixed
        return max(half, matters) > self._policy.sharper * max(new.half, matters)


class Strays:
    """Readings away from a held value, until it is known what they are."""

    def __init__(self, policy: HoldPolicy) -> None:
        self._policy = policy
        self.clear()

    def clear(self) -> None:
        """Forget them."""
        self.since = 0.0
        """When the newest run of them began, seconds."""
        self._count = 0
        self._all_near = True
        self._values: list[float] = []
        self._here = 0

    def here(self) -> bool:
        """A reading of the held value; whether it ends a run of strays."""
        ended = self._count > 0
        self._count = 0
        if self._values:
            self._here += 1
            if self._here > _MOST_STRAYS:
                self._values.clear()
        return ended

    def take(self, t: float, value: float, held: Held, *, keeps: bool) -> bool:
        """Take a stray reading, to be remembered if it ``keeps``; whether it was.

        Only values are that may be of the same point, seen through a contact that is not good.
        """
        if not self._count:
            self.since, self._all_near = t, True
        self._count += 1
        near = abs(value - held.value) <= self._policy.jump_share * abs(held.value)
        self._all_near &= near
        if near and keeps:
            self._values.append(value)
            self._here = 0
        return near and keeps

    def is_brief(self, t: float) -> bool:
        """Whether the run is too short to say what it is."""
        policy = self._policy
        return t - self.since < policy.dropout_time or self._count < policy.least_readings

    @property
    def are_near(self) -> bool:
        """Whether all of the run may be of the same point."""
        return self._all_near

    def are_level(self, track: float, interval: float) -> bool:
        """Whether the newest agree, far from ``track``, so that they are no lone outliers."""
        slow = interval > self._policy.dropout_time
        few = 2 if slow and self._count > 1 else 3
        newest = self._values[-few:]
        if len(newest) < few:
            return False
        return max(newest) - min(newest) <= min(abs(v - track) for v in newest) / 6

    def lower(self, track: float, interval: float) -> float | None:
        """The lowest of the run, if all of it is below ``track`` and no lone outlier; else None.

        A probe that leaves only adds to what it reads, so values below are of the point.
        """
        few = 1 if interval > self._policy.dropout_time else 2
        run = self._values[-self._count :] if self._count else []
        if not self._all_near or len(run) < few or max(run) > track:
            return None
        return min(run)

    def give(self) -> list[float]:
        """Return those that are remembered, as values of the same point after all."""
        values = self._values[:]
        self._values.clear()
        self._count = 0
        return values


def has_turned(ys: list[float], base: float) -> bool:
    """Whether values that left ``base`` have come back by a little: then they do not run away."""
    away = [y - base for y in ys] if ys[-1] > base else [base - y for y in ys]
    return max(away[-2:]) <= 0.85 * max(away)


def is_quiet(ys: list[float], scatter: float) -> bool:
    """Whether three values agree far better than the ``scatter`` of those before lets expect."""
    return max(ys) - min(ys) < 0.15 * scatter or abs(ys[-1] - ys[-2]) < 0.04 * scatter

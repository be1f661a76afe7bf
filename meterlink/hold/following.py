"""What becomes of a value after it is held, or where it never comes to rest.

A ``Course`` is the record of a touch in flat memory. ``state`` says what can be stated of it: the
level with what noise, slope and jumps of the contact make of its interval, or nothing. A value
that was stated stands until it leaves its interval, or until far more is known.
"""

from math import hypot
from typing import Final

import msgspec

from meterlink.events import Held, Noise
from meterlink.hold.policy import HoldPolicy
from meterlink.hold.wandering import FEWEST, Found, factor, weigh

_RECTANGLE: Final = 1.96 / 3**0.5
"""Half of a 95 % interval that has the variance of a rectangle of half width one."""
_SLOWEST: Final = 1.4
"""Time constant of the slowest settling, seconds ..."""
_CREEP_POINTS: Final = 8
"""Creep is seen in so many points ..."""
_CREEP_TIME: Final = 1.0
"""... over so many seconds at least."""
_STANDS_OUT: Final = 6.0
"""Two levels that are so many times the scatter about them apart are no ramp."""
_MAYBE: Final = 0.3
"""Probability of a memory from which on noise is not taken to average out."""
_LIKELY: Final = 0.5
"""Probability from which on an origin of the noise, or a movement, is named."""
FLOOR: Final = 0.3
"""Probability from which on values are taken to lie above a floor."""
_SURE: Final = 0.95
"""Probability from which on a movement is what is stated."""


class Statement(msgspec.Struct, frozen=True):
    """What can be said of a touch at one moment."""

    value: float
    half: float
    """Half of the 95 % interval, for as long as it is to stand."""
    half_now: float
    """The same at this moment."""
    dof: float
    scatter: float
    """Standard deviation of one point."""
    noise: Noise
    slope: float
    """Unit a second; 0 where no movement is likely."""
    slope_u: float
    moves: bool
    is_plain: bool
    """A movement that went on for long enough, or a jump that stands out: it needs no proof by
    going on."""
    wanders: float
    """Probability that its noise has a memory."""
    n: int
    """Points that it rests on."""

    @property
    def u(self) -> float:
        """Standard uncertainty that gives the interval with ``dof``."""
        return self.half / factor(self.dof)


class Course:
    """The readings of a touch since its value came to rest, as means of ever longer runs."""

    def __init__(self, kept: int) -> None:
        """``kept``: most means that are kept."""
        self._kept = kept
        self.start([])

    def start(self, points: list[float]) -> None:
        """Begin anew with these points."""
        self.means = list(points)
        self.size = 1
        """Points in a mean."""
        self._sum, self._count = 0.0, 0
        self.count = len(points)
        """Points so far."""

    def add(self, value: float) -> None:
        """Take a point."""
        self.count += 1
        self._sum += value
        self._count += 1
        if self._count < self.size:
            return
        means = self.means
        means.append(self._sum / self.size)
        self._sum, self._count = 0.0, 0
        if len(means) >= self._kept:
            # An even number, so that each mean has a partner; the oldest goes where it has none.
            odd = len(means) % 2
            self.means = [
                0.5 * (a + b) for a, b in zip(means[odd::2], means[odd + 1 :: 2], strict=True)
            ]
            self.size *= 2

    def found(self, every: float, fixed: float, floor: float) -> Found | None:
        """Weigh what there is, or of what bends the newest part; None where it is too little.

        Args:
            every: seconds between points.
            fixed: tolerance of the value.
            floor: variance of a point that is there whatever is seen.
        """
        values = self.means
        if len(values) < FEWEST:
            return None
        while True:
            found = weigh(values, every * self.size, 0.3 * fixed, floor)
            if found.p_bends < _LIKELY or found.p_jumps > _LIKELY or len(values) < 12:
                return found
            values = values[len(values) // 3 :]


def statement(
    policy: HoldPolicy, found: Found, every: float, step: float, lasted: float
) -> Statement:
    """Return what ``found`` comes to.

    Args:
        policy: the numbers to go by.
        found: what was weighed.
        every: seconds between the values that were.
        step: of the last digit.
        lasted: seconds that the touch has lasted, as a value of what moves stands in proportion.
    """
    noise = Noise.WANDERING if found.p_wanders > _LIKELY else Noise.WHITE
    gap = found.high - found.low
    if found.p_jumps > _LIKELY and gap > _STANDS_OUT * found.within:
        value = 0.5 * (found.low + found.high)
        half = 0.5 * gap + 1.2 * found.within + 0.5 * step
        return Statement(
            value=value,
            half=half,
            half_now=half,
            dof=60.0,
            scatter=found.within,
            noise=Noise.JUMPING,
            slope=0.0,
            slope_u=0.0,
            moves=False,
            is_plain=gap > 3 * found.newest
            and (found.since - 0.5) * every > min(policy.least_time, 1.4 * every),
            wanders=found.p_wanders,
            n=found.n,
        )
    rests = found.p_moves < _LIKELY
    if rests and found.p_floor > FLOOR and is_poor(policy, found.value, found.spread, step):
        # What a poor contact adds is in all values: the part itself is no higher than the lowest.
        high = found.value + 0.5 * found.half
        low = min(found.floor - 0.4 * found.spread, high)
        half = 0.5 * (high - low)
        return Statement(
            value=low + half,
            half=half,
            half_now=half,
            dof=max(found.dof, 4.0),
            scatter=found.spread,
            noise=noise,
            slope=0.0,
            slope_u=0.0,
            moves=False,
            is_plain=False,
            wanders=found.p_wanders,
            n=found.n,
        )
    moves = found.p_moves > _SURE
    slope = found.slope / every
    stands = max(policy.stands_time, policy.stands_share * lasted)
    goes = abs(slope) * stands if moves else 0.0
    return Statement(
        value=found.value,
        half=hypot(found.half, _RECTANGLE * goes),
        half_now=found.half,
        dof=found.dof,
        scatter=found.spread if rests else found.scatter,
        noise=noise,
        slope=slope if moves else 0.0,
        slope_u=found.slope_u / every,
        moves=moves,
        is_plain=moves
        and found.p_bends < _LIKELY
        and found.n >= _CREEP_POINTS
        and found.n * every >= _CREEP_TIME,
        wanders=found.p_wanders,
        n=found.n,
    )


def is_noisy(value: float, scatter: float, step: float) -> bool:
    """Whether readings scatter by so much that the contact may have a share in it."""
    return scatter > max(1e-3 * abs(value), 2 * step)


def is_poor(policy: HoldPolicy, value: float, scatter: float, step: float) -> bool:
    """Whether readings scatter by more than a meter's own noise: the contact is poor."""
    usual = policy.noise_share * abs(value)
    return scatter > max(usual, policy.noise_resolutions * step, policy.tol_least)


def may_be_stated(policy: HoldPolicy, new: Statement, fixed: float) -> bool:
    """Whether it is a value at all: contact there is, and it does not run away."""
    size = abs(new.value)
    if new.scatter > min(max(policy.noise_most * size, 10 * fixed), policy.contact_most):
        return False
    if new.noise is Noise.JUMPING:
        return new.half <= 0.6 * policy.jump_share * size
    return abs(new.slope) <= max(policy.creep_most * size, 2 * fixed)


def is_no_settling(found: Found, every: float, new: Statement, fixed: float) -> bool:
    """Whether a touch that never came to rest may be stated before it does.

    Either what is left to settle would be lost in the noise, or the value creeps: its course bends
    less than any settling does.
    """
    tol = max(fixed, 2 * new.scatter)
    slope = abs(found.slope) / every
    return 2 * new.scatter > fixed and slope * _SLOWEST <= tol


def takes_the_place(
    policy: HoldPolicy, new: Statement, held: Held, half: float, fixed: float, lead: float
) -> bool:
    """Whether a statement is to replace the one that stands.

    Args:
        policy: the numbers to go by.
        new: what is known now.
        held: what was stated.
        half: half of the 95 % interval of that.
        fixed: tolerance of the value.
        lead: seconds until it is looked at again.
    """
    away = abs(new.value - held.value)
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
    return max(half, matters) > policy.sharper * max(new.half, matters)

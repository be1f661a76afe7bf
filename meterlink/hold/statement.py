"""What can be said of a touch whose readings never come to rest, and what cannot.

``Course`` is the record of a touch in flat memory. ``statement`` puts together what
``wandering.weigh`` found: a level, with what noise, slope and jumps of the contact make of its
interval. ``may_be_stated`` says whether that is a value at all, and ``restless`` whether it may be
said before the touch comes to rest.
"""

from itertools import pairwise
from math import fsum, hypot, sqrt
from typing import Final

import msgspec
from msgspec import structs

from meterlink.events import Noise
from meterlink.hold.exponentials import LONGEST
from meterlink.hold.policy import HoldPolicy
from meterlink.hold.settling import ModelComparison, tolerance, variance_floor
from meterlink.hold.steadiness import OUTLIER_SPACING
from meterlink.hold.wandering import FEWEST, Found, factor, memory_likelihood, weigh

_RECTANGLE: Final = 1.96 / 3**0.5
"""Half of a 95 % interval that has the variance of a rectangle of half width one."""
_CREEP_POINTS: Final = 8
"""Creep is seen in so many points ..."""
_CREEP_TIME: Final = 1.0
"""... over so many seconds at least."""
_STANDS_OUT: Final = 6.0
"""Two levels that are so many times the scatter about them apart are no ramp."""
_KEPT: Final = 48
"""Most means that the record of a touch keeps."""
_LATE_MOVING: Final = 0.25
"""Where noise hides what is left to settle, a larger probability of it than this is waited for."""
_SWITCHES: Final = 2
"""A contact that jumps is held once it has gone there and back; a range change only goes."""
_MEMORY_GAIN: Final = 0.0
"""Log likelihood by which noise with a memory must explain a touch better than settling does."""
_LATE_REST: Final = 0.5
"""What settling leaves unexplained is more than this share of the scatter where noise hides it."""
_LAST_REST: Final = 0.3
"""The same as the probes leave ..."""
_LAST_GAIN: Final = -2.0
"""... the gain of a memory ..."""
_LAST_MOVING: Final = 0.6
"""... the probability that the value still settles ..."""
_LAST_NOISE: Final = 0.085
"""... and the most that readings may scatter then, as a share of the value. Without these three 11
in 1,000 of the contacts that wander are missed for 3, and 3 of even noise for none."""
_CONTACT_NOISE: Final = 0.012
"""No meter is so noisy, as a share of the value: the contact is, so values lie above a floor ..."""
_NO_FLOOR: Final = 0.05
"""... unless that has less than this probability."""
_BELOW: Final = 0.6
"""The value of a poor contact is so many standard deviations below the mean of its readings: then
a part whose contact adds half a normal distribution is within two of them, and so is one whose
readings scatter about it. A larger share would put the value of an even noise off by two."""
_POOR_TIME: Final = 2.0
"""After so many seconds of a touch, or at the lift, readings are held that scatter by ..."""
_POOR_NOISE: Final = 0.008
"""... more than this share of the value."""
_ROOM: Final = 3.0
"""What moves or scatters by so many times more than may be stated is not weighed."""
_CREEP_GAIN: Final = 3.0
"""Log likelihood by which creep explains a touch better than settling does."""
_LIKELY: Final = 0.5
"""Probability from which on an origin of the noise, or a movement, is named."""
_FLOOR: Final = 0.3
"""Probability from which on values are taken to lie above a floor."""
_SURE: Final = 0.95
"""Probability from which on a movement is what is stated."""


class Course:
    """The readings of a touch since its value came to rest, as means of ever longer runs."""

    def __init__(self) -> None:
        self.start([])

    def start(self, points: list[float]) -> None:
        """Begin again with these points."""
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
        if len(means) >= _KEPT:
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


class LiveEstimate(msgspec.Struct, frozen=True, gc=False):
    """The best estimate so far of the value under the probes, for the eye."""

    value: float
    """As read, steadied; the unit of the readings."""
    u: float
    """Its standard uncertainty by repeatability; infinite while there is nothing to go by."""


class Statement(msgspec.Struct, frozen=True, kw_only=True):
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
    slope: float = 0.0
    """Unit a second; 0 where no movement is likely."""
    slope_u: float = 0.0
    moves: bool = False
    is_plain: bool = False
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
    if found.p_jumps > _LIKELY and found.high - found.low > _STANDS_OUT * found.within:
        return _between_levels(policy, found, every, step)
    rests = found.p_moves < _LIKELY
    rough = found.spread > _CONTACT_NOISE * abs(found.value)
    floored = found.p_floor > (_NO_FLOOR if rough else _FLOOR)
    if rests and floored and is_poor(policy, found.value, found.spread, step):
        return _above_floor(found)
    moves = found.p_moves > _SURE
    slope = found.slope / every
    stands = max(policy.stands_time, policy.stands_share * lasted)
    goes = abs(slope) * stands if moves else 0.0
    long = found.n >= _CREEP_POINTS and found.n * every >= _CREEP_TIME
    return Statement(
        value=found.value,
        half=hypot(found.half, _RECTANGLE * goes),
        half_now=found.half,
        dof=found.dof,
        scatter=found.spread if rests else found.scatter,
        noise=_noise(found),
        slope=slope if moves else 0.0,
        slope_u=found.slope_u / every,
        moves=moves,
        is_plain=moves and found.p_bends < _LIKELY and long,
        wanders=found.p_wanders,
        n=found.n,
    )


def _noise(found: Found) -> Noise:
    return Noise.WANDERING if found.p_wanders > _LIKELY else Noise.WHITE


def _between_levels(policy: HoldPolicy, found: Found, every: float, step: float) -> Statement:
    """Return what a contact that jumps comes to: an interval that spans both of its levels."""
    gap = found.high - found.low
    half = 0.5 * gap + 1.2 * found.within + 0.5 * step
    lasts = (found.since - 0.5) * every > min(policy.least_time, 1.4 * every)
    return Statement(
        value=0.5 * (found.low + found.high),
        half=half,
        half_now=half,
        dof=60.0,
        scatter=found.within,
        noise=Noise.JUMPING,
        is_plain=gap > 3 * found.newest and lasts,
        wanders=found.p_wanders,
        n=found.n,
    )


def _above_floor(found: Found) -> Statement:
    """Return what a poor contact comes to.

    What it adds is in all values: the part itself is hardly higher than the lowest.
    """
    below = min(
        _BELOW * found.spread,
        found.value - found.floor + 0.4 * found.spread,
    )
    half = below + 0.7 * found.half
    return Statement(
        value=found.value - below,
        half=half,
        half_now=half,
        dof=max(found.dof, 4.0),
        scatter=found.spread,
        noise=_noise(found),
        wanders=found.p_wanders,
        n=found.n,
    )


def restless(
    policy: HoldPolicy,
    places: list[int],
    values: list[float],
    course: Course,
    every: float,
    step: float,
    lasted: float,
    leaves: bool,
) -> Statement | None:
    """Return what can be said of a touch that is due and will not come to rest; None for nothing.

    Either what is left to settle is lost in the noise, or the value creeps.

    Args:
        policy: the numbers to go by.
        places: of the newest points that are of one level, on the grid, oldest first.
        values: theirs.
        course: of the whole touch.
        every: seconds from one place to the next.
        step: of the last digit.
        lasted: seconds that the touch has lasted.
        leaves: it is over, so that nothing more can be waited for.
    """
    if leaves:
        policy = structs.replace(policy, noise_most=_LAST_NOISE)
    span = places[-1] - places[0] if places else 0
    if len(values) < policy.due_readings or not policy.late_time <= span * every < LONGEST * every:
        return None
    if span > len(values) + len(values) // OUTLIER_SPACING:
        return None  # contact that comes and goes
    fixed = tolerance(policy, values[-1], step)
    # What is cheap to see goes first: most of what does not come to rest is still settling.
    size, (slope, scatter, _) = abs(values[-1]), _line(values)
    if (
        abs(slope) > _ROOM * every * max(policy.creep_most * size, 2 * fixed)
        or scatter > _ROOM * max(policy.noise_most * size, 10 * fixed)
        or not (
            _goes_and_returns(values)
            or _is_noise(policy, places, values, every, step, leaves)
            or _creeps(policy, course, every, step)
        )
    ):
        return None
    found = weigh(values, every, 0.3 * fixed, variance_floor(policy, fixed, step))
    new = statement(policy, found, every, step, lasted)
    return new if may_be_stated(policy, new, fixed) else None


def _line(values: list[float]) -> tuple[float, float, float]:
    """Slope, a place, of the line through values, and standard deviations about it and in all."""
    n = len(values)
    middle, mean = 0.5 * (n - 1), fsum(values) / n
    away = [v - mean for v in values]
    squares = n * (n * n - 1) / 12
    slope = sum((i - middle) * a for i, a in enumerate(away)) / squares
    whole = sum(a * a for a in away)
    rest = max(0.0, whole - slope * slope * squares)
    return slope, sqrt(rest / (n - 2)), sqrt(whole / (n - 1))


def _goes_and_returns(values: list[float]) -> bool:
    """Whether values jump between two levels; a range change only goes."""
    low, high = min(values), max(values)
    near = (high - low) / _STANDS_OUT
    if not near or any(low + near < v < high - near for v in values):
        return False
    up = [v > low + near for v in values]
    return sum(a != b for a, b in pairwise(up)) >= _SWITCHES


def _is_noise(
    policy: HoldPolicy,
    places: list[int],
    values: list[float],
    every: float,
    step: float,
    leaves: bool,
) -> bool:
    """Whether what is left to settle would be lost in the noise, or is noise with a memory."""
    _, _, scatter = _line(values)
    if 2 * scatter <= tolerance(policy, values[-1], step):
        return False
    model = ModelComparison(places, values, every, step, policy)
    model.refine()
    if memory_likelihood(values) - model.like > (_LAST_GAIN if leaves else _MEMORY_GAIN):
        return True
    if model.scatter <= (_LAST_REST if leaves else _LATE_REST) * scatter:
        return False
    most = _LAST_MOVING if leaves else _LATE_MOVING
    return model.ask(policy.settling_share, bounce=False).p_moving <= most


def _creeps(policy: HoldPolicy, course: Course, every: float, step: float) -> bool:
    """Whether the whole touch, and its newer half, move too slowly for settling."""
    newest = course.means[-1]
    values = [v for v in course.means if abs(v - newest) <= policy.jump_share * abs(newest)]
    half = len(values) // 2
    if half < 4:
        return False
    every *= course.size

    def gain(part: list[float]) -> float:
        return ModelComparison(list(range(len(part))), part, every, step, policy).creep_gain()

    return gain(values) > _CREEP_GAIN and gain(values[half:]) > 0.0


def is_noisy(value: float, scatter: float, step: float) -> bool:
    """Whether readings scatter by so much that the contact may have a share in it."""
    return scatter > max(1e-3 * abs(value), 2 * step)


def is_poor(policy: HoldPolicy, value: float, scatter: float, step: float) -> bool:
    """Whether readings scatter by more than a meter's own noise: the contact is poor."""
    usual = policy.noise_share * abs(value)
    return scatter > max(usual, policy.noise_resolutions * step, policy.tol_least)


def waits(new: Statement, lasted: float) -> bool:
    """Whether the contact is so poor that more of the touch than ``lasted`` seconds is needed."""
    return new.scatter > _POOR_NOISE * abs(new.value) and lasted < _POOR_TIME


def may_be_stated(policy: HoldPolicy, new: Statement, fixed: float) -> bool:
    """Whether it is a value at all: contact there is, and it does not run away."""
    size = abs(new.value)
    if new.scatter > min(max(policy.noise_most * size, 10 * fixed), policy.contact_most):
        return False
    if new.noise is Noise.JUMPING:
        return new.half <= 0.6 * policy.jump_share * size
    return abs(new.slope) <= max(policy.creep_most * size, 2 * fixed)

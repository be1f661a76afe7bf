"""Which of the newest readings belong together, and whether they stand still.

A touch brings bounce, range steps, settling and outliers before the value stands. From the
newest points backward a stretch is taken as long as one model can explain it; only that stretch
is weighed (``settling.ModelComparison``). Work and memory a point are bounded by
``HoldPolicy.kept``.
"""

import itertools
from collections import deque
from math import exp, log, sqrt
from typing import Final

from meterlink.hold.exponentials import LONGEST
from meterlink.hold.policy import HoldPolicy
from meterlink.hold.settling import ModelComparison, SteadinessEstimate, tolerance, variance_floor

_LOOK_TIME: Final = 0.25
"""Where looks follow more quickly than this, seconds, each may take less of the risk ..."""
_LOOK_POWER: Final = 0.8
"""... in proportion to this power of the time between them."""
_LOOK_SHARE: Final = 8
"""After a look that found the risk far too large, this share of the stretch passes first ..."""
_LOOK_MOST: Final = 2
"""... but no more than this many points ..."""
_LOOK_ODDS: Final = 20.0
"""... far being this many times too large."""
_FORESEEN: Final = 0.9
"""Share of the time that a settling value is foreseen to take that passes without a look."""
_KEPT: Final = 60
"""Most readings (or blocks of readings) that are weighed at once."""
_APART_TOLS: Final = 3.0
"""Where the three newest differ by more tolerances than this, nothing is weighed."""
OUTLIER_SPACING: Final = 8
"""Two readings that are passed over as outliers are at least this far apart."""
_CUT_RISK: Final = 0.5
"""Share of the risk that is left after each cut."""
_ROUGH_POINTS: Final = 8
"""Newest points that the noise between neighbours is taken from."""


class Stretch:
    """Points that belong together, oldest first."""

    __slots__ = ("every", "places", "values")

    def __init__(self, places: list[int], values: list[float], every: float) -> None:
        """Take the points.

        Args:
            places: where they lie on the grid of points.
            values: readings, or means of blocks of readings.
            every: seconds from one place on the grid to the next.
        """
        self.places, self.values, self.every = places, values, every

    @property
    def span(self) -> float:
        """Seconds from the first to the last."""
        return (self.places[-1] - self.places[0]) * self.every

    def is_long(self, policy: HoldPolicy, cut: int = 0) -> bool:
        """Whether, less its ``cut`` oldest points, it offers what a hold takes at least."""
        if len(self.places) - cut < policy.least_readings:
            return False
        return (self.places[-1] - self.places[cut] - 0.05) * self.every > policy.least_time

    def is_due(self, policy: HoldPolicy) -> bool:
        """Whether it is so long that it must hold if it can."""
        return len(self.values) >= policy.due_readings and self.span >= policy.late_time

    def cut(self, n: int) -> None:
        """Drop the ``n`` oldest points."""
        del self.places[:n], self.values[:n]


class Steadiness:
    """The newest points of a touch, weighed one by one."""

    def __init__(self, policy: HoldPolicy) -> None:
        self._policy = policy
        self._points: deque[tuple[int, float]] = deque(maxlen=_KEPT)
        self.count = 0
        """Points taken since the last was forgotten."""
        self.step = 0.0
        """Step of the last digit of the newest point; 0 where none is known."""
        self.latest: SteadinessEstimate | None = None
        """What the newest points said."""
        self.stretch = Stretch([], [], 0.0)
        """The points that ``latest`` speaks of."""
        self.scatter = 0.0
        """Of a point, when the newest ones were last weighed; 0 before."""
        self._looked_at = 0
        self._pause = 0

    def clear(self) -> None:
        """Forget all points."""
        self.count = 0
        self._points.clear()
        self.latest = None
        self.scatter = 0.0
        self._pause = 0

    @property
    def newest(self) -> float | None:
        """Value of the newest point."""
        return self._points[-1][1] if self._points else None

    def take(self, place: int, value: float, every: float) -> bool:
        """Take one point; True where the newest ones may be steady, so that a look is due.

        Args:
            place: where it lies on the grid of points.
            value: the reading, or mean of a block of readings.
            every: seconds from one place on the grid to the next.
        """
        points, policy = self._points, self._policy
        points.append((place, value))
        self.count += 1
        if self.latest is not None:
            if self._still_moves(place, value, every):
                return False
            self.latest = None
        if self._pause:
            self._pause -= 1
            return False
        long = (place - points[0][0] - 0.05) * every > policy.least_time
        return long and len(points) >= policy.least_readings

    def look(self, step: float, every: float, single: float) -> SteadinessEstimate | None:
        """Weigh the newest points; return what they say if they are steady.

        Args:
            step: step of the last digit, 0 where none is known.
            every: seconds from one place on the grid to the next.
            single: standard deviation of one reading within blocks, 0 where points are readings.
        """
        policy, value = self._policy, self._points[-1][1]
        self.step = step
        fixed = tolerance(policy, value, step)
        reach = policy.reach * fixed
        newest = self._newest(4)
        whole = max(newest) - min(newest) <= reach
        if whole and self._is_restless(newest, fixed):
            return None
        stretch = self._stretch(value, reach, every)
        values = stretch.values
        if not stretch.is_long(policy) or (not whole and self._is_restless(values[-4:], fixed)):
            return None
        jump = newest_level(values, 0.2 * fixed + 2.5 * step, policy.jump_gain)
        share = policy.settling_share
        if jump:
            stretch.cut(jump)
            if not stretch.is_long(policy):
                return None
        elif self._approached(len(values)):
            share = policy.course_share
        return self._weigh(stretch, share, fixed, single)

    def recent(self, share: float, step: float) -> tuple[list[int], list[float]]:
        """Places and values of the newest points that may be of one level, oldest first.

        They lie within a ``share`` of the median of the newest few; lone outliers are left out.
        """
        places: list[int] = []
        values: list[float] = []
        few = sorted(self._newest(7))
        if few:
            centre = few[len(few) // 2]
            reach = max(share * abs(centre), 10 * step)
            outlier = False
            for place, value in reversed(self._points):
                if abs(value - centre) <= reach:
                    outlier = False
                    places.append(place)
                    values.append(value)
                elif outlier:
                    break
                else:
                    outlier = True
        places.reverse()
        values.reverse()
        return places, values

    def _newest(self, n: int) -> list[float]:
        """Values of the newest ``n`` points, or of those there are."""
        newest = [value for _, value in itertools.islice(reversed(self._points), n)]
        newest.reverse()
        return newest

    def _is_restless(self, newest: list[float], fixed: float) -> bool:
        """Whether the four newest values rule out that the value stands: no need to weigh them."""
        last = newest[-3:]
        if max(last) - min(last) > _APART_TOLS * fixed:
            return True
        return is_on_the_move(newest, 1.5 * fixed)

    def _still_moves(self, place: int, value: float, every: float) -> bool:
        """Whether the value only goes on as the last look foresaw: no need to look again yet.

        What is left takes its time constant times a logarithm to come within the tolerance; most
        of that may pass unseen as long as the newest points move no slower than foreseen.
        """
        found = self.latest
        if found is None or found.p_moving < 0.5 or not found.tau or len(self._points) < 4:
            return False
        since = (place - self._looked_at) * every
        if since > _FORESEEN * found.tau * log(max(found.left / found.tol, 1.0)):
            return False
        then, before = self._points[-3]
        growth = exp(min((place - then) * every / found.tau, 50.0)) - 1
        foreseen = found.left * exp(-since / found.tau) * growth
        return abs(value - before) > 0.6 * foreseen

    def _stretch(self, newest: float, reach: float, every: float) -> Stretch:
        """Points within reach of the newest one, back to the first two in a row that are not."""
        low, high = newest - reach, newest + reach
        places: list[int] = []
        values: list[float] = []
        outlier, allowed_from = False, 2
        first = self._points[-1][0] - LONGEST
        for place, value in reversed(self._points):
            if place <= first:
                break
            if low <= value <= high:
                outlier = False
                places.append(place)
                values.append(value)
            elif outlier or len(values) < allowed_from:
                break
            else:
                outlier, allowed_from = True, len(values) + OUTLIER_SPACING
        places.reverse()
        values.reverse()
        return Stretch(places, values, every)

    def _approached(self, n: int) -> bool:
        """Whether the points before the stretch came nearer and nearer to it from one side."""
        points = self._points
        if len(points) < n + 2:
            return False
        base = points[-n][1]
        near, far = points[-n - 1][1] - base, points[-n - 2][1] - base
        return far > near > 0 or far < near < 0

    def _risk(self, stretch: Stretch) -> float:
        """The risk that a hold may take now: less where looks follow fast upon one another."""
        policy, risk = self._policy, self._policy.risk
        if stretch.every < _LOOK_TIME:
            risk *= (stretch.every / _LOOK_TIME) ** _LOOK_POWER
        return max(risk, policy.late_risk) if stretch.is_due(policy) else risk

    def _weigh(
        self, stretch: Stretch, share: float, fixed: float, single: float
    ) -> SteadinessEstimate | None:
        """Cut the oldest part off until one model explains the stretch, then ask it."""
        policy, step, places, values = self._policy, self.step, stretch.places, stretch.values
        risk, n = self._risk(stretch), len(values)
        rough = rough_noise(values[-_ROUGH_POINTS:], variance_floor(policy, fixed, step))
        most = policy.cut_gain * rough
        self._looked_at, self.stretch = places[-1], stretch
        while True:
            model = ModelComparison(places, values, stretch.every, step, policy, single)
            misfit = model.scatter > most
            if misfit:
                share = policy.course_share
                model.refine()
            if model.scatter <= most:
                if not misfit and model.is_course():
                    model.refine()
                return self._decide(model, stretch, share, risk)
            # Each shorter stretch is another look that may go wrong.
            share, risk = policy.course_share, risk * _CUT_RISK
            cut = max(1, len(values) // 4)
            if not stretch.is_long(policy, cut):
                break
            stretch.cut(cut)
        self.latest, self.scatter = model.ask(share), model.scatter
        self._wait(n)
        return None

    def _wait(self, n: int) -> None:
        """Let a few points pass before the next look at a stretch of ``n``."""
        self._pause = min(n // _LOOK_SHARE, _LOOK_MOST)

    def _decide(
        self, model: ModelComparison, stretch: Stretch, share: float, risk: float
    ) -> SteadinessEstimate | None:
        """Ask a stretch that one model explains whether it is steady."""
        self.latest = found = model.ask(share)
        self.scatter = found.scatter
        if found.p_moving >= risk or not self._quiet(found):
            if found.p_moving > _LOOK_ODDS * risk:
                self._wait(found.n)
            return None
        return self._done(model, stretch, found)

    def _done(
        self, model: ModelComparison, stretch: Stretch, found: SteadinessEstimate
    ) -> SteadinessEstimate | None:
        """What stands, unless a course may hide a second, slower one that is not done yet."""
        policy = self._policy
        if found.p_course < 0.5 or found.n <= policy.least_readings:
            return found
        late = self._lasted(stretch, found) >= policy.late_time
        if not late and found.p_moving > policy.risk:
            return None
        both = model.second(found)
        risk = policy.second_late_risk if late else policy.second_risk
        if both.p_moving > _LOOK_ODDS * risk:
            self._wait(found.n)
        return both if both.p_moving <= risk else None

    def settled(self, found: SteadinessEstimate) -> list[float]:
        """The newest values of the stretch that are where the value is held to be."""
        low, high = found.value - found.tol, found.value + found.tol
        values = self.stretch.values
        k = len(values)
        while k and low <= values[k - 1] <= high:
            k -= 1
        return values[k:]

    def _lasted(self, stretch: Stretch, found: SteadinessEstimate) -> float:
        """For how long the newest points have been where the value is held to be, seconds."""
        k = len(self.settled(found))
        if k < self._policy.due_readings:
            return 0.0
        return (stretch.places[-1] - stretch.places[-k]) * stretch.every

    def _quiet(self, found: SteadinessEstimate) -> bool:
        """Whether the noise may be the meter's own, and not a contact that comes and goes."""
        policy = self._policy
        most = max(
            policy.noise_share * abs(found.value),
            policy.noise_resolutions * self.step,
            policy.tol_least,
        )
        # Blocks of a fast meter may agree by chance while their readings are all over the place.
        return found.scatter <= most and found.noise <= 4 * most


def is_on_the_move(ys: list[float], much: float) -> bool:
    """Whether four values in a row go one way, by ``much`` in all: no need to weigh them."""
    if len(ys) < 4:
        return False
    a, b, c, d = ys
    return (a < b < c < d or a > b > c > d) and abs(d - a) > much


def newest_level(ys: list[float], floor: float, gain: float) -> int:
    """Index at which the newest level begins: after a step far larger than all later ones.

    0 where no step is larger than ``floor`` and ``gain`` times each of the later ones, of which
    there must be two. A range change or the end of a bounce is such a step; settling is none.
    """
    steps = [b - a for a, b in itertools.pairwise(ys)]
    most = max(map(abs, steps[-2:]))
    for j in range(len(steps) - 3, -1, -1):
        if abs(steps[j]) > gain * most + floor:
            before = ys[j] - ys[max(j - 2, 0)]
            # One of several steps the same way is a course, one that undoes the last an outlier.
            if before * steps[j] > 0 and 3 * abs(before) > abs(steps[j]):
                return 0
            if not j or abs(ys[j + 1] - ys[j - 1]) > 0.5 * abs(steps[j]):
                return j + 1
        most = max(most, abs(steps[j]))
    return 0


def rough_noise(ys: list[float], floor: float) -> float:
    """Noise from second differences, blind to any smooth course.

    For white noise the mean square of ``a - 2 b + c`` is six times the variance. ``floor`` is the
    least variance that is believed, as values that are rounded alike show none.
    """
    squares, a, b = 0.0, ys[0], ys[1]
    for c in ys[2:]:
        bend = a - 2 * b + c
        squares += bend * bend
        a, b = b, c
    return sqrt(max(squares / 6 / (len(ys) - 2), floor))

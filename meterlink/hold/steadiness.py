"""Which of the newest readings belong together, and whether they stand still.

A touch brings bounce, range steps, settling and outliers before the value stands. From the
newest points backward a stretch is taken as long as one model can explain it; only that stretch
is weighed (``settling.assess``). Work and memory a point are bounded by ``HoldPolicy.kept``.
"""

import itertools
from collections import deque
from math import exp, log, sqrt

from meterlink.hold.exponentials import LONGEST
from meterlink.hold.policy import HoldPolicy
from meterlink.hold.settling import Assessment, Weighing, tolerance, variance_floor


class Steadiness:
    """The newest points of a touch, weighed one by one."""

    def __init__(self, policy: HoldPolicy) -> None:
        self._policy = policy
        self._points: deque[tuple[int, float]] = deque(maxlen=policy.kept)
        self.step = 0.0
        """Step of the last digit of the newest point; 0 where none is known."""
        self.latest: Assessment | None = None
        """What the newest points said."""
        self.stretch: list[float] = []
        """The values that ``latest`` speaks of."""
        self.span = 0.0
        """Seconds from the first of them to the last."""
        self.scatter = 0.0
        """Of a point, when the newest ones were last weighed; 0 before."""
        self._looked_at = 0
        self._pause = 0

    def clear(self) -> None:
        """Forget all points."""
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
        if self.latest is not None:
            if self._still_moves(place, value, every):
                return False
            self.latest = None
        if self._pause:
            self._pause -= 1
            return False
        long = (place - points[0][0] - 0.05) * every > policy.least_time
        return long and len(points) >= policy.least_readings

    def look(self, step: float, every: float, single: float) -> Assessment | None:
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
        places, ys = self._stretch(value, reach)
        if not self._long(places, every) or (not whole and self._is_restless(ys[-4:], fixed)):
            return None
        jump = newest_level(ys, 0.2 * fixed + 2.5 * step, policy.jump_gain)
        share = policy.settling_share
        if jump:
            del places[:jump], ys[:jump]
        elif self._approached(len(places)):
            share = policy.course_share
        return self._weigh(places, ys, share, fixed, every, single)

    def _newest(self, n: int) -> list[float]:
        """Values of the newest ``n`` points, or of those there are."""
        newest = [y for _, y in itertools.islice(reversed(self._points), n)]
        newest.reverse()
        return newest

    def _is_restless(self, newest: list[float], fixed: float) -> bool:
        """Whether the four newest values rule out that the value stands: no need to weigh them."""
        last = newest[-3:]
        if max(last) - min(last) > self._policy.apart_tols * fixed:
            return True
        return is_on_the_move(newest, 1.5 * fixed)

    def _long(self, places: list[int], every: float) -> bool:
        """Whether a stretch offers as many readings, and as much time, as a hold takes."""
        policy = self._policy
        if len(places) < policy.least_readings:
            return False
        return (places[-1] - places[0] - 0.05) * every > policy.least_time

    def _still_moves(self, place: int, value: float, every: float) -> bool:
        """Whether the value only goes on as the last look foresaw: no need to look again yet.

        What is left takes its time constant times a logarithm to come within the tolerance; half
        of that may pass unseen as long as the newest points move no slower than foreseen.
        """
        found = self.latest
        if found is None or found.p_moving < 0.5 or not found.tau or len(self._points) < 4:
            return False
        since = (place - self._looked_at) * every
        if since > self._policy.foreseen * found.tau * log(max(found.left / found.tol, 1.0)):
            return False
        then, before = self._points[-3]
        growth = exp(min((place - then) * every / found.tau, 50.0)) - 1
        foreseen = found.left * exp(-since / found.tau) * growth
        return abs(value - before) > 0.6 * foreseen

    def _stretch(self, newest: float, reach: float) -> tuple[list[int], list[float]]:
        """Points within reach of the newest one, back to the first two in a row that are not."""
        low, high = newest - reach, newest + reach
        places: list[int] = []
        ys: list[float] = []
        outlier, allowed_from = False, 2
        first = self._points[-1][0] - LONGEST
        for place, y in reversed(self._points):
            if place <= first:
                break
            if low <= y <= high:
                outlier = False
                places.append(place)
                ys.append(y)
            elif outlier or len(ys) < allowed_from:
                break
            else:
                outlier, allowed_from = True, len(ys) + self._policy.outlier_spacing
        places.reverse()
        ys.reverse()
        return places, ys

    def _approached(self, n: int) -> bool:
        """Whether the points before the stretch came nearer and nearer to it from one side."""
        points = self._points
        if len(points) < n + 2:
            return False
        base = points[-n][1]
        near, far = points[-n - 1][1] - base, points[-n - 2][1] - base
        return far > near > 0 or far < near < 0

    def _risk(self, n: int, span: float, every: float) -> float:
        """The risk that a hold may take now: less where looks follow fast upon one another."""
        policy = self._policy
        risk = policy.risk
        if every < policy.look_time:
            risk *= (every / policy.look_time) ** policy.look_power
        if n >= policy.due_readings and span >= policy.late_time:
            return max(risk, policy.late_risk)
        return risk

    def _weigh(
        self,
        places: list[int],
        ys: list[float],
        share: float,
        fixed: float,
        every: float,
        single: float,
    ) -> Assessment | None:
        """Cut the oldest part off until one model explains the stretch, then ask it."""
        policy, step = self._policy, self.step
        if not self._long(places, every):
            return None
        risk = self._risk(len(ys), (places[-1] - places[0]) * every, every)
        rough = rough_noise(ys[-policy.rough_points :], variance_floor(policy, fixed, step))
        few = min(len(ys), policy.rough_points) - 2
        most = policy.cut_gain * (1 + policy.cut_few / max(few, 1)) ** 0.5 * rough
        self._looked_at, first = places[-1], len(ys)
        while True:
            model = Weighing(places, ys, every, step, policy, single)
            misfit = model.scatter > most
            if misfit:
                share = policy.course_share
                model.refine()
            if model.scatter <= most:
                self.stretch, self.span = ys, (places[-1] - places[0]) * every
                return self._decide(model, places, ys, share, risk, fixed, every, misfit)
            # Each shorter stretch is another look that may go wrong.
            share, risk = policy.course_share, risk * policy.cut_risk
            cut = max(1, len(ys) // 4)
            if not self._long(places[cut:], every):
                break
            del places[:cut], ys[:cut]
        self.latest, self.stretch, self.scatter = model.ask(share), ys, model.scatter
        self.span = (places[-1] - places[0]) * every
        self._wait(first)
        return None

    def _wait(self, n: int) -> None:
        """Let a few points pass before the next look at a stretch of ``n``."""
        self._pause = min(n // self._policy.look_share, self._policy.look_most)

    def _decide(
        self,
        model: Weighing,
        places: list[int],
        ys: list[float],
        share: float,
        risk: float,
        fixed: float,
        every: float,
        refined: bool,
    ) -> Assessment | None:
        """Ask a stretch that one model explains whether it is steady."""
        policy = self._policy
        if not refined and model.is_course_near_its_end():
            model.refine()
        self.latest = found = model.ask(share)
        self.scatter = found.scatter
        usual = max(policy.noise_usual * fixed, self.step)
        due = found.n >= policy.due_readings and self.span >= policy.late_time
        if found.scatter > usual and not due:
            risk *= (usual / found.scatter) ** policy.noise_power
        if found.p_moving >= risk or not self._quiet(found):
            if found.p_moving > policy.look_odds * risk:
                self._wait(found.n)
            return None
        return self._done(model, places, ys, found, every)

    def _done(
        self,
        model: Weighing,
        places: list[int],
        ys: list[float],
        found: Assessment,
        every: float,
    ) -> Assessment | None:
        """What stands, unless a course may hide a second, slower one that is not done yet."""
        policy = self._policy
        if found.p_course < 0.5 or found.n <= policy.least_readings:
            return found
        late = self._lasted(places, ys, found) * every >= policy.late_time
        if not late and found.p_moving > policy.risk:
            return None
        both = model.second(found)
        risk = policy.second_late_risk if late else policy.second_risk
        if both.p_moving > policy.look_odds * risk:
            self._wait(found.n)
        return both if both.p_moving <= risk else None

    def _lasted(self, places: list[int], ys: list[float], found: Assessment) -> int:
        """For how many places the newest points have been where the value is held to be."""
        low, high = found.value - found.tol, found.value + found.tol
        k = len(ys)
        while k and low <= ys[k - 1] <= high:
            k -= 1
        return places[-1] - places[k] if len(ys) - k >= self._policy.due_readings else 0

    def _quiet(self, found: Assessment) -> bool:
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

"""Which of the newest readings belong together, and whether they stand still.

A touch brings bounce, range steps, settling and outliers before the value stands. From the
newest points backward a stretch is taken as long as one model can explain it; only that stretch
is weighed (``settling.assess``). Work and memory a point are bounded by ``HoldPolicy.kept``.
"""

import itertools
from collections import deque
from math import exp, log, sqrt

from meterlink.hold.policy import HoldPolicy
from meterlink.hold.settling import Assessment, Weighing, assess, tolerance, variance_floor


class Steadiness:
    """The newest points of a touch, weighed one by one."""

    def __init__(self, policy: HoldPolicy) -> None:
        self._policy = policy
        self._points: deque[tuple[float, float]] = deque(maxlen=policy.kept)
        self.step = 0.0
        """Step of the last digit of the newest point; 0 where none is known."""
        self.latest: Assessment | None = None
        """What the newest points said."""
        self.stretch: list[float] = []
        """The values that ``latest`` speaks of."""
        self.span = 0.0
        """Seconds from the first of them to the last."""
        self._looked_t = 0.0
        self._pause = 0
        self._grown: Weighing | None = None

    def clear(self) -> None:
        """Forget all points."""
        self._points.clear()
        self.latest = None
        self._pause = 0
        self._grown = None

    @property
    def newest(self) -> float | None:
        """Value of the newest point."""
        return self._points[-1][1] if self._points else None

    def take(self, t: float, value: float, every: float) -> bool:
        """Take one point; True where the newest ones may be steady, so that a look is due.

        Args:
            t: when it was taken, seconds.
            value: the reading, or mean of a block of readings.
            every: seconds between points.
        """
        points, policy = self._points, self._policy
        points.append((t, value))
        if self.latest is not None:
            if self._still_moves(t, value):
                return False
            self.latest = None
        if self._pause:
            self._pause -= 1
            return False
        long = t - points[0][0] > policy.least_time + 0.05 * every
        return long and len(points) >= policy.least_readings

    def look(self, step: float, every: float, single: float) -> Assessment | None:
        """Weigh the newest points; return what they say if they are steady.

        Args:
            step: step of the last digit, 0 where none is known.
            every: seconds between points.
            single: standard deviation of one reading within blocks, 0 where points are readings.
        """
        policy, value = self._policy, self._points[-1][1]
        self.step = step
        fixed = tolerance(policy, value, step)
        ts, ys = self._stretch(value, policy.reach * fixed)
        least = policy.least_time + 0.05 * every
        if len(ts) < policy.least_readings or ts[-1] - ts[0] <= least:
            return None
        if is_on_the_move(ys[-4:], 1.5 * fixed):
            return None
        newest = ys[-3:]
        if max(newest) - min(newest) > policy.apart_tols * fixed:
            return None
        jump = newest_level(ys, 0.2 * fixed + 2.5 * step, policy.jump_gain)
        share = policy.settling_share
        if jump:
            del ts[:jump], ys[:jump]
        elif self._approached(len(ts)):
            share = policy.course_share
        return self._weigh(ts, ys, share, fixed, every, single)

    def _still_moves(self, t: float, value: float) -> bool:
        """Whether the value only goes on as the last look foresaw: no need to look again yet.

        What is left takes its time constant times a logarithm to come within the tolerance; half
        of that may pass unseen as long as the newest points move no slower than foreseen.
        """
        found = self.latest
        if found is None or found.p_moving < 0.5 or not found.tau or len(self._points) < 4:
            return False
        since = t - self._looked_t
        if since > 0.5 * found.tau * log(max(found.left / found.tol, 1.0)):
            return False
        then, before = self._points[-3]
        growth = exp(min((t - then) / found.tau, 50.0)) - 1
        foreseen = found.left * exp(-since / found.tau) * growth
        return abs(value - before) > 0.6 * foreseen

    def _stretch(self, newest: float, reach: float) -> tuple[list[float], list[float]]:
        """Points within reach of the newest one, back to the first two in a row that are not."""
        low, high = newest - reach, newest + reach
        ts: list[float] = []
        ys: list[float] = []
        outlier, allowed_from = False, 2
        for t, y in reversed(self._points):
            if low <= y <= high:
                outlier = False
                ts.append(t)
                ys.append(y)
            elif outlier or len(ts) < allowed_from:
                break
            else:
                outlier, allowed_from = True, len(ts) + self._policy.outlier_spacing
        ts.reverse()
        ys.reverse()
        return ts, ys

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
        hurry: float = min(1.0, every / policy.look_time) ** policy.look_power
        risk = policy.risk * hurry
        if n >= policy.due_readings and span >= policy.late_time:
            return max(risk, policy.late_risk)
        return risk

    def _weigh(
        self,
        ts: list[float],
        ys: list[float],
        share: float,
        fixed: float,
        every: float,
        single: float,
    ) -> Assessment | None:
        """Cut the oldest part off until one model explains the stretch, then ask it."""
        policy, step = self._policy, self.step
        least = policy.least_time + 0.05 * every
        risk = self._risk(len(ts), ts[-1] - ts[0], every)
        rough = rough_noise(ys[-policy.rough_points :], variance_floor(policy, fixed, step))
        few = min(len(ys), policy.rough_points) - 2
        most = policy.cut_gain * (1 + policy.cut_few / max(few, 1)) ** 0.5 * rough
        self._looked_t, first = ts[-1], len(ts)
        if len(ts) < policy.least_readings or ts[-1] - ts[0] <= least:
            return None
        model = self._model(ts, ys, single)
        while True:
            misfit = model.scatter > most
            if misfit:
                share = policy.course_share
                model.refine()
            if model.scatter <= most:
                self.stretch, self.span = ys, ts[-1] - ts[0]
                return self._decide(model, ts, ys, share, risk, fixed, single, refined=misfit)
            # Each shorter stretch is another look that may go wrong.
            share, risk = policy.course_share, risk * policy.cut_risk
            cut = max(1, len(ts) // 4)
            if len(ts) - cut < policy.least_readings or ts[-1] - ts[cut] <= least:
                break
            del ts[:cut], ys[:cut]
            model = Weighing(ts, ys, step, policy, single)
        self.latest, self.stretch, self.span = model.ask(share), ys, ts[-1] - ts[0]
        self._wait(first)
        return None

    def _wait(self, n: int) -> None:
        """Let a few points pass before the next look at a stretch of ``n``."""
        self._pause = min(n // self._policy.look_share, self._policy.look_most)

    def _model(self, ts: list[float], ys: list[float], single: float) -> Weighing:
        """The models of this stretch: those of the last one where it only grew."""
        model = self._grown
        if model is None or not model.go_on(ts, ys, self.step, single):
            model = self._grown = Weighing(ts, ys, self.step, self._policy, single)
        return model

    def _decide(
        self,
        model: Weighing,
        ts: list[float],
        ys: list[float],
        share: float,
        risk: float,
        fixed: float,
        single: float,
        *,
        refined: bool,
    ) -> Assessment | None:
        """Ask a stretch that one model explains whether it is steady."""
        policy = self._policy
        found = model.ask(share)
        if not refined and found.p_course > 0.5 and found.left < policy.near * found.tol:
            refined = True
            model.refine()
            found = model.ask(share)
        self.latest = found
        usual = max(policy.noise_usual * fixed, self.step)
        due = found.n >= policy.due_readings and ts[-1] - ts[0] >= policy.late_time
        if found.scatter > usual and not due:
            risk *= (usual / found.scatter) ** policy.noise_power
        if found.p_moving >= risk or not self._quiet(found):
            if found.p_moving > policy.look_odds * risk:
                self._wait(found.n)
            return None
        if not refined and found.p_course > policy.course_doubt:
            model.refine()
            self.latest = found = model.ask(share)
        if (
            found.p_moving < risk
            and self._done(ts, ys, found, single)
            and not self._lingers(model, ts, ys, found)
        ):
            return found
        return None

    def _lingers(
        self, model: Weighing, ts: list[float], ys: list[float], found: Assessment
    ) -> bool:
        """Whether a course may hide a second, slower one that is not done yet."""
        policy = self._policy
        if found.p_course < 0.5 or found.n <= policy.least_readings:
            return False
        if self._lasted(ts, ys, found) >= policy.late_time:
            return model.lingers() > policy.second_late_risk
        if found.p_moving > policy.risk:
            return True
        odds = model.lingers() / policy.second_risk
        if odds > policy.look_odds:
            self._wait(found.n)
        return odds > 1

    def _done(self, ts: list[float], ys: list[float], found: Assessment, single: float) -> bool:
        """Whether the newest part, looked at alone, does not contradict.

        Two time constants in a row, ringing or creep pass for one exponential that is done as
        long as their beginning is in view; the newest half and third of the stretch tell.
        """
        policy, n = self._policy, len(ts)
        most = policy.recent_risk if found.p_course < 0.5 else policy.course_recent_risk
        for k in sorted({max(n // 2, policy.recent_least), max(n // 3, policy.recent_least)}):
            if k < n:
                part = assess(ts[-k:], ys[-k:], self.step, policy, policy.recent_share, single)
                if part.p_moving > most:
                    return False
        return True

    def _lasted(self, ts: list[float], ys: list[float], found: Assessment) -> float:
        """For how long the newest points have been where the value is held to be, seconds."""
        low, high = found.value - found.tol, found.value + found.tol
        k = len(ys)
        while k and low <= ys[k - 1] <= high:
            k -= 1
        return ts[-1] - ts[k] if len(ys) - k >= self._policy.due_readings else 0.0

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

"""Is a stretch of readings steady, or still on its way?

A constant value is weighed against values that still settle exponentially,
``y = c + b exp(-t / tau) + noise``, with ``c``, ``b`` and the standard deviation of the noise
unknown, over a bank of time constants and a few more between them where the likelihood peaks.
What comes out is the posterior probability that what is left to settle, ``b exp(-now / tau)``,
is more than the tolerance allows.

The method is the Bayes factor for nested linear models with a flat prior of ``c``, a scaled
inverse chi-square prior of the variance and a log-uniform prior of the size of the settling
(A. Gelman et al., *Bayesian Data Analysis*, 3rd ed., chapters 3, 7 and 14). Such a probability
may be looked at after every reading: by Ville's inequality, and as in A. Wald's sequential
probability ratio test (*Ann. Math. Statist.* 16, 1945, 117-186), whoever stops when it falls
below ``risk`` is wrong at most in that share of the stops, however often he looked, as far as
the prior is true. Rounding enters as a floor of the variance, one twelfth of the step squared.
"""

from bisect import insort
from functools import lru_cache
from math import erfc, exp, gamma, lgamma, log, log1p, pi, sqrt
from operator import itemgetter
from typing import Final

import msgspec
from msgspec import structs

from meterlink.hold.exponentials import RUNG, Sums, rung_between, rung_of, tau_of
from meterlink.hold.policy import HoldPolicy

_LARGEST: Final = 200.0
"""Logarithms of odds beyond this change nothing and would overflow."""


_NEGLIGIBLE: Final = 1e-6
"""Odds below this of the rest change nothing."""

_ss: Final = itemgetter(4)
_rung: Final = itemgetter(5)
"""Of a fit."""

_FAR: Final = 1e3
"""So many standard errors away a tail is nothing, however few readings there are."""

_REFINE: Final = 3
"""Most time constants between those of the bank that are tried where one of them fits."""
_COURSE_GAIN: Final = 3.0
"""They are tried where the best of the bank explains a stretch better by this log likelihood."""
_SECOND_SHARE: Final = 0.25
"""Prior probability that what settles has a second, slower time constant ..."""
_SLOW_TAUS: Final = (1.2, 0.7, 0.4, 0.2)
"""... which is one of these, seconds ..."""
_APART: Final = 0.6
"""... of which the faster one is at most this share."""
_SIZE_LEAST: Final = 0.3
"""Smallest settling that is thought of, in tolerances."""
_SIZE_RANGE: Final = 8.0
"""Logarithm of the range of sizes that settling may have, all of them equally likely."""
_BOUNCE_WIDTH: Final = 0.1
"""How widely readings scatter that have nothing to do with one another, as a share ..."""
_BOUNCE_LEAST: Final = 50.0
"""... and at least, in least tolerances."""
_CREEP_TAUS: Final = (5.0, 12.0, 50.0)
"""Time constants of what creeps, seconds; nothing settles so slowly."""


class SteadinessEstimate(msgspec.Struct, frozen=True, gc=False):
    """What a stretch of readings says."""

    p_moving: float
    """Probability that the value is still further from its goal than allowed, or no contact."""
    p_course: float
    """Probability that the stretch settles at all, be it by now as good as done."""
    value: float
    """Where the value is going: the constant, averaged over all models by their weights."""
    u: float
    """Standard uncertainty of ``value``, models included, for independent noise."""
    dof: float
    """Degrees of freedom of ``u``."""
    scatter: float
    """Standard deviation of one point of the stretch about the best model."""
    noise: float
    """Standard deviation of one reading."""
    tol: float
    """Tolerance of a held value here."""
    left: float
    """What is left to settle by the likeliest time constant."""
    tau: float
    """That time constant, seconds; 0 where a constant is likelier than any."""
    n: int
    """Points in the stretch."""


def t_tail(t: float, dof: float) -> float:
    """P(T > t) for Student's t, by D. L. Wallace's approximation (*Ann. Math. Statist.* 30, 1959).

    Relative error below 15 % for dof of at least 2, which is enough for odds.
    """
    z = sqrt(dof * log1p(t * t / dof)) * (8 * dof + 1) / (8 * dof + 3)
    p = 0.5 * erfc(z * 0.7071067811865476)
    return p if t > 0 else 1.0 - p


def tolerance(policy: HoldPolicy, value: float, step: float, noise: float = 0.0) -> float:
    """How far a held value may be from the true one."""
    return max(
        policy.tol_share * abs(value),
        policy.tol_resolutions * step,
        policy.tol_sds * noise,
        policy.tol_least,
    )


def variance_floor(policy: HoldPolicy, fixed: float, step: float) -> float:
    """Prior guess of the variance: rounding, and a little noise as a share of the tolerance."""
    return step * step / 12 + (policy.noise_guess * fixed) ** 2


class ModelComparison:
    """A constant value against settling ones, over one stretch of points."""

    def __init__(
        self,
        places: list[int],
        ys: list[float],
        every: float,
        step: float,
        policy: HoldPolicy,
        single: float = 0.0,
    ) -> None:
        """Take a stretch.

        Args:
            places: of at least three points, on a grid of sending intervals, increasing.
            ys: their values.
            every: the sending interval, seconds.
            step: step of the last digit, 0 where none is known.
            policy: the numbers to go by.
            single: standard deviation of one reading, where points are means of several.
        """
        self._policy = policy
        self._sums = sums = Sums(places, ys, every)
        n, nu0 = sums.n, policy.noise_weight
        self._step, self._single = step, single
        self.fixed = fixed = tolerance(policy, sums.mean, step)
        self._prior_ss = prior_ss = nu0 * variance_floor(policy, fixed, step)
        self._constant_ss = prior_ss + sums.syy
        self._dof = n - 2 + nu0
        self.fits = sums.fits(_rungs(policy.taus), prior_ss)
        self._rescale()

    def _rescale(self) -> None:
        best = min(self.fits, key=_ss, default=None)
        scale = self._constant_ss / (self._dof + 1)
        if best is not None and best[4] < scale * self._dof:
            scale = best[4] / self._dof
        self._best, self._scale = best, scale
        self.scatter = sqrt(scale)
        """Standard deviation of one point about the best model."""

    @property
    def like(self) -> float:
        """Largest log likelihood of settling, with noise that has no memory."""
        ss = self._constant_ss if self._best is None else self._best[4]
        return -0.5 * self._sums.n * log(ss / self._sums.n)

    def is_course(self) -> bool:
        """Whether a time constant explains the stretch far better than a constant does."""
        best = self._best
        return best is not None and (
            self._dof / 2 * log(self._constant_ss / best[4]) > _COURSE_GAIN
        )

    def creep_gain(self) -> float:
        """Log likelihood by which creep explains the stretch better than any settling does."""
        policy = self._policy
        slow = self._sums.fits(_rungs(_CREEP_TAUS), self._prior_ss)
        fast = self._sums.fits(_rungs((*policy.taus, 2.0)), self._prior_ss)
        if not slow or not fast:
            return 0.0
        return self._dof / 2 * log(min(map(_ss, fast)) / min(map(_ss, slow)))

    def refine(self) -> None:
        """Try time constants between those of the bank, where the likelihood peaks."""
        fits = self.fits
        for _ in range(_REFINE if len(fits) > 2 else 0):
            rung = rung_between(fits)
            if rung is None:
                break
            for fit in self._sums.fits((rung,), self._prior_ss):
                insort(fits, fit, key=_rung)
        self._rescale()

    def ask(self, settling_share: float, *, bounce: bool = True) -> SteadinessEstimate:
        """Weigh all models; ``settling_share`` is the prior probability of any settling.

        With ``bounce`` the readings may have nothing to do with one another.
        """
        policy, sums, fits = self._policy, self._sums, self.fits
        n, dof, scatter, constant_ss = sums.n, self._dof, self.scatter, self._constant_ss
        noise = max(self._single, scatter)
        tol = max(self.fixed, policy.tol_sds * noise)
        limit = policy.tol_margin * tol
        smallest = _SIZE_LEAST * tol
        steady_share = 1.0 - settling_share - policy.bounce_share
        a1 = dof / 2
        common = settling_share / (len(fits) or 1) / steady_share / (2 * _SIZE_RANGE)
        common *= _gamma_ratio(a1)
        log_constant_ss = log(constant_ss)
        base = (a1 + 0.5) * log_constant_ss
        weights, moving = 1.0, 0.0
        likeliest, left, tallest = 1.0, 0.0, None
        # Goals are taken relative to the mean, which keeps their digits.
        centre, square = 0.0, constant_ss / (dof + 1) / n
        for b, shh, hm, now, ss, rung in fits:
            size = -b if b < 0.0 else b
            power = base - a1 * log(ss)
            var = ss / dof
            se2 = 1.0 / shh
            w = common / (size if size > smallest else smallest)  # noqa: FURB136
            w *= sqrt(se2) * exp(power if power < _LARGEST else _LARGEST)  # noqa: FURB136
            if w < _NEGLIGIBLE * weights:
                continue
            se = sqrt(se2 * var)
            weights += w
            if w > likeliest:
                likeliest, left, tallest = w, size * now, rung
            z = (limit - size * now) / (se * now + 1e-300)
            if z < _FAR:
                moving += w * t_tail(z, dof)
            goal = -b * hm
            centre += w * goal
            square += w * (var * (1 / n + hm * hm / shh) + goal * goal)
        loose = 0.0
        if bounce:
            loose = self._loose(tol) * policy.bounce_share / steady_share
        centre /= weights
        return SteadinessEstimate(
            (moving + loose) / (weights + loose),
            1.0 - 1.0 / weights,
            sums.mean + centre,
            sqrt(max(square / weights - centre * centre, self._scale / n)),
            dof,
            scatter,
            noise,
            tol,
            left,
            0.0 if tallest is None else tau_of(tallest),
            n,
        )

    def _loose(self, tol: float) -> float:
        """Odds of readings that have nothing to do with one another."""
        policy, sums = self._policy, self._sums
        width = max(_BOUNCE_WIDTH * abs(sums.mean), 5 * tol, _BOUNCE_LEAST * policy.tol_least)
        logs = log(self._constant_ss), log(self._prior_ss)
        return _no_contact(policy.noise_weight, sums.n, *logs, width)

    def second(self, found: SteadinessEstimate) -> SteadinessEstimate:
        """Weigh a slower settling that may be hidden under the likeliest one.

        ``found`` is what the models with one time constant say. What is returned has their value
        averaged with those of two, and the probability that the two are not yet done.
        """
        policy, sums, fits = self._policy, self._sums, self.fits
        dof = self._dof - 1
        limit, smallest = policy.tol_margin * found.tol, _SIZE_LEAST * found.tol
        a1 = dof / 2
        base = (a1 + 0.5) * log(self._best[4] if self._best else self._constant_ss)
        apart = round(-log(_APART) / RUNG)
        pairs = sums.best_pairs(fits, _rungs(_SLOW_TAUS), apart, self._prior_ss)
        common = _SECOND_SHARE / len(_SLOW_TAUS) / (1 - _SECOND_SHARE)
        common *= _gamma_ratio(a1) / (2 * _SIZE_RANGE)
        weights, moving = 1.0, 0.0
        single = found.value - sums.mean
        centre, square = single, found.u * found.u + single * single
        for pair in pairs:
            var, left = pair.ss / dof, pair.left
            w = common / max(abs(pair.slow_size), smallest)
            w *= sqrt(1 / pair.slow_spread)
            w *= exp(min(_LARGEST, base - a1 * log(pair.ss)))
            weights += w
            sd = sqrt(var * pair.left_variance) + 1e-300
            moving += w * (t_tail((limit - left) / sd, dof) + t_tail((limit + left) / sd, dof))
            centre += w * pair.goal
            square += w * (var * pair.goal_variance + pair.goal * pair.goal)
        centre /= weights
        return structs.replace(
            found,
            p_moving=moving / weights,
            value=sums.mean + centre,
            u=sqrt(max(square / weights - centre * centre, found.u * found.u / weights)),
        )


@lru_cache(maxsize=16)
def _rungs(taus: tuple[float, ...]) -> tuple[int, ...]:
    return tuple(map(rung_of, taus))


@lru_cache(maxsize=256)
def _gamma_ratio(a: float) -> float:
    """Square root of pi times gamma(a) / gamma(a + 1/2)."""
    return sqrt(pi) * gamma(a) / gamma(a + 0.5)


def _no_contact(nu0: float, n: int, log_ss: float, log_prior_ss: float, width: float) -> float:
    """Odds of readings that scatter widely and have nothing to do with one another."""
    x = _no_contact_share(nu0, n) + (n - 1 + nu0) / 2 * log_ss
    x -= (n - 1) * log(width) + 0.5 * nu0 * log_prior_ss
    return exp(min(x, _LARGEST))


@lru_cache(maxsize=256)
def _no_contact_share(nu0: float, n: int) -> float:
    """What of the logarithm of those odds depends on the number of readings alone."""
    x = (n - 1) * 0.5 * log(pi) + 0.5 * log(n)
    return x + lgamma(nu0 / 2) - lgamma((n - 1 + nu0) / 2)

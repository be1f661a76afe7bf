"""What a few values in a row look like: on the move, at a new level, how noisy."""

import itertools
from math import sqrt


def is_on_the_move(ys: list[float], much: float) -> bool:
    """Whether four values in a row go one way, by ``much`` in all: no need to weigh them."""
    if len(ys) < 4:
        return False
    a, b, c, d = ys
    return (a < b < c < d or a > b > c > d) and abs(d - a) > much


def has_turned(ys: list[float], base: float) -> bool:
    """Whether values that left ``base`` have come back by a little: then they do not run away."""
    newest = ys[-1] - base if len(ys) < 2 else 0.5 * (ys[-1] + ys[-2]) - base
    furthest = (max(ys) if newest > 0 else min(ys)) - base
    return abs(newest) <= 0.85 * abs(furthest)


def is_quiet(ys: list[float], scatter: float) -> bool:
    """Whether three values agree far better than the ``scatter`` of those before lets expect."""
    return max(ys) - min(ys) < 0.15 * scatter or abs(ys[-1] - ys[-2]) < 0.04 * scatter


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

"""How often a meter sends, learnt as it goes, and where on an even grid each reading belongs."""

from math import inf


class Cadence:
    """The sending interval of one stream, and places of its readings that many seconds apart.

    The interval is the mean over the newest 64 to 512 readings, pauses left out, so that jitter
    and bursts average away. A converter takes its readings evenly however late their time stamps
    are, so readings are counted; where one comes later than jitter explains, others are missing,
    and as many places are left out. Of readings that a driver hands over several at once all but
    the first are ahead of their time stamps, until the next ones have caught up. A meter that
    suddenly sends at another rate is learnt anew.
    """

    _SLOWEST_LONG = 0.014
    """Below this interval, seconds, the mean runs over 512 readings."""
    _LONGEST_BURST = 8
    """Readings in a row that may be ahead of their time stamps; after more the grid has slipped."""
    _LATE = 0.75
    """Intervals that a reading may be late without another one missing."""
    _FOLLOWS = 0.1
    """Share by which the grid follows time stamps that are early; late ones it follows at once."""
    _MOST_MISSING = 1000
    """Places that are left out at most: further apart, readings have nothing to do with another."""
    _QUICK = 64
    """Readings in a row ahead of their time stamps that are no burst, but a shorter interval."""
    _SLOW = 3
    """Gaps in a row that are no pause, nor between bursts, but another sending interval."""

    def __init__(self) -> None:
        self.interval = 0.0
        """Seconds between readings; 0 until two have come."""
        self.place = 0
        """Of the newest reading, in intervals."""
        self._last = -inf
        self._grid = 0.0
        self._mark = 0.0
        self._count = 0
        self._every = 1
        self._ahead = 0
        """Readings in a row that were ahead of their time stamps ..."""
        self._ahead_from = 0.0
        """... since then, and ..."""
        self._least = 0.0
        """... by how much at least since the grid was last set."""
        self._slow = 0
        """Long gaps in a row ..."""
        self._slow_at = 0
        self._slow_from = 0.0
        """... since then."""

    def tick(self, t: float) -> bool:
        """Take the time of a reading; True when the interval was learnt anew."""
        gone = t - self._last
        self._last = t
        self._count += 1
        self.place += 1
        interval = self.interval
        self._grid = grid = self._grid + interval
        late = t - grid
        if late > 0.0:
            if late > self._LATE * interval > 0.0:
                self.place += round(min(late / interval, self._MOST_MISSING))
            self._grid = t
            self._ahead = 0
        elif late > -0.5 * interval:
            self._grid = grid + self._FOLLOWS * late
            self._ahead = 0
        else:
            if not self._ahead:
                self._least, self._ahead_from = -inf, t - gone
            # The first of a burst is the least ahead.
            self._least = max(self._least, late)
            self._ahead += 1
            if self._ahead == self._QUICK:
                self._learn_anew(t, self._ahead_from, self._QUICK)
                return True
            if self._ahead % (self._LONGEST_BURST + 1) == 0 and self._least > -inf:
                self._grid, self._least = grid + self._least, -inf
        if self._count < self._every and gone <= 5 * interval:
            return False
        return self._learn(t, gone)

    def _learn(self, t: float, gone: float) -> bool:
        if gone == inf:
            self._mark, self._count = t, 0
            return False
        if self.interval and gone > 5 * self.interval and self._count < self._every > 8:
            if self._is_slower(t, gone):
                self._learn_anew(t, self._slow_from, self._slow)
                return True
            # A pause of the meter is no sending interval; the wait between bursts is.
            if gone > 1.0:
                self._mark += gone - self.interval
            return False
        self.interval = (t - self._mark) / self._count
        if self._every < 64 or (self.interval < self._SLOWEST_LONG and self._every < 512):
            self._every *= 2
        else:
            self._mark, self._count = t, 0
        return True

    def _learn_anew(self, t: float, start: float, count: int) -> None:
        """Take the interval of the newest ``count`` readings alone."""
        self._mark, self._count, self._every = start, count, 2 * count
        self.interval = (t - start) / count
        self._grid = t
        self._ahead = self._slow = 0

    def _is_slower(self, t: float, gone: float) -> bool:
        """Whether another long gap makes enough of them in a row."""
        in_a_row = self._slow and self._count == self._slow_at + 1
        self._slow = self._slow + 1 if in_a_row else 1
        self._slow_at = self._count
        if not in_a_row:
            self._slow_from = t - gone
        return self._slow >= self._SLOW

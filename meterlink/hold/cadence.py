"""How often a meter sends, learnt as it goes, and where on an even grid each reading belongs."""

from math import inf


class Cadence:
    """The sending interval of one stream, and places of its readings that many seconds apart.

    The interval is the mean over the newest 64 to 512 readings, pauses left out, so that jitter
    and bursts average away. A converter takes its readings evenly however late their time stamps
    are, so readings are counted; where one comes later than jitter explains, others are missing,
    and as many places are left out. Of readings that a driver hands over several at once all but
    the first are ahead of their time stamps, until the next ones have caught up.
    """

    _SLOWEST_LONG = 0.014
    """Below this interval, seconds, the mean runs over 512 readings."""
    _LONGEST_BURST = 8
    """Readings that may be ahead of their time stamps; with more of them the clock has slipped."""
    _LATE = 0.75
    """Intervals that a reading may be late without another one missing."""
    _FOLLOWS = 0.1
    """Share by which the grid follows time stamps that are early; late ones it follows at once."""
    _MOST_MISSING = 1000
    """Places that are left out at most: further apart, readings have nothing to do with another."""

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

    def tick(self, t: float) -> bool:
        """Take the time of a reading; True when the interval was learnt anew."""
        gone = t - self._last
        self._last = t
        self._count += 1
        self.place += 1
        interval = self.interval
        self._grid = grid = self._grid + interval
        late = t - grid
        if late > self._LATE * interval or late < -self._LONGEST_BURST * interval:
            if late > 0.0 and interval:
                self.place += round(min(late / interval, self._MOST_MISSING))
            self._grid = t
        elif late > 0.0:
            self._grid = t
        elif late > -0.5 * interval:
            self._grid = grid + self._FOLLOWS * late
        if self._count < self._every and gone <= 5 * interval:
            return False
        return self._learn(t, gone)

    def _learn(self, t: float, gone: float) -> bool:
        if gone == inf:
            self._mark, self._count = t, 0
            return False
        if self.interval and gone > 5 * self.interval and self._count < self._every > 8:
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

"""How often a meter sends, learnt as it goes, and bursts spread out again."""

from math import inf


class Cadence:
    """The sending interval of one stream, and evenly spread times for its readings.

    The interval is the mean over the newest 64 to 512 readings, pauses left out, so that jitter
    and bursts average away. A reading that comes in the wake of another, as when a driver hands
    over several at once, was not taken in that instant: in a stream that has shown bursts, with
    the pauses that belong to them, it is set as many intervals later as it is behind the first,
    which shifts a burst as a whole.
    """

    _SLOWEST_LONG = 0.014
    """Below this interval, seconds, the mean runs over 512 readings."""
    _LONGEST_BURST = 8
    """Readings further behind the first of a burst are counted as this far."""

    def __init__(self) -> None:
        self.interval = 0.0
        """Seconds between readings; 0 until two have come."""
        self._last = -inf
        self._even = -inf
        self._wake = 0
        self._bursts = 0
        self._mark = 0.0
        self._count = 0
        self._every = 1

    def tick(self, t: float) -> bool:
        """Take the time of a reading; True when the interval was learnt anew."""
        gone = t - self._last
        self._last = t
        self._count += 1
        if gone < 0.3 * self.interval:
            self._wake += 1
        elif self._wake:
            self._end_burst(gone)
        if self._count < self._every and gone <= 5 * self.interval:
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

    def _end_burst(self, pause: float) -> None:
        """Was it a burst, with the pause of one, or a hurry of the clock?"""
        if pause > 0.6 * (self._wake + 1) * self.interval:
            self._bursts = min(self._bursts + 1, 3)
        else:
            self._bursts = max(self._bursts - 1, 0)
        self._wake = 0

    def even(self, t: float) -> float:
        """Time to go by for the reading stamped ``t``, later than that of the one before."""
        behind = min(self._wake, self._LONGEST_BURST) if self._bursts else 0
        self._even = max(t + behind * self.interval, self._even + 0.05 * self.interval)
        return self._even

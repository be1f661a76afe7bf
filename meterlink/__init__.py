"""The domain of meterlink: readings in, events out.

Nothing here knows a clock, thread, file, port or screen. Time is the reading's own ``t``.
"""

__version__ = "0.1.0"

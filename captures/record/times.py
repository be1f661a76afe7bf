"""Times as files write them: RFC 3339 with offset, and seconds to the resolution of the clock."""

from datetime import datetime
from typing import Final

from meterlink.errors import UnreadableError

_DECIMALS: Final = 6
"""Of a second: no clock that stamps readings here is finer than a microsecond."""


def to_the_clock(t: float) -> float:
    """Return ``t``, in seconds, to the resolution of the clock: 0.11, not 0.10999999999999999."""
    return round(t, _DECIMALS)


def local_now() -> datetime:
    """Return the wall time with the offset of this place."""
    return datetime.now().astimezone()


def rfc3339(when: datetime) -> str:
    """Return ``when`` to the millisecond; a time without offset is taken as local."""
    aware = when if when.tzinfo is not None else when.astimezone()
    return aware.isoformat(timespec="milliseconds")


def read_rfc3339(text: str) -> datetime:
    """Return the time that ``text`` tells.

    Raises:
        UnreadableError: it tells none, or has no offset.
    """
    try:
        when = datetime.fromisoformat(text)
    except ValueError as fault:
        raise UnreadableError(f"{text[:40]!r} is no RFC 3339 time") from fault
    if when.tzinfo is None:
        raise UnreadableError(f"{text[:40]!r} does not say its offset from universal time")
    return when

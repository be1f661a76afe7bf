"""Wall time as files write it: RFC 3339 with offset."""

from datetime import datetime

from meterlink.errors import UnreadableError


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

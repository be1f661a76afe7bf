"""Errors as the user meets them: one base, children by what to do about it.

Each message is one plain sentence that names the thing and the mend. Each class carries the
exit code of the command line, so that no face needs a table of its own. Errors of libraries
are translated into these at the one place that knows the library.
"""

from typing import ClassVar


class MeterlinkError(Exception):
    """Anything that the user can mend; ``str()`` of it is the sentence to show."""

    exit_code: ClassVar[int] = 1


class FaultFoundError(MeterlinkError):
    """The work found a fault in what it checked: a damaged seal, an invalid profile."""

    exit_code = 1


class InvalidFileError(FaultFoundError):
    """A profile, card or other description does not say what it must."""


class UsageError(MeterlinkError):
    """The command or a value in it does not make sense."""

    exit_code = 2


class NotationError(UsageError, ValueError):
    """A number, unit or window cannot be read."""


class MeterError(MeterlinkError):
    """No meter, or it does not answer as a meter should."""

    exit_code = 3


class PortLostError(MeterError):
    """A port that was open stopped answering: unplugged, switched off, closed by the peer."""


class MeterSilentError(MeterError):
    """The port is there, but no meter speaks: asleep to save its battery, or switched off."""


class UnreadableError(MeterlinkError):
    """A file is missing, unreadable or damaged."""

    exit_code = 4


class CannotWriteError(MeterlinkError):
    """Nothing could be written: full disk, no permission, medium removed."""

    exit_code = 5


class InUseError(CannotWriteError):
    """Another program is writing the same record."""

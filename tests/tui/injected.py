"""The command line with a fault of the program put into it, as its own process would have it.

``python -m tests.tui.injected PLACE COMMAND...`` breaks one place, as a slip of the programmer
would, and then does what ``meterlink COMMAND...`` does.
"""

import sys
import threading
from typing import Any, NoReturn

WORDS = "what \x1b[31mnobody\x1b[0m foresaw"


class SlipError(Exception):
    """An exception that no part of the program expects."""


def break_(place: str) -> None:
    """Let the function at ``place`` (``module:Class.function``, ``@N`` calls later) fail."""
    from importlib import import_module

    where, _, count = place.partition("@")
    module, _, path = where.partition(":")
    *owners, name = path.split(".")
    owner: Any = import_module(module)
    for part in owners:
        owner = getattr(owner, part)
    whole = getattr(owner, name)
    left = [int(count or 0)]
    lock = threading.Lock()

    def broken(*given: Any, **named: Any) -> Any:
        with lock:
            left[0] -= 1
            now = left[0] < 0
        customer = "Ida Bergstrom, number of the pump 4711"  # a local that must not get out
        if now:
            fail(len(customer))
        return whole(*given, **named)

    setattr(owner, name, broken)


def fail(_: int) -> NoReturn:
    """Raise what nobody foresaw."""
    raise SlipError(WORDS)


if __name__ == "__main__":
    from tui.cli import main

    break_(sys.argv[1])
    sys.argv[:] = ["meterlink", *sys.argv[2:]]
    sys.exit(main())

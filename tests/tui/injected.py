"""The command line with a fault of the program put into it, in a process of its own.

``python tests/tui/injected.py PLACE COMMAND...`` breaks one function, as a slip of a programmer
would, and then does what ``meterlink COMMAND...`` does. PLACE is ``module:Class.function``, with
``@N`` where the first N calls still work.
"""

import sys
import threading
from importlib import import_module
from typing import Any, NoReturn

WORDS = "what \x1b[31mnobody\x1b[0m foresaw"
CUSTOMER = "Ida Bergstrom, pump 4711"


class SlipError(Exception):
    """An exception that no part of the program expects."""


def break_(place: str) -> None:
    """Let the function at ``place`` fail."""
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
        if now:
            fail(CUSTOMER)
        return whole(*given, **named)

    setattr(owner, name, broken)


def fail(customer: str) -> NoReturn:
    """Raise what nobody foresaw; ``customer`` is a local that must not get out."""
    raise SlipError(WORDS)


if __name__ == "__main__":
    from tui.cli import main

    break_(sys.argv[1])
    sys.argv[:] = ["meterlink", *sys.argv[2:]]
    sys.exit(main())

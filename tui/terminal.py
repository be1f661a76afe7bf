"""Whether there is a terminal for a full screen."""

import sys


def has_screen() -> bool:
    """Return whether a full screen can be seen, and its keys pressed.

    Standard error counts too: the screen is drawn there on most systems, and would be gone into
    a file that errors are sent to. Without keys nobody could leave it.
    """
    streams = (sys.stdin, sys.stdout, sys.stderr)
    return all(stream is not None and stream.isatty() for stream in streams)

"""The terminal: whether there is one for a full screen, and what was typed into it too early."""

import sys


def has_screen() -> bool:
    """Return whether a full screen can be seen, and its keys pressed.

    Standard error counts too: the screen is drawn there on most systems, and would be gone into
    a file that errors are sent to. Without keys nobody could leave it.
    """
    streams = (sys.stdin, sys.stdout, sys.stderr)
    return all(stream is not None and stream.isatty() for stream in streams)


def forget_typed_ahead() -> None:
    """Throw away what was typed before it was asked for; what comes from a file or pipe stays."""
    if sys.stdin is None or not sys.stdin.isatty():
        return
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            msvcrt.getwch()
    else:
        import termios

        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)

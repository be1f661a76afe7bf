"""The terminal: whether there is one, and questions on it, one a line, also from a pipe."""

import sys
from collections.abc import Callable, Sequence
from typing import TypeVar

from meterlink.errors import MeterlinkError, UsageError
from meterlink.quantities.text import plain


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


Answer = TypeVar("Answer")

LONGEST = 400
"""Characters of an answer; more are cut."""


class EndedError(UsageError):
    """The answers ended before the questions did."""


class Prompter:
    """Asks, and says what is wrong with an answer before it asks again."""

    def __init__(
        self, read: Callable[[], str] | None = None, write: Callable[[str], None] | None = None
    ) -> None:
        """``read`` returns a line or raises ``EOFError``; standard input where none is given."""
        self._read = read or input
        self._write = write or _print

    def ask(self, question: str, read: Callable[[str], Answer], default: str = "") -> Answer:
        """Return what ``read`` makes of the answer; an empty answer stands for ``default``.

        ``read`` raises a ``MeterlinkError`` whose sentence says what was expected.

        Raises:
            EndedError: there are no more answers.
        """
        shown = f" [{default}]" if default else ""
        while True:
            self._write(f"{question}{shown}: ")
            try:
                answer = plain(self._read().strip(), LONGEST)
            except EOFError:
                raise EndedError(
                    f"the answers ended at “{question}”; nothing was written"
                ) from None
            try:
                return read(answer or default)
            except MeterlinkError as fault:
                self._write(f"  {fault}.\n")

    def yes(self, question: str, default: bool | None = None) -> bool:
        """Return whether the answer is yes."""
        word = "" if default is None else "yes" if default else "no"
        return self.ask(f"{question} (yes or no)", read_yes, word)

    def say(self, words: str) -> None:
        """Say something that is no question."""
        self._write(f"{words}\n")


def read_yes(answer: str) -> bool:
    """Return whether ``answer`` is yes."""
    word = answer.lower()
    if word in {"y", "yes"}:
        return True
    if word in {"n", "no"}:
        return False
    raise UsageError("answer yes or no")


def one_of(choices: Sequence[str]) -> Callable[[str], str]:
    """Return a reader that takes one of ``choices``, or a beginning that only one of them has."""

    def read(answer: str) -> str:
        fits = [choice for choice in choices if choice == answer.lower()] or [
            choice for choice in choices if answer and choice.startswith(answer.lower())
        ]
        if len(fits) != 1:
            raise UsageError(f"answer one of {', '.join(choices)}")
        return fits[0]

    return read


def text(least: int, most: int, what: str) -> Callable[[str], str]:
    """Return a reader of a text of so many characters; ``what`` is said of any other."""

    def read(answer: str) -> str:
        if not least <= len(answer) <= most:
            raise UsageError(f"{what}, {least} to {most} characters")
        return answer

    return read


def _print(words: str) -> None:
    sys.stdout.write(words)
    sys.stdout.flush()

"""Is a sealed file still what was written? Says whole, open, or altered from which line.

What a seal can prove is that the bytes are those that were hashed. It cannot say who wrote them
or when: whoever changes a file can make its seals anew. That is why a seal is worth most where
it has left the workshop, on a printed report or in a message.
"""

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

import msgspec

from captures.record.reader import check_version, open_regular
from captures.record.records import Header, RecordError, Seal, decode
from captures.record.seals import MARK_DIGITS, Piece, Sealer, pieces
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain


class State(Enum):
    """What a check found. The value is the word in JSON."""

    WHOLE = "whole"
    """Every byte is under the final seal."""
    OPEN = "unsealed-tail"
    """What is sealed is as it was; the lines after the last seal are under none."""
    ALTERED = "altered"
    """Some sealed byte is not what it was."""


@dataclass(frozen=True)
class Verification:
    """What a check of one file found."""

    path: Path
    state: State
    lines: int
    """Whole lines in the file."""
    sealed_lines: int
    """Lines, from the first on, that the last good seal vouches for, itself included."""
    first_bad_line: int | None = None
    """Where ``altered``: the line that is not what was sealed."""
    last_bad_line: int | None = None
    """The same line, or the end of the stretch where only a stretch is known."""
    unreadable_lines: int = 0
    """Lines under good seals that hold no record: they were cut when they were written."""
    sha256: str = ""
    """Hash in the last good seal."""

    @property
    def sentence(self) -> str:
        """The finding in one plain sentence."""
        name = plain(str(self.path))
        match self.state:
            case State.WHOLE:
                return f"{name}: whole, {self.lines} lines sealed"
            case State.OPEN if self.sealed_lines == self.lines:
                return f"{name}: never closed, though each of its {self.lines} lines is sealed"
            case State.OPEN:
                return f"{name}: unsealed tail from line {self.sealed_lines + 1}"
            case State.ALTERED if self.first_bad_line != self.last_bad_line:
                return (
                    f"{name}: altered between lines {self.first_bad_line} and {self.last_bad_line}"
                )
            case State.ALTERED:
                return f"{name}: altered, first at line {self.first_bad_line}"


def verify(path: Path) -> Verification:
    """Check every seal of a capture or job log, in bounded memory.

    Raises:
        UnreadableError: the file cannot be read at all.
    """
    checker = _Checker(path)
    try:
        with open_regular(path) as file:
            for piece in pieces(file):
                checker.feed(piece)
                if checker.altered is not None:
                    return checker.altered
    except OSError as fault:
        raise UnreadableError(f"{plain(str(path))} cannot be read: {fault.strerror}") from fault
    return checker.finish()


class _Checker:
    """Goes along a file and holds every seal against a hash of its own."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.altered: Verification | None = None
        self._sealer = Sealer()
        self._sealed = 0
        self._sha256 = ""
        self._final = False
        self._ends = True
        self._unreadable = 0
        self._unreadable_sealed = 0
        self._has_header = False

    def feed(self, piece: Piece) -> None:
        """Take the next line, or part of a line too long to be one."""
        self._ends = piece.data.endswith(b"\n")
        if piece.is_seal:
            self._check_seal(piece.data)
            return
        if piece.whole:
            self._look_at(piece.data)
        elif self._ends:
            self._unreadable += 1
        self._final = False
        self._sealer.feed(piece.data)

    def finish(self) -> Verification:
        """Return the finding for a file whose seals were all good.

        Raises:
            UnreadableError: it has neither header nor seal.
        """
        if not self._has_header and not self._sealed:
            name = plain(str(self.path))
            raise UnreadableError(f"{name} is no capture or job log: it has no header")
        state = State.WHOLE if self._final and self._ends else State.OPEN
        return self._check(state)

    def _look_at(self, line: bytes) -> None:
        try:
            record = decode(line)
        except RecordError:
            self._unreadable += 1
            return
        if isinstance(record, Header) and self._sealer.lines == 0:
            check_version(plain(str(self.path)), record)
            self._has_header = True

    def _check_seal(self, line: bytes) -> None:
        expected = self._sealer.seal(final=False)
        number = self._sealer.lines + 1
        try:
            found = decode(line)
        except RecordError:
            found = None
        if not isinstance(found, Seal):
            self._alter(number, number)
            return
        if msgspec.structs.replace(found, final=False) != expected:
            self._alter(*self._where(found, expected, number))
            return
        self._sealed = number
        self._sha256 = found.sha256
        self._final = found.final
        self._unreadable_sealed = self._unreadable
        self._sealer.feed_seal(line)

    def _where(self, found: Seal, expected: Seal, number: int) -> tuple[int, int]:
        """Return the first and last line that may be the bad one."""
        if found.sha256 == expected.sha256:
            return number, number  # what it seals is as it was, so the seal itself is not
        first = max(self._sealed, 1)
        for index in range(max(len(found.marks), len(expected.marks)) // MARK_DIGITS + 1):
            span = slice(index * MARK_DIGITS, (index + 1) * MARK_DIGITS)
            if found.marks[span] != expected.marks[span]:
                line = min(first + index, number)
                return line, line
        if found.bytes == expected.bytes:
            return first, number
        return number, number

    def _alter(self, first: int, last: int) -> None:
        self.altered = self._check(State.ALTERED, first, last)

    def _check(
        self, state: State, first: int | None = None, last: int | None = None
    ) -> Verification:
        return Verification(
            path=self.path,
            state=state,
            lines=self._sealer.lines,
            sealed_lines=self._sealed,
            first_bad_line=first,
            last_bad_line=last,
            unreadable_lines=self._unreadable_sealed,
            sha256=self._sha256,
        )

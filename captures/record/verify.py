"""Is a sealed file still what was written? Says whole, open, cut, or altered from which line.

What a seal can prove is that the bytes are those that were hashed. It cannot say who wrote them
or when: whoever changes a file can make its seals again. That is why a seal is worth most where
it has left the workshop, on a printed report or in a message.

This module looks at one file by itself; ``verify_job`` holds it against what else is known of it.
"""

from dataclasses import dataclass
from enum import Enum
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

import msgspec

from captures.record.files import open_regular
from captures.record.records import Header, RecordError, check_version, decode
from captures.record.seals import (
    LONGEST_LINE,
    MARK_DIGITS,
    MOST_MARKS,
    START_OF_SEAL,
    FilePart,
    Seal,
    Sealer,
    stretches,
)
from captures.record.signature import is_signed_well
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain


class State(Enum):
    """What a check found. The value is the word in JSON."""

    WHOLE = "whole"
    """Every byte is under the final seal."""
    OPEN = "open"
    """What is sealed is as it was, and there is no final seal at the end: it is still written, a
    crash ended it, or its end was cut off and nothing else tells."""
    CUT = "cut"
    """What is there is as it was, and something else proves that more was there."""
    ALTERED = "altered"
    """Some sealed byte is not what it was."""


class Sealed(NamedTuple):
    """A seal as something else names it: what a file must have held."""

    lines: int
    sha256: str


@dataclass(frozen=True)
class Verification:
    """What a check of one file found."""

    path: Path
    state: State
    lines: int
    """Whole lines in the file; where ``altered``, up to the seal that told."""
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
    found: bool = False
    """The seal that was looked for is there, and good."""
    key: str = ""
    """Public key of the bench that signed the final seal; empty where nobody did."""
    signed_well: bool | None = None
    """Whether the signature is that key's; None where there is none, or it cannot be checked."""
    why: str = ""
    """Where something else told: what it told, as the end of a sentence."""

    @property
    def sentence(self) -> str:
        """The finding in one plain sentence."""
        return f"{plain(str(self.path))}: {self.words}"

    @property
    def words(self) -> str:
        """The finding, without the name of the file."""
        if self.why:
            loose = self.state is State.CUT and self.sealed_lines < self.lines
            tail = f"; unsealed tail from line {self.sealed_lines + 1}" if loose else ""
            return f"{self.state.value}, {self.why}{tail}"
        match self.state:
            case State.WHOLE:
                return f"whole, {self.lines} lines sealed"
            case State.OPEN if self.sealed_lines == self.lines:
                return f"open, never closed, though each of its {self.lines} lines is sealed"
            case State.ALTERED if self.first_bad_line != self.last_bad_line:
                return f"altered between lines {self.first_bad_line} and {self.last_bad_line}"
            case State.ALTERED:
                return f"altered, first at line {self.first_bad_line}"
        return (
            f"open, it ends at line {self.lines} and was not closed there; "
            f"unsealed tail from line {self.sealed_lines + 1}, where no change would show"
        )


def verify(path: Path, *, thorough: bool = True, expect: Sealed | None = None) -> Verification:
    """Check every seal of a capture or job log, in bounded memory.

    ``thorough`` also counts the lines under good seals that hold no record. ``expect`` is a seal
    that is looked for on the way.

    Raises:
        UnreadableError: the file cannot be read at all.
    """
    checker = _Checker(path, thorough, expect)
    try:
        with open_regular(path) as file:
            for stretch in stretches(file):
                checker.feed(stretch)
                if checker.altered is not None:
                    return checker.altered
            checker.look_at_the_marks(file)
            checker.look_at_the_tail(file)
    except OSError as fault:
        raise UnreadableError(f"{plain(str(path))} cannot be read: {fault.strerror}") from fault
    return checker.altered or checker.finish()


class _Kind(msgspec.Struct, gc=False):
    """What every record has."""

    kind: str


_KIND: Final = msgspec.json.Decoder(_Kind)

_OF_A_SEAL: Final = (
    b'"kind":"seal"',
    b'"lines":',
    b'"bytes":',
    b'"sha256":"',
    b'"marks":"',
    b'"final":',
)
_ENOUGH: Final = 4
"""So many of these texts are in no record but a seal."""


class _Checker:
    """Goes along a file and holds every seal against a hash of its own."""

    def __init__(self, path: Path, thorough: bool, expect: Sealed | None) -> None:
        self.path = path
        self.altered: Verification | None = None
        self._thorough = thorough
        self._expect = expect
        self._found = False
        self._seal: Seal | None = None
        """The last good one."""
        self._seal_at = 0
        """Where the newest seal begins, in bytes."""
        self._marked_from = 0
        """Where the lines begin that the last good seal marks."""
        self._sealer = Sealer()
        self._sealed = 0
        self._sealed_bytes = 0
        self._bytes = 0
        self._final = False
        self._ends = True
        self._unreadable = 0
        self._unreadable_sealed = 0
        self._has_header = False

    def feed(self, stretch: FilePart) -> None:
        """Take the next stretch of the file."""
        self._bytes += len(stretch.data)
        self._ends = stretch.data.endswith(b"\n")
        if stretch.is_seal:
            self._check_seal(stretch.data)
            return
        if self._sealer.lines == 0 and stretch.whole:
            self._look_at_header(stretch.data)
        if self._thorough:
            self._count_unreadable(stretch)
        self._final = False
        self._sealer.follow(stretch)

    def look_at_the_marks(self, file: BinaryIO) -> None:
        """Hold the marks of the last good seal against its lines: no later seal vouches for it."""
        if self._seal is None:
            return
        sealer = Sealer()
        file.seek(self._marked_from)
        for number, stretch in enumerate(stretches(file)):
            if stretch.is_seal and (number or not self._marked_from):
                break
            sealer.follow(stretch)
        if sealer.marks != self._seal.marks:
            self._alter(self._sealed, self._sealed)

    def look_at_the_tail(self, file: BinaryIO) -> None:
        """Look for a seal that was damaged so that it is none any more, after the last good one."""
        if self._final or self.altered is not None:
            return
        file.seek(self._sealed_bytes)
        number = self._sealed
        while line := file.readline(LONGEST_LINE):
            number += 1
            if sum(text in line for text in _OF_A_SEAL) >= _ENOUGH and not _was_cut(line):
                self._alter(number, number)
                return

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

    def _look_at_header(self, lines: bytes) -> None:
        try:
            record = decode(lines[: lines.index(b"\n") + 1])
        except RecordError:
            return
        if isinstance(record, Header):
            check_version(plain(str(self.path)), record)
            self._has_header = True

    def _count_unreadable(self, stretch: FilePart) -> None:
        if not stretch.whole:
            self._unreadable += self._ends
            return
        read = _KIND.decode
        for line in BytesIO(stretch.data):
            try:
                read(line)
            except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
                self._unreadable += 1

    def _check_seal(self, line: bytes) -> None:
        sealer = self._sealer
        number = sealer.lines + 1
        try:
            found = decode(line)
        except RecordError:
            found = None
        if not isinstance(found, Seal):
            self._alter(number, number)
            return
        told = found.lines, found.bytes, found.sha256, len(found.marks)
        marked = min(sealer.lines_since_seal, MOST_MARKS) * MARK_DIGITS
        if told != (sealer.lines, sealer.bytes, sealer.sha256, marked):
            self._alter(*self._where(found, sealer.seal(final=False), number))
            return
        if (found.key or found.signature) and is_signed_well(found) is False:
            self._alter(number, number)
            return
        if self._expect == Sealed(found.lines, found.sha256):
            self._found = True
        self._sealed, self._seal = number, found
        self._unreadable_sealed = self._unreadable
        self._marked_from, self._sealed_bytes = self._seal_at, self._bytes
        self._seal_at = self._bytes - len(line)
        self._final = found.final
        sealer.feed_seal(line)

    def _where(self, found: Seal, expected: Seal, number: int) -> tuple[int, int]:
        """Return the first and last line that may be the bad one."""
        if found.sha256 == expected.sha256:
            return number, number  # what it seals is as it was, so the seal itself is not
        first = max(self._sealed, 1)
        missing = len(expected.marks) - len(found.marks)
        if found.lines == expected.lines and missing > 0:
            # A seal since the last good one is none any more: the first line that is marked here.
            line = first + missing // MARK_DIGITS
            return line, line
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
        seal = self._seal
        signed = seal is not None and state is State.WHOLE and bool(seal.key or seal.signature)
        return Verification(
            path=self.path,
            state=state,
            lines=self._sealer.lines,
            sealed_lines=self._sealed,
            first_bad_line=first,
            last_bad_line=last,
            unreadable_lines=self._unreadable_sealed,
            sha256="" if seal is None else seal.sha256,
            found=self._found,
            key=seal.key if seal is not None and signed else "",
            signed_well=is_signed_well(seal) if seal is not None and signed else None,
        )


def _was_cut(line: bytes) -> bool:
    """Whether what is left of a seal's line is its beginning, with nothing after its end."""
    return line.startswith(START_OF_SEAL) and line.find(b"}") in {-1, len(line) - 1}

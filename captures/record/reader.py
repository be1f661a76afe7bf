"""Reading records back: a line at a time, in bounded memory, whatever is in the file.

What cannot be read is counted and named, and reading goes on with the next line. A file that
was cut is read up to its last whole line.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

from captures.record.files import open_regular
from captures.record.records import (
    CAPTURE_FORMAT,
    Header,
    Record,
    RecordError,
    decode,
    read_header,
)
from captures.record.seals import LONGEST_LINE
from meterlink.closing import Closing
from meterlink.errors import UnreadableError
from meterlink.events import Event
from meterlink.quantities.text import plain
from meterlink.reading import Reading

_GIVEN: Final = (Reading, Event)
"""What iterating gives; a tuple made once, as this is looked at for every line."""

_DAMAGE_NAMED: Final = 100
"""So many damaged lines are named; the rest are counted."""


class Damage(NamedTuple):
    """A line that could not be read."""

    line: int
    """Counted from 1."""
    why: str


class RecordReader(Closing):
    """The records of one file, in order. Iterate once; close it, or use it in ``with``."""

    def __init__(self, path: Path, expect: str = CAPTURE_FORMAT) -> None:
        """Open ``path`` and read its header.

        Raises:
            UnreadableError: missing, no such file as ``expect``, or from a newer program.
        """
        self.path = path
        self.name = plain(str(path))
        self.damage: list[Damage] = []
        """The first damaged lines."""
        self.damaged = 0
        """How many lines could not be read."""
        self.cut = False
        """The file ends inside a line; known at the end."""
        self._file = open_regular(path)
        self._line = 0
        try:
            self.header = self._read_header(expect)
        except BaseException:
            self._file.close()
            raise

    def close(self) -> None:
        """Let go of the file. Safe to call twice."""
        self._file.close()

    @property
    def line(self) -> int:
        """Number of the line that was read last, counted from 1."""
        return self._line

    def lines(self) -> Iterator[tuple[int, bytes]]:
        """Yield each further whole line with its number.

        Raises:
            UnreadableError: the medium fails.
        """
        readline = self._file.readline
        try:
            while line := readline(LONGEST_LINE):
                self._line += 1
                if line[-1] == 0x0A:
                    yield self._line, line
                elif len(line) < LONGEST_LINE:
                    self.cut = True
                else:
                    self._skip_rest()
                    self._note(f"longer than {LONGEST_LINE} bytes")
        except OSError as fault:
            raise UnreadableError(
                f"{self.name} cannot be read beyond line {self._line}: {fault.strerror}"
            ) from fault

    def records(self) -> Iterator[tuple[int, Record]]:
        """Yield every further record with the number of its line, seals and unknown ones too."""
        for _, record in self.lines_and_records():
            yield self._line, record

    def lines_and_records(self) -> Iterator[tuple[bytes, Record]]:
        """Yield every further record beside the line that it was read from."""
        for _, line in self.lines():
            try:
                record = decode(line)
            except RecordError as fault:
                self._note(plain(str(fault)))
                continue
            yield line, record

    def __iter__(self) -> Iterator[Reading | Event]:
        """Yield readings and events, oldest first."""
        for _, record in self.lines_and_records():
            if isinstance(record, _GIVEN):
                yield record

    def _note(self, why: str) -> None:
        self.damaged += 1
        if len(self.damage) < _DAMAGE_NAMED:
            self.damage.append(Damage(self._line, why))

    def _skip_rest(self) -> None:
        while piece := self._file.readline(LONGEST_LINE):
            if piece[-1] == 0x0A:
                return

    def _read_header(self, expect: str) -> Header:
        self._line = 1
        try:
            return read_header(self._file, self.name, expect)
        except OSError as fault:
            raise UnreadableError(f"{self.name} cannot be read: {fault.strerror}") from fault


def read_capture(path: Path) -> RecordReader:
    """Open a capture: ``header``, then iterate for readings and events.

    Raises:
        UnreadableError: missing, no capture, or from a newer program.
    """
    return RecordReader(path)

"""A record as a source of readings: to the engine it looks the same as a live meter."""

from collections.abc import Iterator
from pathlib import Path

from captures.record.plain_readings import PlainReader
from captures.record.reader import RecordReader, open_regular
from captures.record.records import Header
from meterlink.events import Event, MeterSet
from meterlink.reading import Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop
from meterlink.steps.worker import setting_of


class RecordSource:
    """The readings of one capture or plain readings file, as fast as they can be read.

    Implements ``meterlink.source.Source``.
    """

    def __init__(self, reader: RecordReader | PlainReader) -> None:
        self._reader = reader
        self._setting = _setting_of(self.header)

    @property
    def header(self) -> Header | None:
        """The capture's header; None for a plain readings file."""
        return self._reader.header if isinstance(self._reader, RecordReader) else None

    @property
    def identity(self) -> Identity:
        """The meter that the record names; for a plain file only the file's name."""
        header = self.header
        if header is not None and header.meter is not None:
            return header.meter
        return Identity(port=self._reader.name)

    @property
    def dropped(self) -> int:
        """How many not-a-numbers of a plain file were passed over so far."""
        return self._reader.dropped if isinstance(self._reader, PlainReader) else 0

    @property
    def damaged(self) -> int:
        """How many lines of a capture could not be read so far."""
        return self._reader.damaged if isinstance(self._reader, RecordReader) else 0

    @property
    def line(self) -> int:
        """Number of the line of a capture that was read last; 0 in a plain readings file."""
        return self._reader.line if isinstance(self._reader, RecordReader) else 0

    def prepare(self, setup: MeterSetup) -> Setting:
        """Return what the meter was set to; a record cannot be set."""
        return self._setting

    def confirm(self, setup: MeterSetup) -> Setting:
        """As ``prepare``: a record cannot be asked."""
        return self._setting

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield the readings, oldest first, until ``stop`` or the end.

        Raises:
            UnreadableError: a line of a plain file makes no sense, or the medium fails.
        """
        for record in self.records():
            if stop.is_set():
                return
            if isinstance(record, Reading):
                yield record

    def records(self) -> Iterator[Reading | Event]:
        """Yield readings and events, oldest first; errors as for ``readings``."""
        for record in self._reader:
            if isinstance(record, MeterSet):
                self._setting = setting_of(record)
            yield record

    def close(self) -> None:
        """Let go of the file. Safe to call twice."""
        self._reader.close()


def open_readings(path: Path) -> RecordSource:
    """Open a capture or a plain readings file, whichever ``path`` is.

    Raises:
        UnreadableError: missing, or neither of the two.
    """
    with open_regular(path) as file:
        start = file.read(1)
    return RecordSource(RecordReader(path) if start == b"{" else PlainReader(path))


def _setting_of(header: Header | None) -> Setting:
    return header.setting if header is not None and header.setting is not None else Setting()

"""From the folder of one job to its rows in every table of an archive.

A record that is damaged gives the rows that can still be read, and each of them says what state
the record is in. A job whose log cannot be read at all gives one row in ``jobs`` that says so.
"""

import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from captures.archive.log_rows import LogRow, LogRows, RowContext, epoch_ms
from captures.archive.tables import schema_of
from captures.job.card_progress import JobSettings
from captures.job.job import Job, LogReader
from captures.job.store_list import id_of
from captures.job.verify_job import check_job, hash_file, inside
from captures.record.files import as_utf8, open_regular, read_rfc3339
from captures.record.reader import RecordReader, read_capture
from captures.record.records import Header, RecordError, decode, decode_readings
from captures.record.seals import Seal
from captures.record.verify import State
from meterlink.errors import UnreadableError
from meterlink.quantities.text import plain
from meterlink.reading import Reading

UNREADABLE = "unreadable"


class RecordState(NamedTuple):
    """What a check of all files of a job found."""

    record: str
    """``whole``, ``open``, ``cut`` or ``altered``, the worst of any file; ``unreadable``: the log
    itself cannot be read."""
    why: str = ""
    """What is wrong, in a sentence; empty for a whole record."""
    seal: str = ""
    """SHA-256 in the log's last good seal."""
    signed: bool | None = None
    """Whether the signature is good; None where there is none, or it cannot be checked."""


def state_of(job: Job) -> RecordState:
    """Check every file of ``job``.

    This is the one place where the archive learns it, so that it says what every reader says.
    """
    try:
        check = check_job(job)
    except UnreadableError as fault:
        return RecordState(UNREADABLE, plain(str(fault), 400))
    why = "" if check.state is State.WHOLE else plain(check.sentence, 400)
    log = check.parts[0]
    return RecordState(check.state.value, why, log.sha256, log.signed_well)


if TYPE_CHECKING:
    import pyarrow

Month = tuple[int, int]
"""Year and month in which a job began, by the clock of the place."""

NO_MONTH: Final[Month] = (0, 0)
"""Of a job that does not say when it began."""

_READING: Final = b'{"kind":"reading"'
"""How this program begins the line of a reading; others are decoded one by one."""

_AT_ONCE: Final = 4096
"""Lines decoded in one go."""

_FARTHEST_S: Final = 1e9
"""Seconds; a reading farther from the start of its capture has no wall time worth the name."""

_TAIL: Final = 8192
"""Bytes from the end of a log in which its final seal is looked for: a hundred marks fit."""


class JobRows(NamedTuple):
    """All rows of one job."""

    month: Month
    rows: dict[str, list[LogRow]]
    """By table, but for the readings."""
    readings: "list[pyarrow.Table]"
    """Of each capture."""
    state: RecordState
    record_id: str
    content: str
    """What the job holds, as one hash: the same content is brought in once."""


def final_seal(job: Job) -> str:
    """Return the hash in the final seal that the log ends with; empty where it has none.

    Raises:
        UnreadableError: the log cannot be read.
    """
    with open_regular(job.log_path) as log:
        size = log.seek(0, 2)
        log.seek(max(0, size - _TAIL))
        tail = log.read()
    try:
        last = decode(tail.rstrip(b"\n").rpartition(b"\n")[2]) if tail.endswith(b"\n") else None
    except RecordError:
        return ""
    return last.sha256 if isinstance(last, Seal) and last.final else ""


def rows_of(job: Job, batch: str, *, readings: bool = True) -> JobRows:
    """Return every row of ``job``, of the readings only on request."""
    state = state_of(job)
    common: LogRow = {
        "job": plain(as_utf8(job.name)),
        "batch": batch,
        "record": state.record,
        "signed": state.signed,
    }
    try:
        common["record_id"] = id_of(job.log_path)
        content = _content(job, state)
        if state.record == UNREADABLE:
            raise UnreadableError(state.why)
        return _readable(job, common, state, content, readings=readings)
    except UnreadableError as fault:
        state = state._replace(record=UNREADABLE, why=plain(str(fault), 400))
    content = hashlib.sha256(state.why.encode()).hexdigest()
    common |= {"record": UNREADABLE}
    common.setdefault("record_id", hashlib.sha256(as_utf8(job.name).encode()).hexdigest())
    row = common | {"title": "", "content": content, "why": state.why}
    return JobRows(_named_month(job), {"jobs": [row]}, [], state, common["record_id"], content)


def _readable(
    job: Job, common: LogRow, state: RecordState, content: str, *, readings: bool
) -> JobRows:
    settings = JobSettings.read(job)
    story = LogRows(settings)
    with LogReader(job.log_path) as log:
        header = log.header
        for entry in log.entries():
            story.take(entry)
    story.finish()
    common["engine"] = plain(header.title).partition(",")[0].strip().casefold()
    rows = {
        name: [common | row for row in (story.holds() if name == "holds" else given)]
        for name, given in story.rows.items()
    }
    count, damaged, parts = 0, log.damaged, []
    for file, capture_header in settings.headers.items():
        found = _Capture(job, file, capture_header, story.moments.get(file, []))
        count, damaged = count + found.count, damaged + found.damaged
        if readings and found.count:
            parts.append(found.table(common))
    row = {
        "at_utc": epoch_ms(header.started),
        "card": story.card,
        "profile": story.profile,
        "meter": _last_meter(settings),
        "title": plain(header.title),
        "who": story.who,
        "ended_utc": story.ended_ms,
        "complaint": story.complaint,
        "done": story.done,
        "signed_off": story.signed_off,
        "captures": len(settings.headers),
        "readings": count,
        "damaged_lines": damaged,
        "simulated": any(h.settings.get("simulated") is True for h in settings.headers.values()),
        "program": plain(header.program),
        "seal": state.seal,
        "content": content,
        "why": state.why,
    }
    rows["jobs"] = [common | row]
    month = _month(header.started) or _named_month(job)
    return JobRows(month, rows, parts, state, common["record_id"], content)


class _Capture:
    """The readings of one capture, column by column."""

    def __init__(self, job: Job, file: str, header: Header, moments: Sequence[RowContext]) -> None:
        self.name = plain(PurePosixPath(file).name)
        self.damaged = 0
        self._header, self._moments = header, moments
        self._readings: list[Reading] = []
        try:
            with read_capture(inside(job.folder, file)) as capture:
                for lines in _stretches(capture):
                    self._take(lines)
        except UnreadableError:
            self.damaged += 1  # the state of the record says what is wrong
        self.count = len(self._readings)

    def _take(self, lines: list[bytes]) -> None:
        try:
            self._readings += decode_readings(lines)
        except RecordError:
            for line in lines:
                try:
                    record = decode(line)
                except RecordError:
                    self.damaged += 1
                    continue
                if isinstance(record, Reading):
                    self._readings.append(record)

    def table(self, common: LogRow) -> "pyarrow.Table":
        """Return the rows of the readings."""
        import pyarrow

        readings = self._readings
        t = np.array([reading.t for reading in readings])
        kinds = {reading.quantity for reading in readings}
        words = {kind: (kind.value, kind.unit) for kind in kinds}
        given: dict[str, Any] = {
            "capture": self.name,
            "meter": plain(str(self._header.meter)) if self._header.meter else "",
            "at_utc": self._times(t),
            "t_s": t,
            "value": np.array([reading.value for reading in readings]),
            "overload": [reading.overload for reading in readings],
            "resolution": [reading.resolution for reading in readings],
        }
        if len(kinds) == 1:
            [(given["quantity"], given["unit"])] = words.values()
        else:
            given["quantity"] = [words[reading.quantity][0] for reading in readings]
            given["unit"] = [words[reading.quantity][1] for reading in readings]
        given |= self._context(t)
        schema = schema_of("readings")
        columns = common | given
        arrays = [_array(columns.get(field.name), field.type, len(t)) for field in schema]
        return pyarrow.Table.from_arrays(arrays, schema=schema)

    def _times(self, t: "np.ndarray[Any, Any]") -> "pyarrow.Array":
        import pyarrow

        started = epoch_ms(self._header.started)
        if started is None:
            return pyarrow.nulls(len(t), pyarrow.timestamp("us"))
        known = np.abs(t) < _FARTHEST_S
        at = np.rint(np.where(known, t, 0.0) * 1000) + started
        return pyarrow.array(at.astype("int64") * 1000, pyarrow.timestamp("us"), mask=~known)

    def _context(self, t: "np.ndarray[Any, Any]") -> dict[str, Any]:
        """Return the columns that change with the steps of the card."""
        first = RowContext(
            -np.inf, self._header.step, self._header.card, self._header.profile, None, (None, None)
        )
        moments = [first, *self._moments]
        # What happens at the time of a reading happens because of it, so it holds after it.
        which = np.searchsorted([moment.t for moment in moments], t, side="left") - 1
        which = np.maximum(which, 0)
        columns: dict[str, list[Any]] = {
            "step": [moment.step for moment in moments],
            "card": [moment.card for moment in moments],
            "profile": [moment.profile for moment in moments],
            "temperature": [moment.temperature for moment in moments],
            "window_low": [moment.window[0] for moment in moments],
            "window_high": [moment.window[1] for moment in moments],
        }
        return {name: _Chosen(values, which) for name, values in columns.items()}


class _Chosen(NamedTuple):
    """A column given by a few values and which of them each row has."""

    values: list[Any]
    which: "np.ndarray[Any, Any]"


def _stretches(capture: RecordReader) -> Iterator[list[bytes]]:
    """Yield the lines of readings, many at a time; other records are passed over."""
    lines: list[bytes] = []
    for _, line in capture.lines():
        if line.startswith(_READING):
            lines.append(line)
            if len(lines) == _AT_ONCE:
                yield lines
                lines = []
        elif not line.startswith(b'{"kind":"'):  # by another writer, or damaged
            yield [line]
    yield lines


def table_of(name: str, rows: Sequence[LogRow]) -> "pyarrow.Table":
    """Return rows as a table; columns that a row leaves out are empty."""
    import pyarrow

    arrays = [_column([row.get(f.name) for row in rows], f.type) for f in schema_of(name)]
    return pyarrow.Table.from_arrays(arrays, schema=schema_of(name))


def _column(values: list[Any], kind: "pyarrow.DataType") -> "pyarrow.Array":
    import pyarrow

    if pyarrow.types.is_timestamp(kind):
        return pyarrow.array(values, pyarrow.timestamp("ms")).cast(kind)
    return pyarrow.array(values, kind)


def _array(given: Any, kind: "pyarrow.DataType", length: int) -> "pyarrow.Array":
    import pyarrow

    if isinstance(given, _Chosen):
        return pyarrow.array(given.values, kind).take(pyarrow.array(given.which))
    if given is None or isinstance(given, str | bool | int):
        return pyarrow.repeat(pyarrow.scalar(given, kind), length)
    return given if isinstance(given, pyarrow.Array) else pyarrow.array(given, kind)


def _content(job: Job, state: RecordState) -> str:
    """Return a hash of what a job holds; a whole log's seal is one, as it names all captures'."""
    if state.record == "whole":
        return state.seal
    digest = hashlib.sha256(state.record.encode())
    for path in (job.log_path, *job.captures()):
        digest.update(b"\n" + as_utf8(path.name).encode() + b"\n")
        try:
            digest.update(hash_file(path)[0].encode())
        except UnreadableError:
            digest.update(b"unreadable")
    return digest.hexdigest()


def _last_meter(settings: JobSettings) -> str:
    meters = [plain(str(h.meter)) for h in settings.headers.values() if h.meter is not None]
    return meters[-1] if meters else ""


def _month(started: str) -> Month | None:
    try:
        when = read_rfc3339(started)
    except UnreadableError:
        return None
    return when.year, when.month


def _named_month(job: Job) -> Month:
    try:
        when = datetime.strptime(job.name[:7], "%Y-%m")  # noqa: DTZ007  # only for its month
    except ValueError:
        return NO_MONTH
    return when.year, when.month

"""The data set: Parquet files in a folder or an object store, only ever added to.

    holds/site=north-shed/year=2026/month=11/20261125T210344-3f9a-001.parquet
    batches/20261125T210344-3f9a.json       what one run brought in; written last
    datapackage.json                        what the tables and columns are (see ``package``)

A file counts once the record of its batch names it. So a run that was cut off leaves nothing that
any question sees, and the next one clears it away.
"""

import contextlib
import secrets
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final, NamedTuple

import msgspec

from captures.archive.tables import PACKAGE, PARTITION, TABLES, need_arrow, package_of, schema_of
from captures.record.files import rfc3339, take_lock
from meterlink.errors import CannotWriteError, InUseError, UnreadableError
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow
    from pyarrow import parquet

FORMAT: Final = "meterlink-archive"
VERSION: Final = "1.0"
_BATCHES: Final = "batches"
_LOCK: Final = ".lock"
_DRAFT: Final = ".part"
"""Ends the name of a file that is still written, so that no other tool takes it for data."""

_GROUP: Final = 1 << 16
"""Rows of a table that are held back, so that its files have few and large groups."""

_MOST_OPEN: Final = 4
"""Months that are written at the same time; jobs come in by day, so a few are enough."""


class BatchFile(msgspec.Struct, frozen=True, kw_only=True):
    """One file of a batch."""

    table: str
    path: str
    rows: int
    bytes: int


class Batch(msgspec.Struct, frozen=True, kw_only=True):
    """What one run brought in."""

    format: str = FORMAT
    version: str = VERSION
    batch: str
    at: str
    """RFC 3339."""
    jobs: int
    files: tuple[BatchFile, ...]


class SiteMonth(NamedTuple):
    """A month of a site: what a file holds rows of."""

    site: str
    year: int
    month: int

    def folder(self, table: str) -> str:
        """Return the folder of such files, inside the data set."""
        return f"{table}/site={self.site}/year={self.year}/month={self.month}"


class DataSet:
    """A data set, to read and to add to."""

    def __init__(self, where: str) -> None:
        """Look at the folder or URL ``where``, which need not exist yet.

        Raises:
            UsageError: pyarrow is missing.
            UnreadableError: it cannot be reached, or is from a newer program.
        """
        need_arrow()
        from pyarrow import fs

        self.name = plain(where, 400)
        self.folder: Path | None = None
        """Where it lies, if that is a folder of this system."""
        try:
            if "://" in where:
                base, root = fs.FileSystem.from_uri(where)
            else:
                base, root = fs.LocalFileSystem(), Path(where).absolute().as_posix()
            if isinstance(base, fs.LocalFileSystem):
                self.folder = Path(root)
            self.files: Any = fs.SubTreeFileSystem(root, base)
        except (OSError, ValueError) as fault:
            raise UnreadableError(f"{self.name} cannot be reached: {_why(fault)}") from fault
        self.batches = self._read_batches()

    @property
    def exists(self) -> bool:
        """Whether anything was ever brought in."""
        return bool(self.batches)

    def table(self, name: str) -> Any:
        """Return the rows of a table, as a pyarrow data set that is read when it is asked.

        Raises:
            UnreadableError: a file that belongs to it is gone, or not as long as it was written.
        """
        import pyarrow
        from pyarrow import dataset

        schema = schema_of(name, partition=True)
        listed = [file for batch in self.batches for file in batch.files if file.table == name]
        if not listed:
            return dataset.dataset(schema.empty_table())
        self._check(name, listed)
        folders = pyarrow.schema([schema.field(column.name) for column in PARTITION])
        return dataset.dataset(
            [file.path for file in listed],
            schema=schema,
            filesystem=self.files,
            format="parquet",
            partitioning=dataset.partitioning(folders, flavor="hive"),
        )

    def _check(self, name: str, listed: list[BatchFile]) -> None:
        from pyarrow import fs

        try:
            there = {
                info.path.lstrip("/"): info.size
                for info in self.files.get_file_info(
                    fs.FileSelector(name, recursive=True, allow_not_found=True)
                )
            }
        except OSError as fault:
            raise UnreadableError(f"{self.name} cannot be read: {_why(fault)}") from fault
        for file in listed:
            if there.get(file.path) != file.bytes:
                raise UnreadableError(
                    f"{self.name}/{file.path} is gone or not as it was written; put it back, or "
                    "archive the jobs again into another folder"
                )

    def _read_batches(self) -> list[Batch]:
        """Return the batches, oldest first."""
        from pyarrow import fs

        selector = fs.FileSelector(_BATCHES, allow_not_found=True)
        try:
            found = [
                self._read_batch(info.path)
                for info in self.files.get_file_info(selector)
                if info.path.endswith(".json")
            ]
        except OSError as fault:
            raise UnreadableError(f"{self.name} cannot be read: {_why(fault)}") from fault
        return sorted(found, key=lambda batch: batch.batch)

    def _read_batch(self, path: str) -> Batch:
        try:
            with self.files.open_input_stream(path) as file:
                batch = msgspec.json.decode(file.read(), type=Batch)
        except (msgspec.DecodeError, UnicodeDecodeError) as fault:
            raise UnreadableError(f"{self.name}/{plain(path)} is no record of a batch") from fault
        major = batch.version.partition(".")[0]
        if batch.format != FORMAT or major != VERSION.partition(".")[0]:
            raise UnreadableError(
                f"{self.name} was written by a newer program (data set "
                f"{plain(batch.version, 12)}, this one reads 1); update meterlink to read it"
            )
        return batch


@contextlib.contextmanager
def adding(data: DataSet) -> Iterator["BatchWriter"]:
    """Yield what takes in rows; they count once all went well, and else leave nothing.

    One at a time in a folder of this system. An object store has no locks: two runs at once may
    bring in the same job there, and questions then see the rows of one of them.

    Raises:
        InUseError: another run brings jobs into this folder.
        CannotWriteError: it cannot be written.
    """
    with contextlib.ExitStack() as held:
        if data.folder is not None:
            held.enter_context(_locked(data.folder, data.name))
            data.batches = data._read_batches()  # another run may have ended just before
            _clear(data)
        writer = BatchWriter(data)
        try:
            yield writer
            writer.commit()
        except OSError as fault:
            raise CannotWriteError(f"{data.name} cannot be written: {_why(fault)}") from fault
        finally:
            writer.clear()


class BatchWriter:
    """Takes in rows, month by month."""

    def __init__(self, data: DataSet) -> None:
        self.batch = f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}-{secrets.token_hex(4)}"
        self._data = data
        self._open: dict[SiteMonth, _Month] = {}
        self._files: list[BatchFile] = []
        self._drafts: list[str] = []
        self._months = 0
        self._jobs = 0

    def add(self, place: SiteMonth, tables: "dict[str, pyarrow.Table]") -> None:
        """Take in the rows of one or more jobs that began in the same month.

        Raises:
            OSError: they cannot be written.
        """
        if place not in self._open:
            if len(self._open) == _MOST_OPEN:
                self._end(next(iter(self._open)))
            self._months += 1
            self._open[place] = _Month(self, place, f"{self.batch}-{self._months:04d}.parquet")
        for name, rows in tables.items():
            self._open[place].add(name, rows)
        self._jobs += tables["jobs"].num_rows

    def commit(self) -> None:
        """Give every file its name, then say that they are there.

        Raises:
            OSError: they cannot be written.
        """
        for place in list(self._open):
            self._end(place)
        if not self._jobs:
            return
        data = self._data
        for draft in self._drafts:
            data.files.move(draft, draft.removesuffix(_DRAFT))
        sizes = {info.path: info.size for info in self._written()}
        batch = Batch(
            batch=self.batch,
            at=rfc3339(datetime.now(UTC)),
            jobs=self._jobs,
            files=tuple(
                msgspec.structs.replace(file, bytes=sizes[file.path]) for file in self._files
            ),
        )
        data.files.create_dir(_BATCHES, recursive=True)
        self._put(f"{_BATCHES}/{self.batch}.json", msgspec.json.encode(batch))
        self._drafts = []
        data.batches.append(batch)
        files = [file for batch in data.batches for file in batch.files]
        paths = {name: [f.path for f in files if f.table == name] for name in TABLES}
        self._put(PACKAGE, package_of(paths, batch.at))

    def clear(self) -> None:
        """Take away what was not committed. Safe to call twice."""
        for month in self._open.values():
            with contextlib.suppress(OSError):
                month.close()
        for draft in self._drafts:
            for path in (draft, draft.removesuffix(_DRAFT)):
                with contextlib.suppress(OSError):
                    self._data.files.delete_file(path)
        self._open, self._drafts = {}, []

    def sink(self, place: SiteMonth, table: str, name: str) -> Any:
        """Open a file to write rows of a table to; it gets its name when all is written.

        Raises:
            OSError: it cannot be made.
        """
        folder = place.folder(table)
        self._data.files.create_dir(folder, recursive=True)
        draft = f"{folder}/{name}{_DRAFT}"
        self._drafts.append(draft)
        return self._data.files.open_output_stream(draft)

    def _end(self, place: SiteMonth) -> None:
        month = self._open.pop(place)
        month.close()
        self._files += [
            BatchFile(table=table, path=f"{place.folder(table)}/{month.name}", rows=rows, bytes=0)
            for table, rows in month.rows.items()
        ]

    def _written(self) -> Any:
        return self._data.files.get_file_info([file.path for file in self._files])

    def _put(self, path: str, data: bytes) -> None:
        """Write a small file, whole or not at all."""
        with self._data.files.open_output_stream(path + _DRAFT) as file:
            file.write(data)
        self._data.files.move(path + _DRAFT, path)


class _Month:
    """The files that a batch writes for one month, one a table."""

    def __init__(self, writer: BatchWriter, place: SiteMonth, name: str) -> None:
        self.name = name
        self.rows: dict[str, int] = {}
        self._writer, self._place = writer, place
        self._sinks: dict[str, tuple[Any, parquet.ParquetWriter]] = {}
        self._waiting: dict[str, list[pyarrow.Table]] = {}

    def add(self, table: str, rows: "pyarrow.Table") -> None:
        if not rows.num_rows:
            return
        waiting = self._waiting.setdefault(table, [])
        waiting.append(rows)
        self.rows[table] = self.rows.get(table, 0) + rows.num_rows
        if sum(part.num_rows for part in waiting) >= _GROUP:
            self._write(table)

    def close(self) -> None:
        for table in list(self._waiting):
            self._write(table)
        for sink, written in self._sinks.values():
            written.close()
            sink.close()
        self._sinks = {}

    def _write(self, table: str) -> None:
        import pyarrow
        from pyarrow import parquet

        waiting = self._waiting.pop(table)
        if table not in self._sinks:
            sink = self._writer.sink(self._place, table, self.name)
            written = parquet.ParquetWriter(sink, schema_of(table), compression="zstd")
            self._sinks[table] = sink, written
        self._sinks[table][1].write_table(pyarrow.concat_tables(waiting), row_group_size=_GROUP)


@contextlib.contextmanager
def _locked(folder: Path, name: str) -> Iterator[None]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock: IO[bytes] = (folder / _LOCK).open("ab")
    except OSError as fault:
        raise CannotWriteError(f"{name} cannot be written: {_why(fault)}") from fault
    with lock:
        if not take_lock(lock.fileno()):
            raise InUseError(f"another run brings jobs into {name}; try again when it is done")
        yield


def _clear(data: DataSet) -> None:
    """Take away what runs that were cut off have left; only under the lock."""
    from pyarrow import fs

    known = {file.path for batch in data.batches for file in batch.files}
    for table in TABLES:
        selector = fs.FileSelector(table, recursive=True, allow_not_found=True)
        for info in data.files.get_file_info(selector):
            path = info.path.lstrip("/")
            ours = path.endswith((".parquet", f".parquet{_DRAFT}"))
            if info.type == fs.FileType.File and ours and path not in known:
                with contextlib.suppress(OSError):
                    data.files.delete_file(path)


def _why(fault: Exception) -> str:
    return plain(getattr(fault, "strerror", None) or str(fault), 200)

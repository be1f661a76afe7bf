"""Questions in SQL to a data set, through DuckDB, with no way out of the data.

The engine sees the tables and nothing else: no file, no network, no extension, no variable of this
program, and what it may do cannot be changed from inside a question.
"""

import contextlib
import re
import tempfile
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from captures.archive.dataset import DataSet
from captures.archive.tables import INSTALL, TABLES, need_arrow
from meterlink.errors import UnreadableError, UsageError
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    import pyarrow

_MEMORY: Final = "1GB"
"""What does not fit is put into a folder of its own, which is gone afterwards."""

_LOCKED: Final = (
    "SET autoinstall_known_extensions = false",
    "SET autoload_known_extensions = false",
    "SET enable_external_access = false",
    "SET lock_configuration = true",
)
_READINGS: Final = re.compile(r"readings|query", re.IGNORECASE)
"""A name of the table, or a function that could put one together."""

_ONLY: Final = frozenset({"SELECT", "EXPLAIN"})


class Asker:
    """A data set that can be asked. Make one with ``asking``."""

    def __init__(self, engine: Any, data: DataSet) -> None:
        self._engine = engine
        self.data = data

    def ask(self, sql: str) -> "pyarrow.Table":
        """Return the answer to one question in SQL.

        Raises:
            UsageError: it is no question, or more than one, or asks for what is not there.
            UnreadableError: the data cannot be read.
        """
        import duckdb

        try:
            statements = self._engine.extract_statements(sql)
            if len(statements) != 1 or statements[0].type.name not in _ONLY:
                raise UsageError("ask one question at a time, which begins with SELECT or WITH")
            return self._engine.sql(sql).to_arrow_table()
        except duckdb.Error as fault:
            raise UsageError(_said(fault)) from fault
        except OSError as fault:
            raise UnreadableError(
                f"{self.data.name} cannot be read: {plain(str(fault))}"
            ) from fault


def may_need_readings(sql: str) -> bool:
    """Whether a question may look at the readings, which take longest to bring in."""
    return _READINGS.search(sql) is not None


@contextlib.contextmanager
def asking(data: DataSet) -> Iterator[Asker]:
    """Yield what answers questions to ``data``.

    Raises:
        UsageError: DuckDB or pyarrow is missing.
        UnreadableError: the data cannot be read.
    """
    _need_duckdb()
    import duckdb

    with (
        tempfile.TemporaryDirectory(prefix="meterlink-asking-") as spill,
        duckdb.connect(":memory:", config={"memory_limit": _MEMORY}) as engine,
    ):
        engine.execute("SET temp_directory = $1", [spill])
        replaced = _replaced(data)
        engine.register("_replaced", replaced)
        for name in TABLES:
            engine.register(f"_{name}", data.table(name))
            engine.execute(f"CREATE VIEW {name} AS {_newest(name, replaced.num_rows)}")
        for command in _LOCKED:
            engine.execute(command)
        yield Asker(engine, data)


def _newest(name: str, replaced: int) -> str:
    """Return the rows of a table without those of jobs that were brought in again later."""
    everything = f"SELECT * FROM _{name}"  # noqa: S608  # a name from our own list
    if not replaced:
        return everything
    return f"{everything} ANTI JOIN _replaced USING (record_id, batch)"


def _replaced(data: DataSet) -> "pyarrow.Table":
    """Return each job and batch whose rows a later batch of the same job replaces."""
    import pyarrow

    rows = data.table("jobs").to_table(columns=["record_id", "batch"]).to_pylist()
    newest: dict[str, str] = {}
    for row in rows:
        job = row["record_id"]
        newest[job] = max(newest.get(job, ""), row["batch"])
    old = [row for row in rows if row["batch"] != newest[row["record_id"]]]
    text = pyarrow.string()
    return pyarrow.Table.from_pylist(
        old, schema=pyarrow.schema([("record_id", text), ("batch", text)])
    )


def _need_duckdb() -> None:
    need_arrow()
    try:
        import duckdb  # noqa: F401
    except ImportError as fault:
        raise UsageError(f"questions need DuckDB; {INSTALL} brings it") from fault


def _said(fault: Exception) -> str:
    """Return DuckDB's own words on one line, without the drawing of where in the question."""
    lines = [line.strip() for line in str(fault).splitlines() if line.strip()]
    kept = [line for line in lines if not line.startswith(("LINE ", "^"))]
    return plain(f"the question cannot be answered: {' '.join(kept)}", 400)

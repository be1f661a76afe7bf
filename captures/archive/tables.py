"""The tables of an archive: their columns, with type, unit and meaning.

Every other place takes the columns from here: the Parquet files, the questions, and the
description that lies beside the data (``package``). Units are codes of UCUM, the Unified Code for
Units of Measure, case sensitive.
"""

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import msgspec

from meterlink.errors import UsageError

if TYPE_CHECKING:
    import pyarrow

INSTALL: Final = "pip install 'meterlink[archive]'"

UCUM: Final = {
    "ohm": "Ohm",
    "volt": "V",
    "ampere": "A",
    "farad": "F",
    "hertz": "Hz",
    "celsius": "Cel",
    "metre": "m",
    "newton-metre": "N.m",
}
"""The UCUM code of each unit that a column ``unit`` may name."""


class Column(NamedTuple):
    """One column of a table."""

    name: str
    type: str
    """``string``, ``number``, ``integer``, ``boolean`` or ``datetime`` (UTC)."""
    about: str
    unit: str = ""
    """UCUM code; ``1`` for a plain number; empty where a number is in the row's ``unit``, or for
    what is no number."""


def need_arrow() -> None:
    """Make sure that pyarrow is there.

    Raises:
        UsageError: it is not installed.
    """
    try:
        import pyarrow  # noqa: F401
    except ImportError as fault:
        raise UsageError(f"an archive needs pyarrow; {INSTALL} brings it") from fault


_IN_EVERY_ROW: Final = (
    Column("job", "string", "Name of the job's folder."),
    Column("record_id", "string", "Which job, whatever its folder is called."),
    Column("batch", "string", "The run that brought this row in."),
    Column("at_utc", "datetime", "Wall time of what the row says, UTC."),
    Column("card", "string", "Id of the work card."),
    Column("profile", "string", "Id of the coil profile."),
    Column("engine", "string", "The job's title up to its first comma, in lower case."),
    Column("meter", "string", "What the meter says it is."),
    Column("temperature", "number", "Of the parts on the bench, as known then.", "Cel"),
    Column("window_low", "number", "Lowest value that passes, by the profile."),
    Column("window_high", "number", "Highest value that passes, by the profile."),
    Column("record", "string", "State of the job's record: whole, open, cut, altered, unreadable."),
    Column("signed", "boolean", "Its signature is good; empty where there is none to check."),
)

_MEASURED: Final = (
    Column("step", "string", "Id of the card's step."),
    Column("position", "string", "Position of the switch, where it is one."),
    Column("contact_t_s", "number", "When the touch began, from the start of the capture.", "s"),
    Column("t_s", "number", "When it was held or judged, from the start of the capture.", "s"),
    Column("value", "number", "As read, steadied; empty for an over range."),
    Column("unit", "string", "Unit of the values of the row."),
    Column("readings", "integer", "How many readings the value rests on.", "1"),
    Column("noise", "number", "Standard deviation of one reading."),
    Column("resolution", "number", "Step of the last digit."),
    Column("corrected", "number", "After lead zero, series resistance and temperature."),
    Column("u", "number", "Expanded uncertainty of the corrected value, 95 %."),
    Column("verdict", "string", "open, short, below, in-window or above."),
    Column("probability", "number", "Of that verdict.", "1"),
    Column("clear", "boolean", "The probability is at least 0.95."),
    Column("evidence", "string", "How it is known that the probes touched, for an open."),
    Column("who", "string", "Who worked then, as far as somebody said."),
    Column("stands", "boolean", "It is the verdict that counts; a later one may have replaced it."),
)

TABLES: Final[dict[str, tuple[Column, ...]]] = {
    "jobs": (
        *_IN_EVERY_ROW,
        Column("title", "string", "What a person calls the job."),
        Column("who", "string", "Who worked last, as far as somebody said."),
        Column("ended_utc", "datetime", "Wall time of the last event, UTC."),
        Column("complaint", "string", "Of the last card that has one."),
        Column("done", "boolean", "Every step of the last card has an outcome."),
        Column("signed_off", "boolean", "Signed off after the stop check."),
        Column("captures", "integer", "How many captures it has.", "1"),
        Column("readings", "integer", "How many readings they hold.", "1"),
        Column("damaged_lines", "integer", "Lines that hold no record.", "1"),
        Column("simulated", "boolean", "Measured on a simulated bench."),
        Column("program", "string", "What wrote the log."),
        Column("seal", "string", "SHA-256 in the log's last good seal."),
        Column("content", "string", "What the job held when it was brought in, as one hash."),
        Column("why", "string", "What is wrong with the record, in a sentence."),
    ),
    "readings": (
        *_IN_EVERY_ROW,
        Column("capture", "string", "Name of the capture's file."),
        Column("step", "string", "Id of the step that the reading went to."),
        Column("t_s", "number", "From the start of the capture.", "s"),
        Column("value", "number", "As read; infinite for an over range."),
        Column("unit", "string", "Unit of the value."),
        Column("overload", "boolean", "The meter says that the value is over its range."),
        Column("resolution", "number", "Step of the last digit."),
        Column("quantity", "string", "What the meter was set to."),
    ),
    "holds": (
        *_IN_EVERY_ROW,
        Column("capture", "string", "Name of the capture's file."),
        *_MEASURED,
        Column("lift_t_s", "number", "When the probes came off.", "s"),
    ),
    "verdicts": (
        *_IN_EVERY_ROW,
        Column("capture", "string", "Name of the capture's file."),
        *_MEASURED,
        Column("winding", "string", "Name of the part in the profile."),
    ),
    "outcomes": (
        *_IN_EVERY_ROW,
        Column("step", "string", "Id of the card's step."),
        Column("feeds", "string", "Id of the check that it feeds in the finding."),
        Column("outcome", "string", "What the step came to."),
        Column("reason", "string", "Why, where it was skipped."),
        Column("how", "string", "What ended it: probes, key, pedal, typed, chosen, profile."),
        Column("who", "string", "Who worked then, as far as somebody said."),
        Column("took_s", "number", "Wall time from the beginning of the step to its end.", "s"),
        Column("time", "integer", "1 the first time that the job did the step, 2 the next.", "1"),
        Column("again_because", "string", "Why it was done again, in the second time and later."),
        Column("stands", "boolean", "It was not done again afterwards."),
    ),
    "findings": (
        *_IN_EVERY_ROW,
        Column("complaint", "string", "What the finding is about."),
        Column("place", "string", "Where the fault most probably is."),
        Column("fault", "string", "The most probable fault."),
        Column("probability", "number", "That the fault is in that place.", "1"),
        Column("sure", "boolean", "At least 0.95, and the outcomes do not contradict."),
        Column("contradictory", "boolean", "No single fault explains the outcomes."),
        Column("clean", "boolean", "Nothing that was recorded speaks of a fault."),
        Column("mend", "string", "What mends the most probable fault."),
        Column("says", "string", "The finding in sentences."),
    ),
    "repairs": (
        *_IN_EVERY_ROW,
        Column("step", "string", "Id of the card's step."),
        Column("part", "string", "Name of the gap or fastener in the profile."),
        Column("value", "number", "As set."),
        Column("unit", "string", "metre for a gap, newton-metre for a torque."),
        Column("within", "boolean", "It lies within limits."),
        Column("who", "string", "Who worked then, as far as somebody said."),
        Column("stands", "boolean", "It was not set again afterwards."),
    ),
    "meter_checks": (
        *_IN_EVERY_ROW,
        Column("step", "string", "Id of the card's step."),
        Column("marking", "string", "Of the known resistor, in lower case."),
        Column("ohms", "number", "What the marking says.", "Ohm"),
        Column("tolerance", "number", "Of the resistor, either way.", "%"),
        Column("value", "number", "As read, steadied.", "Ohm"),
        Column("corrected", "number", "After the leads.", "Ohm"),
        Column("error", "number", "Corrected value less the marked one.", "Ohm"),
        Column("relative_error", "number", "Error over the marked value.", "1"),
        Column("u", "number", "Expanded uncertainty of the error, 95 %.", "Ohm"),
        Column("passed", "boolean", "The error is no larger than its uncertainty."),
        Column("who", "string", "Who worked then, as far as somebody said."),
        Column("stands", "boolean", "It was not done again afterwards."),
    ),
}
"""Every table with its columns. A later version may only add to them."""

PARTITION: Final = (
    Column("site", "string", "Where the bench stands, as whoever archived it said."),
    Column("year", "integer", "Of the beginning of the job, by the clock of the place.", "1"),
    Column("month", "integer", "Of the beginning of the job, 1 to 12.", "1"),
)
"""What the names of folders say, and so every row in them."""


def schema_of(table: str, *, partition: bool = False) -> "pyarrow.Schema":
    """Return the columns of a table as Parquet has them, those in folder names on request."""
    import pyarrow

    types = {
        "string": pyarrow.string(),
        "number": pyarrow.float64(),
        "integer": pyarrow.int64(),
        "boolean": pyarrow.bool_(),
        "datetime": pyarrow.timestamp("us"),
    }
    columns = (*TABLES[table], *(PARTITION if partition else ()))
    return pyarrow.schema([pyarrow.field(c.name, types[c.type]) for c in columns])


PACKAGE: Final = "datapackage.json"

_ABOUT: Final = {
    "jobs": "One row a job and each time that its record was brought in.",
    "readings": "Every value from the meter, before anything was done with it.",
    "holds": "Every value that was held, with the verdict on it.",
    "verdicts": "Every verdict, those on an open without a value too.",
    "outcomes": "Every step that came to an end.",
    "findings": "What the outcomes of a job together say.",
    "repairs": "Gaps and torques as set in putting the engine together.",
    "meter_checks": "Meters held against known resistors.",
}


def package_of(paths: dict[str, list[str]], created: str) -> bytes:
    """Return the description of a data set with these files, by table.

    Tables without a file are left out, as the standard wants at least one path.
    """
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "meterlink-archive",
        "title": "Jobs at the bench: readings, verdicts, outcomes and findings",
        "description": (
            "Written by meterlink. Rows are only ever added. Where a job was brought in more than "
            "once, the rows of its newest batch count. The units of values are named in the column "
            "“unit”; unitCodes gives the UCUM code of each."
        ),
        "created": created,
        "unitCodes": UCUM,
        "resources": [_resource(name, files) for name, files in paths.items() if files],
    }
    return msgspec.json.format(msgspec.json.encode(package), indent=1)


def _resource(name: str, files: list[str]) -> dict[str, Any]:
    return {
        "name": name.replace("_", "-"),
        "description": _ABOUT[name],
        "path": files,
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "schema": {"fields": [_field(column) for column in (*TABLES[name], *PARTITION)]},
    }


def _field(column: Column) -> dict[str, str]:
    field = {"name": column.name, "type": column.type, "description": column.about}
    return field | {"unit": column.unit} if column.unit else field

"""What lies beside the data: ``datapackage.json``, a Frictionless data package.

It names every file of each table and every column with type, meaning and UCUM unit, so that
somebody who has never heard of this program can use the data (Data Package standard, version 2,
datapackage.org).
"""

from typing import Any, Final

import msgspec

from captures.archive.tables import PARTITION, TABLES, UCUM, Column

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
            "«unit»; unitCodes gives the UCUM code of each."
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

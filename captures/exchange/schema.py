"""The JSON Schema of a record's lines, made from the very Structs that write and read them.

Run ``python -m captures.exchange.schema`` to write it beside FORMAT.md; a test compares the two.
"""

import inspect
import json
from pathlib import Path
from typing import Any, Final

import msgspec

from captures.exchange.packs import Manifest
from captures.record.records import VERSION, known_kinds, record_types

FILE: Final = Path(__file__).parents[1] / "record.schema.json"

_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
_WORDS: Final = ["inf", "-inf", "nan"]
"""What may stand in place of a number (see FORMAT.md, “Numbers”)."""


def schema() -> dict[str, Any]:
    """Return the schema of one line of a capture or job log; ``$defs`` has the manifest's too."""
    kinds = record_types()
    of_lines, definitions = msgspec.json.schema_components(
        [*kinds, Manifest], ref_template="#/$defs/{name}"
    )
    newer = {
        "title": "A kind that this version does not know, to be passed over",
        "type": "object",
        "required": ["kind"],
        "properties": {"kind": {"type": "string", "not": {"enum": sorted(known_kinds())}}},
    }
    for name, definition in definitions.items():
        # Some versions of Python and msgspec take the indent of a docstring away, others do not.
        definition["description"] = inspect.cleandoc(definition.get("description", ""))
        for key, value in definition.get("properties", {}).items():
            if not (name == "_Reading" and key == "value"):
                definition["properties"][key] = _with_words(value)
    return {
        "$schema": _DIALECT,
        "title": f"One line of a capture or job log, record format {VERSION}",
        "anyOf": [*of_lines[: len(kinds)], newer],
        "$defs": definitions,
    }


def _with_words(given: Any) -> Any:
    """Return a schema in which every number may be one of the words for what JSON cannot write."""
    if isinstance(given, list):
        return [_with_words(item) for item in given]
    if not isinstance(given, dict):
        return given
    if given.get("type") == "number":
        return {"anyOf": [{k: v for k, v in given.items() if k != "default"}, {"enum": _WORDS}]}
    return {key: _with_words(value) for key, value in given.items()}


def main() -> None:
    """Write the schema to its file."""
    text = json.dumps(schema(), indent=1, ensure_ascii=True)
    FILE.write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()

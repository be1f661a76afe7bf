"""Reading a fault table: TOML in, a ``FaultTable`` that was found right out."""

from functools import cache
from importlib import resources
from typing import Any, Final

from meterlink.declared import InvalidFileError, decode, from_plain
from meterlink.finding.mistakes import mistakes_in
from meterlink.finding.shape import Check, Fault, FaultTable, Preparation, Row
from meterlink.quantities.text import plain

SHIPPED: Final = "faults.toml"


@cache
def shipped_table() -> FaultTable:
    """Return the fault table that comes with the program."""
    data = resources.files("meterlink.finding").joinpath(SHIPPED).read_bytes()
    return read_table(data, SHIPPED)


def read_table(data: bytes, name: str) -> FaultTable:
    """Return the fault table in ``data``, a TOML text; ``name`` stands for it in errors.

    Raises:
        InvalidFileError: one sentence that names the fault or check, the key and the mend; of
            several mistakes the first, with how many more there are.
    """
    table = _shaped(data, name)
    first, *more = [*mistakes_in(table), ""]
    if first:
        others = f" (and {len(more) - 1} more)" if len(more) > 1 else ""
        raise InvalidFileError(f"{plain(name)}: {first}{others}")
    return table


def table_mistakes(data: bytes, name: str) -> list[str]:
    """Return everything that is wrong with the fault table in ``data``; nothing if it is right."""
    try:
        table = _shaped(data, name)
    except InvalidFileError as fault:
        return [str(fault)]
    return [f"{plain(name)}: {said}" for said in mistakes_in(table)]


def _shaped(data: bytes, name: str) -> FaultTable:
    """Decode section by section, so that an error can name the section: a path cannot."""
    raw = decode(data, dict[str, Any], name)
    name = plain(name)
    checks = {
        key: _check(given, f"{name}: check «{plain(key)}»")
        for key, given in _section(raw, "checks", name).items()
    }
    faults = {
        key: _fault(given, f"{name}: fault «{plain(key)}»")
        for key, given in _section(raw, "faults", name).items()
    }
    setups = {
        key: from_plain(given, Preparation, f"{name}: setup «{plain(key)}»")
        for key, given in _section(raw, "setups", name).items()
    }
    return from_plain(
        {**raw, "checks": checks, "faults": faults, "setups": setups}, FaultTable, name
    )


def _section(raw: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    return from_plain(raw.get(key, {}), dict[str, Any], f"{where}: {key}")


def _check(given: Any, where: str) -> Check:
    raw = from_plain(given, dict[str, Any], where)
    if "sound" in raw:
        raw = {**raw, "sound": _row(raw["sound"], f"{where}: sound")}
    return from_plain(raw, Check, where)


def _fault(given: Any, where: str) -> Fault:
    raw = from_plain(given, dict[str, Any], where)
    gives = _rows(_section(raw, "gives", where), f"{where}: gives")
    when = {
        complaint: _rows(
            from_plain(rows, dict[str, Any], f"{where}: when «{plain(complaint)}»"),
            f"{where}: when «{plain(complaint)}»",
        )
        for complaint, rows in _section(raw, "when", where).items()
    }
    return from_plain({**raw, "gives": gives, "when": when}, Fault, where)


def _rows(given: dict[str, Any], where: str) -> dict[str, Row]:
    return {check: _row(row, f"{where}, check «{plain(check)}»") for check, row in given.items()}


def _row(given: Any, where: str) -> Row:
    row = from_plain(given, Row, where)
    for context in (row.row, *row.given.values()):
        for outcome, share in context.items():
            from_plain(share, float, f"{where}, outcome «{plain(outcome)}»")
    return row

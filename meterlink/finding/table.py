"""Reading a fault table: TOML in, a ``FaultTable`` that was found right out."""

from collections.abc import Iterator
from functools import cache
from importlib import resources
from math import fsum, isclose
from typing import Annotated, Any, Final

import msgspec

from meterlink.declared import decode, from_plain
from meterlink.errors import InvalidFileError
from meterlink.finding.shape import (
    ALWAYS,
    Check,
    Distribution,
    Fault,
    FaultTable,
    Preparation,
    Row,
    of_part,
    unknown,
)
from meterlink.quantities.text import plain

SHIPPED: Final = "faults.toml"
LEAST: Final = 0.001
"""No outcome is less likely than this: a slip of the hand must never rule a fault out."""


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
    first, *more = [*_mistakes_in(table), ""]
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
    return [f"{plain(name)}: {said}" for said in _mistakes_in(table)]


Jobs = Annotated[int, msgspec.Meta(ge=0, le=1_000_000)]


def read_counts(data: bytes, name: str, table: FaultTable) -> dict[str, dict[str, int]]:
    """Return jobs of a workshop that ended with a confirmed repair: complaint, fault, how many.

    ``data`` is a TOML text with a section for each complaint, and in it a number for each fault. A
    fault of several parts, such as a switch, is counted by the part: ``key-switch-stuck-closed``.

    Raises:
        InvalidFileError: one sentence that names the complaint or fault, and the mend.
    """
    counts = decode(data, dict[str, dict[str, Jobs]], name)
    for complaint, jobs in counts.items():
        if complaint not in table.complaints:
            raise InvalidFileError(
                f"{plain(name)}: {unknown(complaint, 'complaint', table.complaints)}"
            )
        known = [part for fault in table.faults for part in _names_of(table, fault, complaint)]
        for fault in jobs:
            if fault not in known:
                where = f"{plain(name)}: complaint “{complaint}”"
                raise InvalidFileError(f"{where}: {unknown(fault, 'fault', known)}")
    return counts


def _names_of(table: FaultTable, fault: str, complaint: str) -> list[str]:
    """Return the names that ``fault`` goes by, one for each part; none without the complaint."""
    declared = table.faults[fault]
    if complaint not in declared.prior:
        return []
    if not declared.each:
        return [fault]
    return [of_part(fault, declared.each, part) for part in table.checks[declared.each].each]


def _shaped(data: bytes, name: str) -> FaultTable:
    """Decode section by section, so that an error can name the section: a path cannot."""
    raw = decode(data, dict[str, Any], name)
    name = plain(name)
    checks = {
        key: _check_read(given, f"{name}: check “{plain(key)}”")
        for key, given in _section(raw, "checks", name).items()
    }
    faults = {
        key: _fault_read(given, f"{name}: fault “{plain(key)}”")
        for key, given in _section(raw, "faults", name).items()
    }
    setups = {
        key: from_plain(given, Preparation, f"{name}: setup “{plain(key)}”")
        for key, given in _section(raw, "setups", name).items()
    }
    return from_plain(
        {**raw, "checks": checks, "faults": faults, "setups": setups}, FaultTable, name
    )


def _section(raw: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    return from_plain(raw.get(key, {}), dict[str, Any], f"{where}: {key}")


def _check_read(given: Any, where: str) -> Check:
    raw = from_plain(given, dict[str, Any], where)
    for key in ("sound", "faulty"):
        if key in raw:
            raw = {**raw, key: _row_read(raw[key], f"{where}: {key}")}
    return from_plain(raw, Check, where)


def _fault_read(given: Any, where: str) -> Fault:
    raw = from_plain(given, dict[str, Any], where)
    gives = _rows_read(_section(raw, "gives", where), f"{where}: gives")
    when = {
        complaint: _rows_read(
            from_plain(rows, dict[str, Any], f"{where}: when “{plain(complaint)}”"),
            f"{where}: when “{plain(complaint)}”",
        )
        for complaint, rows in _section(raw, "when", where).items()
    }
    return from_plain({**raw, "gives": gives, "when": when}, Fault, where)


def _rows_read(given: dict[str, Any], where: str) -> dict[str, Row]:
    return {
        check: _row_read(row, f"{where}, check “{plain(check)}”") for check, row in given.items()
    }


def _row_read(given: Any, where: str) -> Row:
    row = from_plain(given, Row, where)
    for context in (row.row, *row.given.values()):
        for outcome, share in context.items():
            from_plain(share, float, f"{where}, outcome “{plain(outcome)}”")
    return row


# --- what is wrong with a table though its shape is right ---------------------------------------


def _mistakes_in(table: FaultTable) -> Iterator[str]:
    """Yield what is wrong with ``table``, naming the check or fault; nothing when it is right."""
    seen: list[str] = []
    for name, check in table.checks.items():
        yield from (f"check “{name}”: {said}" for said in _check(table, name, check, seen))
        seen.append(name)
    for name, fault in table.faults.items():
        yield from (f"fault “{name}”: {said}" for said in _fault(table, name, fault))
    for complaint in table.complaints:
        if sum(complaint in fault.prior for fault in table.faults.values()) < 2:
            yield f"complaint “{complaint}”: at least two faults need a prior for it"


def _check(table: FaultTable, name: str, check: Check, earlier: list[str]) -> Iterator[str]:
    yield from _outcomes(check)
    yield from _names(table, check)
    if check.each_of:
        yield from (f"each_of: {said}" for said in _each_of(table, name, check))
    if check.after:
        if check.after not in earlier:
            yield f"after: {unknown(check.after, 'earlier check', earlier)}"
            return
        first = table.checks[check.after]
        if check.each or first.each or first.each_of:
            yield "after: a check that is done for each of several parts cannot take part in this"
            return
    for key, row in (("sound", check.sound), ("faulty", check.faulty)):
        if row is not None:
            yield from (f"{key}: {said}" for said in _row(table, name, row))
            for context in table.contexts(name):
                if context not in row.contexts:
                    yield f"{key}: nothing is given for “{context or 'row'}”"


def _names(table: FaultTable, check: Check) -> Iterator[str]:
    for complaint in check.ask_for:
        if complaint not in table.complaints:
            yield f"ask_for: {unknown(complaint, 'complaint', table.complaints)}"
    for setup in check.needs:
        if setup not in table.setups:
            yield f"needs: {unknown(setup, 'setup', table.setups)}"
    for name, good in check.made_of.items():
        if name not in table.checks:
            yield f"made_of: {unknown(name, 'check', table.checks)}"
        elif good not in table.checks[name].outcomes:
            yield f"made_of: {unknown(good, f'outcome of “{name}”', table.checks[name].outcomes)}"
    if check.made_of and len(check.outcomes) != 2:
        yield "made_of: such a check has two outcomes, the good one first"
    for part in check.each:
        if part in table.checks:
            yield f"each: “{part}” is the name of a check already"


def _each_of(table: FaultTable, name: str, check: Check) -> Iterator[str]:
    kinds = _kinds(table)
    if check.each_of not in kinds:
        yield unknown(check.each_of, "check done for each part", kinds)
    elif check.each:
        yield "this check has parts of its own already, under “each”"
    elif check.each_of not in name.split("-"):
        yield f"the name of this check must hold “{check.each_of}”, where the part's goes"
    else:
        for own in table.done_for(name):
            if own in table.checks:
                yield f"“{own}” is the name of a check already"


def _kinds(table: FaultTable) -> list[str]:
    """Return the checks that have parts of their own."""
    return [check for check, declared in table.checks.items() if declared.each]


def _outcomes(check: Check) -> Iterator[str]:
    if len(set(check.outcomes)) < len(check.outcomes):
        yield "outcomes: one is there twice"
    for word, outcome in check.reads_as.items():
        if word in check.outcomes:
            yield f"reads_as: “{plain(word)}” is an outcome already"
        elif outcome not in check.outcomes:
            yield f"reads_as: {unknown(outcome, 'outcome', check.outcomes)}"
    if check.worse and sorted(check.worse) != sorted(check.outcomes):
        yield "worse: name each outcome once"
    for outcome in check.says:
        if outcome not in check.outcomes:
            yield f"says: {unknown(outcome, 'outcome', check.outcomes)}"


def _fault(table: FaultTable, name: str, fault: Fault) -> Iterator[str]:
    for complaint in (*fault.prior, *fault.when):
        if complaint not in table.complaints:
            yield unknown(complaint, "complaint", table.complaints)
    if not fault.prior:
        yield "prior: give one for at least one complaint"
    for complaint in fault.when:
        if complaint in table.complaints and complaint not in fault.prior:
            yield f"when: there is no prior for “{complaint}”, so this would never be used"
    yield from _parts(table, name, fault)
    blocks = [("gives", fault.gives), *((f"when “{c}”", rows) for c, rows in fault.when.items())]
    for block, rows in blocks:
        for check, row in rows.items():
            if check in table.checks:
                said = _row(table, check, row)
            else:
                said = iter([unknown(check, "check", table.checks)])
            yield from (f"{block}, check “{plain(check)}”: {line}" for line in said)


def _parts(table: FaultTable, name: str, fault: Fault) -> Iterator[str]:
    if not fault.each:
        if fault.shares:
            yield "shares: only a fault with “each” has parts to share out among"
        return
    kind = table.checks.get(fault.each)
    if kind is None or not kind.each:
        yield f"each: {unknown(fault.each, 'check done for each part', _kinds(table))}"
        return
    if fault.each not in name.split("-"):
        yield f"each: the name of this fault must hold “{fault.each}”, where the part's goes"
    if set(fault.shares) != set(kind.each):
        yield f"shares: name each of {', '.join(kind.each)}, and no other"


def _row(table: FaultTable, check: str, row: Row) -> Iterator[str]:
    after = table.checks[check].after
    if after and after not in table.checks:
        return
    if row.row and after:
        yield f"row: this check comes after “{after}”, so its rows stand under “given”"
    if row.given and not after:
        yield "given: this check comes after no other, so it has one “row”"
    if not row.row and not row.given:
        yield "expected a “row”" if not after else "expected rows under “given”"
    expected = table.contexts(check)
    for context, shares in row.contexts.items():
        key = f"given.{plain(context)}" if context != ALWAYS else "row"
        if context not in expected and context != ALWAYS:
            yield f"given: {unknown(context, f'outcome of “{after}”', expected)}"
        yield from (f"{key}: {said}" for said in _shares(table.checks[check].outcomes, shares))


def _shares(outcomes: tuple[str, ...], shares: Distribution) -> Iterator[str]:
    for outcome in shares:
        if outcome not in outcomes:
            yield unknown(outcome, "outcome", outcomes)
    missing = [outcome for outcome in outcomes if outcome not in shares]
    if missing:
        yield f"nothing is given for “{missing[0]}”"
    for outcome, share in shares.items():
        if not LEAST <= share <= 1:
            yield f"“{plain(outcome)}” is {share:g}; give {LEAST:g} at least and 1 at most"
    total = fsum(shares.values())
    if not missing and not isclose(total, 1.0, abs_tol=1e-6):
        yield f"the probabilities sum to {total:.6g}; they must sum to 1"

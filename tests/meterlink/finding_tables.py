"""Fault tables for the tests of the finding: small ones by hand, and random ones."""

import json
from typing import Any

from hypothesis import strategies as st

from meterlink.finding.shape import FaultTable
from meterlink.finding.table import read_table

SOURCE = "made up for a test"


def inline(value: Any) -> str:
    """Return ``value`` as TOML writes it inside a line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(inline, value)) + "]"
    return repr(value) if isinstance(value, float) else json.dumps(value)


def toml(raw: dict[str, Any]) -> bytes:
    """Return ``raw`` as a TOML text."""
    return "".join(f"{key} = {inline(value)}\n" for key, value in raw.items()).encode()


def check(outcomes: list[str], sound: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return a check; ``sound`` is its row, or its rows where it comes after another."""
    key = "given" if "after" in more else "row"
    row = {key: sound, "source": SOURCE}
    return {"say": "a check", "ask": "Do it.", "outcomes": outcomes, "minutes": 2, **more} | {
        "sound": row
    }


def fault(prior: float, gives: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    """Return a fault; ``gives`` has rows by check."""
    said = {name: {**row, "source": SOURCE} for name, row in (gives or {}).items()}
    return {
        "say": "a fault",
        "place": "a place",
        "mend": "Mend it.",
        "prior": {"dead": prior},
        "source": SOURCE,
        "gives": said,
        **more,
    }


def table(checks: dict[str, Any], faults: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return a whole table, not yet text."""
    return {
        "format": 1,
        "title": "A test",
        "complaints": {"dead": "is dead"},
        "checks": checks,
        "faults": faults,
        **more,
    }


def made(raw: dict[str, Any]) -> FaultTable:
    """Return ``raw`` read as a table."""
    return read_table(toml(raw), "test.toml")


TWO_COINS = table(
    {"toss": check(["heads", "tails"], {"heads": 0.5, "tails": 0.5})},
    {
        "fair": fault(3.0, place="fair place"),
        "bent": fault(1.0, {"toss": {"row": {"heads": 0.9, "tails": 0.1}}}, place="bent place"),
    },
)
"""A fair coin and a bent one: everything about it is worked by hand in the tests."""


@st.composite
def distributions(draw: st.DrawFn, outcomes: list[str]) -> dict[str, float]:
    """A row: one probability for each of ``outcomes``, none below 0.001, sum one."""
    parts = draw(st.lists(st.integers(1, 400), min_size=len(outcomes), max_size=len(outcomes)))
    return {o: part / sum(parts) for o, part in zip(outcomes, parts, strict=True)}


@st.composite
def tables(
    draw: st.DrawFn,
    second: float = 0.0,
    slip: tuple[tuple[float, float], ...] = (),
    most: int = 5,
) -> FaultTable:
    """Two to ``most`` faults against one to ``most`` checks, some of which come after another.

    With a share of engines that have a ``second`` fault, and slip rates with their shares.
    """
    checks: dict[str, Any] = {}
    for i in range(draw(st.integers(1, most))):
        outcomes = ["a", "b", "c"][: draw(st.integers(2, 3))]
        after = draw(st.sampled_from(["", *checks]))
        checks[f"check-{i}"] = check(
            outcomes,
            draw(_rows(checks, after, outcomes)),
            **({"after": after} if after else {}),
        )
    faults = {}
    for i in range(draw(st.integers(2, most))):
        gives = {}
        for name in draw(st.sets(st.sampled_from(sorted(checks)))):
            after = checks[name].get("after", "")
            rows = draw(_rows(checks, after, checks[name]["outcomes"]))
            gives[name] = {"given" if after else "row": rows}
        place = f"place {draw(st.integers(0, 2))}"
        faults[f"fault-{i}"] = fault(draw(st.integers(1, 50)) / 1.0, gives, place=place)
    more: dict[str, Any] = {}
    if second:
        more["second"] = {"share": second, "source": SOURCE}
    if slip:
        more["slip"] = [{"rate": rate, "share": share} for rate, share in slip]
    return made(table(checks, faults, **more))


def _rows(checks: dict[str, Any], after: str, outcomes: list[str]) -> st.SearchStrategy[Any]:
    if not after:
        return distributions(outcomes)
    return st.fixed_dictionaries({o: distributions(outcomes) for o in checks[after]["outcomes"]})


@st.composite
def outcomes_of(draw: st.DrawFn, table: FaultTable, *, soft: bool = True) -> dict[str, Any]:
    """Outcomes of some of the table's checks, a close verdict among them where ``soft``."""
    said: dict[str, Any] = {}
    for name in draw(st.permutations(sorted(table.checks))):
        choices: list[st.SearchStrategy[Any]] = [
            st.none(),
            st.sampled_from(table.checks[name].outcomes),
        ]
        if soft:
            choices.append(distributions(list(table.checks[name].outcomes)))
        outcome = draw(st.one_of(choices))
        if outcome is not None:
            said[name] = outcome
    return said

"""A coil profile, asked for entry by entry; what is typed goes into the file as it was typed."""

import re
from collections.abc import Callable
from typing import Any, Final, get_args, get_type_hints

import tomli_w

from meterlink.card import FORMAT
from meterlink.errors import UsageError
from meterlink.judging.correction import require_sensible
from meterlink.profile import KINDS, Switch, Winding
from meterlink.quantities.notation import parse_as, parse_quantity, what_to_type
from tui.plain.prompts import Prompter, one_of, text

Table = dict[str, Any]
"""One part as it will stand in the file."""

_ID: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,60}")

INTRODUCTION: Final = (
    "A coil profile, question by question. Every value needs its unit and its source: the page of "
    "the service manual, common practice, or parts known to be good that were measured. An empty "
    "answer takes what stands in brackets."
)
SOURCE: Final = "Source of these values"


def ask_profile(asker: Prompter) -> Table:
    """Return the whole profile as it will stand in the file.

    Raises:
        EndedError: the answers ended early.
    """
    asker.say(INTRODUCTION)
    name = asker.ask("Name of the armature or family", text(1, 80, "give it a name"))
    profile: Table = {
        "format": FORMAT,
        "id": asker.ask("Short name, as --profile takes it", read_id, slug(name)),
        "name": name,
    }
    if about := asker.ask("What it is for, in a sentence (may be left empty)", text(0, 400, "")):
        profile["about"] = about
    while True:
        for kind, what, ask in _PARTS:
            parts = _ask_parts(asker, kind, what, ask)
            if parts:
                profile[kind] = parts
        if "winding" in profile or "switch" in profile:
            return profile
        asker.say("  A profile needs at least one winding or switch; once more from the windings.")


def _ask_parts(
    asker: Prompter, kind: str, what: str, ask: Callable[[Prompter], Table]
) -> list[Table]:
    parts: list[Table] = []
    while asker.yes(f"{'Another' if parts else 'A'} {what}?", default=False):
        names = {part["name"] for part in parts}

        def unused(answer: str, taken: frozenset[str] = frozenset(names)) -> str:
            if answer in taken:
                raise UsageError(f"there is a {kind} “{answer}” already; give another name")
            return text(1, 80, "give it a name")(answer)

        name = asker.ask("  Its name, as the cards call it", unused, _USUAL.get(kind, ""))
        values = ask(asker)
        source = asker.ask(f"  {SOURCE}", text(3, 400, "say where they are from"))
        parts.append({"name": name, **values, "source": source})
    return parts


_USUAL: Final = {"insulation": "insulation"}


def _ask_winding(asker: Prompter) -> Table:
    winding: Table = {"between": _ask_points(asker)}
    if not asker.yes("  Can resistance judge it? (electronics in line: no)", default=True):
        winding["judged_by_resistance"] = False
        winding["why_not"] = asker.ask(
            "  Why not", text(3, 400, "say why resistance tells nothing")
        )
        return winding
    low, high = _ask_window(asker, "ohm", winding)
    winding["at"] = asker.ask("  Temperature that this holds for", _temperature, "20 °C")
    _maybe(
        asker,
        winding,
        "open_above",
        "  Above what value does it count as open (empty: ten times the highest, 10 kohm at least)",
        _between("ohm", low=high, why="that is in or below limits"),
    )
    _maybe(
        asker,
        winding,
        "short_below",
        "  Below what value does it count as short (empty: a tenth of the lowest)",
        _between("ohm", high=low, why="that is in or above limits"),
    )
    _maybe(
        asker,
        winding,
        "series",
        "  Resistance in line that is no winding, such as a suppressor cap (empty: none)",
        _between("ohm"),
    )
    if "series" in winding:
        winding["series_tolerance"] = asker.ask("  Its tolerance in percent", _percent, "5")
    methods = get_args(get_type_hints(Winding)["temperature"])
    winding["temperature"] = asker.ask(
        "  How is its temperature had: ambient, thermocouple, or unknown",
        one_of(methods),
        "ambient",
    )
    if asker.yes("  Measure it with four wires where the meter can?", default=False):
        winding["four_wire"] = True
    return winding


def _ask_switch(asker: Prompter) -> Table:
    kinds = get_args(get_type_hints(Switch)["kind"])
    switch: Table = {
        "kind": asker.ask(f"  Kind: {', '.join(kinds)}", one_of(kinds), "stop"),
        "between": _ask_points(asker),
        "positions": asker.ask("  Positions and their states", _positions, "stop=closed, run=open"),
    }
    switch["closed_at_most"] = asker.ask("  Closed is at most", _between("ohm"), "2 ohm")
    most = parse_quantity(switch["closed_at_most"]).value
    switch["open_at_least"] = asker.ask(
        "  Open is at least",
        _between("ohm", low=most, above=True, why="that would count as closed too"),
        "1 Mohm",
    )
    return switch


def _ask_insulation(asker: Prompter) -> Table:
    return {
        "between": _ask_points(asker),
        "at_least": asker.ask("  At least", _between("ohm"), "10 Mohm"),
    }


def _ask_lead(asker: Prompter) -> Table:
    lead: Table = {"between": _ask_points(asker)}
    _ask_window(asker, "ohm", lead)
    return lead


def _ask_gap(asker: Prompter) -> Table:
    gap: Table = {}
    _ask_window(asker, "metre", gap)
    return gap


def _ask_torque(asker: Prompter) -> Table:
    torque: Table = {}
    _ask_window(asker, "newton-metre", torque)
    return torque


_PARTS: Final[tuple[tuple[str, str, Callable[[Prompter], Table]], ...]] = (
    ("winding", "winding", _ask_winding),
    ("switch", "stop switch", _ask_switch),
    ("insulation", "path that must not conduct", _ask_insulation),
    ("lead", "plug lead, cap or earth path measured by itself", _ask_lead),
    ("gap", "gap set by gauge", _ask_gap),
    ("torque", "fastener with a torque", _ask_torque),
)
"""Table of the file, what it is called in a question, and what asks for it."""


def _ask_points(asker: Prompter) -> list[str]:
    point = text(1, 80, "name the place that a probe touches")
    return [asker.ask("  One probe on", point), asker.ask("  The other probe on", point)]


def _ask_window(asker: Prompter, unit: str, part: Table) -> tuple[float, float]:
    part["low"] = asker.ask("  Lowest good value", _between(unit))
    low = parse_quantity(part["low"]).value
    part["high"] = asker.ask(
        "  Highest good value", _between(unit, low=low, why="that is below the lowest")
    )
    return low, parse_quantity(part["high"]).value


def _maybe(
    asker: Prompter, part: Table, key: str, question: str, read: Callable[[str], str]
) -> None:
    answer = asker.ask(question, lambda said: read(said) if said else "")
    if answer:
        part[key] = answer


def _between(
    unit: str,
    low: float = 0.0,
    high: float = float("inf"),
    *,
    above: bool = False,
    why: str = "expected zero or more",
) -> Callable[[str], str]:
    """Return a reader of a quantity in ``unit`` from ``low`` to ``high``, as it was typed."""

    def read(answer: str) -> str:
        value = parse_as(answer, unit, bare=False)
        if value.overload:
            raise UsageError(f"“{answer}” is no limit; {what_to_type(unit)}")
        if not low <= value.value <= high or (above and value.value == low):
            raise UsageError(f"“{answer}”: {why}")
        return answer

    return read


def _temperature(answer: str) -> str:
    value = parse_as(answer, "celsius", bare=False)
    require_sensible(value.value)
    return answer


def _percent(answer: str) -> float:
    try:
        number = float(answer.removesuffix("%"))
    except ValueError:
        number = -1.0
    if not 0 <= number <= 100:
        raise UsageError(f"“{answer}” is no percentage; type such as “5”")
    return number


def _positions(answer: str) -> dict[str, str]:
    positions: dict[str, str] = {}
    for pair in answer.split(","):
        name, equals, state = (part.strip() for part in pair.partition("="))
        if not (name and equals) or state not in {"closed", "open"} or len(name) > 80:
            raise UsageError(
                f"“{pair.strip()}” is no position; type such as “stop=closed, run=open”"
            )
        positions[name] = state
    if set(positions.values()) != {"closed", "open"}:
        raise UsageError("a switch needs a closed and an open position")
    return positions


def read_id(answer: str) -> str:
    """Return ``answer`` if it can name a profile on the command line."""
    if not _ID.fullmatch(answer):
        raise UsageError(
            "small letters, digits and hyphens, beginning with a letter or digit, 61 at most"
        )
    return answer


def slug(name: str) -> str:
    """Return a short name made from ``name``; empty where nothing of it can stand in one."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:61].strip("-")


def as_toml(profile: Table) -> bytes:
    """Return the profile as its file: a heading for each part, so that people can go on with it."""
    front = {key: value for key, value in profile.items() if key not in KINDS}
    lines = [tomli_w.dumps(front)]
    for kind in KINDS:
        for part in profile.get(kind, ()):
            plain_values = {k: v for k, v in part.items() if not isinstance(v, dict)}
            lines.append(f"[[{kind}]]\n{tomli_w.dumps(plain_values)}")
            tables = ((k, v) for k, v in part.items() if isinstance(v, dict))
            lines += [f"[{kind}.{key}]\n{tomli_w.dumps(table)}" for key, table in tables]
    return "\n".join(lines).encode()

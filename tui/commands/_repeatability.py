"""How far measurements repeat: ``meterlink checks touches`` and ``meterlink checks study``."""

import argparse
import csv
from collections.abc import Mapping
from math import isfinite, sqrt
from pathlib import Path
from statistics import fmean
from typing import Final

import msgspec
from msgspec import structs

from captures.job.across_jobs import TouchPair, pairs
from meterlink.errors import NotationError, UnreadableError, UsageError
from meterlink.judging.study import CrossedStudy, Pooled, crossed_study, pool_pairs
from meterlink.quantities.notation import format_value, parse_quantity
from meterlink.quantities.text import plain
from meterlink.quantities.units import Ohms
from meterlink.wording import counted
from tui.announcing.signs import can_show
from tui.session.setup import job_store
from tui.settings import configuration

ENOUGH: Final = 5
"""Fewer pairs say too little to stand in a budget: one alone is uncertain by three quarters."""
_COLUMNS: Final = ("part", "person", "value")


def show_touches(args: argparse.Namespace) -> int:
    """Print repeatability within and between touches; keep it where asked to."""
    found = list(pairs(job_store(args.jobs)))
    pooled = pool_pairs([pair.second - pair.first for pair in found])
    if pooled is None:
        print(
            msgspec.json.encode({"pairs": 0}).decode()
            if args.json
            else "no pair of touches below 100 ohm is on record; a repeat touch makes one"
        )
        return 0
    within = sqrt(fmean(pair.within**2 for pair in found))
    if args.json:
        facts = {
            "pairs": pooled.dof,
            "swapped": sum(pair.swapped for pair in found),
            "within": within,
            "between": pooled.sd,
            "dof": pooled.dof,
        }
        print(msgspec.json.encode(facts).decode())
    else:
        print("\n".join(_touch_lines(found, pooled, within)))
    if args.keep:
        _keep(pooled)
    return 0


def _touch_lines(found: list[TouchPair], pooled: Pooled, within: float) -> list[str]:
    sign = can_show("Ω")

    def ohms(value: float) -> str:
        return format_value(value, "ohm", value / 10 or None, ohm_sign=sign)

    swapped = sum(pair.swapped for pair in found)
    return [
        f"{counted(pooled.dof, 'pair')} of touches below 100 ohm, {swapped} with the leads swapped",
        f"  within a touch    {ohms(within)}  standard deviation of one reading",
        f"  between touches   {ohms(pooled.sd)}  standard deviation of one touch, "
        f"{counted(pooled.dof, 'degree')} of freedom",
        "Between people only a study tells: meterlink checks study FILE.",
    ]


def _keep(pooled: Pooled) -> None:
    if pooled.dof < ENOUGH:
        raise UsageError(
            f"{counted(pooled.dof, 'pair')} of touches say too little to be kept; {ENOUGH} are the "
            "fewest"
        )
    known = configuration.load()
    assumed = structs.replace(
        known.assumed, between_touches=Ohms(pooled.sd), touch_pairs=pooled.dof
    )
    configuration.save(structs.replace(known, assumed=assumed))
    print(f"kept in {plain(str(configuration.path()))}: it stands in every budget from now on")


def show_study(args: argparse.Namespace) -> int:
    """Print what a crossed study comes to."""
    values, unit = read_study(Path(args.file))
    study = crossed_study(values)
    if args.json:
        facts = structs.asdict(study) | {"unit": unit, "measurement": study.measurement}
        print(msgspec.json.encode(facts).decode())
        return 0
    print("\n".join(_study_lines(study, unit)))
    return 0


def read_study(path: Path) -> tuple[Mapping[tuple[str, str], list[float]], str]:
    """Return the values of a study by part and person, and their unit.

    Raises:
        UnreadableError: the file cannot be read, or lacks a column.
        NotationError: a value is none, or the units differ.
    """
    name = plain(path.name)
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise UnreadableError(f"{name} cannot be read: {plain(str(fault))}") from fault
    if not rows or any(column not in rows[0] for column in _COLUMNS):
        raise UnreadableError(f"{name} is no study; its first line must be part,person,value")
    values: dict[tuple[str, str], list[float]] = {}
    units: set[str] = set()
    for line, row in enumerate(rows, start=2):
        value = parse_quantity(row["value"] or "")
        if value.overload or not isfinite(value.value):
            raise NotationError(f"{name}, line {line}: an over range has no place in a study")
        units.add(value.unit)
        key = (plain(row["part"] or "", 80), plain(row["person"] or "", 80))
        values.setdefault(key, []).append(value.value)
    if len(units) != 1:
        raise NotationError(f"{name} mixes units: {', '.join(sorted(units))}")
    return values, units.pop()


def _study_lines(study: CrossedStudy, unit: str) -> list[str]:
    sign = can_show("Ω")

    def shown(value: float) -> str:
        return format_value(value, unit, value / 100 or None, ohm_sign=sign)

    lines = [
        f"{counted(study.parts, 'part')}, {study.people} people, "
        f"{counted(study.repeats, 'repeat')} each",
        f"  {'source':<18}{'sum of squares':>16}{'degrees of freedom':>20}{'mean square':>16}",
    ]
    lines += [
        f"  {line.name:<18}{line.squares:>16.6g}{line.dof:>20}{line.mean_square:>16.6g}"
        for line in study.lines
    ]
    if study.pooled:
        lines.append(
            "  parts and people do not interact "
            f"(by chance in {study.interaction_p:.0%} of studies): pooled with the repeats"
        )
    lines += [
        f"  repeatability     {shown(study.repeatability)}  standard deviation, same person",
        f"  reproducibility   {shown(study.reproducibility)}  between people",
        f"  measurement       {shown(study.measurement)}  both together",
        f"  between parts     {shown(study.between_parts)}",
    ]
    return lines

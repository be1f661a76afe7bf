"""``meterlink checks``: each meter against its known resistors, and how far measurements repeat."""

import argparse
import csv
from collections.abc import Iterator, Mapping
from math import isfinite, sqrt
from pathlib import Path
from statistics import fmean
from typing import Final

from msgspec import structs

from captures.job.across_jobs import RecordedCheck, Series, TouchPair, gather, pairs
from meterlink.errors import NotationError, UnreadableError, UsageError
from meterlink.judging.control_chart import FALSE_ALARMS, LEAST, ControlChart
from meterlink.judging.study import CrossedStudy, Pooled, crossed_study, pool_pairs
from meterlink.quantities.notation import format_value, parse_quantity
from meterlink.quantities.text import plain
from meterlink.quantities.units import Ohms
from meterlink.wording import counted
from tui import settings
from tui.announcing.signs import can_show
from tui.commands.shared import jobs_option, json_option, print_json
from tui.session.setup import job_store

COLUMNS: Final = 33
"""Width of a chart between its limits and a bit beyond; odd, so that the centre has a column."""


def add_checks(parser: argparse.ArgumentParser) -> None:
    """Declare which jobs and which meter."""
    parser.add_argument("--meter", metavar="TEXT", default="", help="only meters with this in it")
    parser.set_defaults(run=_show_meters)
    does = parser.add_subparsers(metavar="WHAT")
    touches = does.add_parser(
        "touches", help="repeatability within and between touches, from pairs in all jobs"
    )
    touches.add_argument(
        "--keep", action="store_true", help="keep the spread between touches in the settings"
    )
    touches.set_defaults(run=_show_touches)
    study = does.add_parser(
        "study", help="repeatability and reproducibility from a crossed study of parts and people"
    )
    study.add_argument("file", metavar="FILE", help="CSV with part,person,value and a line a value")
    study.set_defaults(run=_show_study)
    jobs_option(parser, touches)
    json_option(parser, touches, study)


def _show_meters(args: argparse.Namespace) -> int:
    """Show each meter on each of its resistors."""
    wanted = args.meter.casefold()
    series = [one for one in gather(job_store(args.jobs).jobs()) if wanted in one.meter.casefold()]
    if args.json:
        for one in series:
            _print_series(one)
    elif series:
        print("\n".join(line for one in series for line in _series_lines(one)))
    else:
        print("no meter check is on record; do one with a card that has “meter-check”")
    return 0


def _print_series(series: Series) -> None:
    chart = series.chart
    said = _said(chart)
    for index, (record, value) in enumerate(zip(series.checks, series.values, strict=True)):
        checked = record.checked
        facts = {
            "meter": series.meter,
            "at": record.at,
            "job": record.job,
            "marking": checked.marking,
            "ohms": checked.ohms,
            "tolerance": checked.tolerance,
            "corrected": checked.corrected,
            "error": checked.error,
            "relative_error": value,
            "u": checked.u,
            "passed": checked.passed,
            "sees": checked.sees,
            "average": None if chart is None else chart.averages[index],
            "signals": said.get(index, []),
            "record": record.record,
        }
        print_json(facts)
    drawn = {
        "meter": series.meter,
        "marking": series.marking,
        "checks": len(series.checks),
        "centre": None if chart is None else chart.centre,
        "sd": None if chart is None else chart.sd,
        "lower": None if chart is None else chart.lower,
        "upper": None if chart is None else chart.upper,
        "average_lower": None if chart is None else chart.average_lower,
        "average_upper": None if chart is None else chart.average_upper,
    }
    print_json({"chart": drawn})


def _series_lines(series: Series) -> Iterator[str]:
    chart, many = series.chart, counted(len(series.checks), "check")
    yield f"{plain(series.meter) or 'unnamed meter'} on {plain(series.marking)}: {many}"
    said = _said(chart)
    for index, (record, value) in enumerate(zip(series.checks, series.values, strict=True)):
        drawn = "" if chart is None else f"  {draw(value, chart)}"
        unsound = "" if record.record == "whole" else f"its record is {record.record}"
        failed = "" if record.checked.passed else "failed"
        remarks = "; ".join(filter(None, [failed, *said.get(index, []), unsound]))
        yield f"  {_when(record)}  {value:+8.3%}{drawn}  {remarks}".rstrip()
    if chart is None:
        yield f"  limits need {LEAST} checks on the same resistor"
    else:
        yield (
            f"  centre {chart.centre:+.3%}, limits {chart.lower:+.3%} and {chart.upper:+.3%}: "
            "three standard deviations from the moving range"
        )
        yield (
            f"  moving average {chart.averages[-1]:+.3%}, limits {chart.average_lower:+.3%} and "
            f"{chart.average_upper:+.3%}"
        )
        yield f"  {FALSE_ALARMS}"
        if newest := said.get(len(series.checks) - 1):
            why = " and ".join(newest)
            yield f"  The newest check is {why}: see to the meter before the next job."
    yield ""


def draw(value: float, chart: ControlChart) -> str:
    """Return one line of a chart: limits, centre, and the value between or beyond them."""
    half = COLUMNS // 2
    reach = half - 4  # columns from the centre to a limit

    def column(offset_sd: float) -> int:
        return half + max(-half, min(half, round(offset_sd / 3 * reach)))

    cells = [" "] * COLUMNS
    for mark, at in (("|", -3.0), ("|", 3.0), (":", 0.0)):
        cells[column(at)] = mark
    offset = (value - chart.centre) / chart.sd if chart.sd else 0.0
    beyond = not chart.lower - chart.slack <= value <= chart.upper + chart.slack
    cells[column(offset)] = "x" if beyond else "o"
    return "".join(cells)


def _said(chart: ControlChart | None) -> dict[int, list[str]]:
    said: dict[int, list[str]] = {}
    for index, signal in () if chart is None else chart.signals:
        said.setdefault(index, []).append(signal.value)
    return said


def _when(record: RecordedCheck) -> str:
    return plain(record.at[:16].replace("T", " "), 40).ljust(16)


ENOUGH: Final = 5
"""Fewer pairs say too little to stand in a budget: one alone is uncertain by three quarters."""
_COLUMNS: Final = ("part", "person", "value")


def _show_touches(args: argparse.Namespace) -> int:
    """Print repeatability within and between touches; keep it where asked to."""
    found = list(pairs(job_store(args.jobs)))
    pooled = pool_pairs([pair.second - pair.first for pair in found])
    if pooled is None:
        if args.json:
            print_json({"pairs": 0})
        else:
            print("no pair of touches below 100 ohm is on record; a repeat touch makes one")
        return 0
    # A repeat touch does not tell the scatter within its touches.
    told = [pair.within**2 for pair in found if pair.within]
    within = sqrt(fmean(told)) if told else None
    if args.json:
        facts = {
            "pairs": pooled.dof,
            "swapped": sum(pair.swapped for pair in found),
            "within": within,
            "between": pooled.sd,
            "dof": pooled.dof,
        }
        print_json(facts)
    else:
        print("\n".join(_touch_lines(found, pooled, within)))
    if args.keep:
        _keep(pooled)
    return 0


def _touch_lines(found: list[TouchPair], pooled: Pooled, within: float | None) -> list[str]:
    sign = can_show("Ω")

    def ohms(value: float) -> str:
        return format_value(value, "ohm", value / 10 or None, ohm_sign=sign)

    swapped = sum(pair.swapped for pair in found)
    return [
        f"{counted(pooled.dof, 'pair')} of touches below 100 ohm, {swapped} with the leads swapped",
        "  within a touch    not told by repeat touches"
        if within is None
        else f"  within a touch    {ohms(within)}  standard deviation of one reading",
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
    known = settings.load()
    assumed = structs.replace(
        known.assumed, between_touches=Ohms(pooled.sd), touch_pairs=pooled.dof
    )
    settings.save(structs.replace(known, assumed=assumed))
    print(f"kept in {plain(str(settings.path()))}: it stands in every budget from now on")


def _show_study(args: argparse.Namespace) -> int:
    """Print what a crossed study comes to."""
    values, unit = read_study(Path(args.file))
    study = crossed_study(values)
    if args.json:
        facts = structs.asdict(study) | {"unit": unit, "measurement": study.measurement}
        print_json(facts)
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
            mark = ";" if ";" in file.readline() else ","
            file.seek(0)
            names = [name.strip().lower() for name in next(csv.reader(file, delimiter=mark), [])]
            rows = list(csv.DictReader(file, names, delimiter=mark))
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

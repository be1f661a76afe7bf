"""``meterlink checks``: each meter against its known resistors, over all jobs."""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from captures.job.across_jobs import RecordedCheck, Series
    from meterlink.judging.control_chart import ControlChart

NAME: Final = "checks"
HELP: Final = "show how meters hold up against known resistors, and how far measurements repeat"

COLUMNS: Final = 33
"""Width of a chart between its limits and a bit beyond; odd, so that the centre has a column."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare which jobs and which meter."""
    parser.add_argument("--jobs", metavar="DIR", help="where jobs are kept")
    parser.add_argument("--meter", metavar="TEXT", default="", help="only meters with this in it")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    does = parser.add_subparsers(dest="does", metavar="WHAT")
    touches = does.add_parser(
        "touches", help="repeatability within and between touches, from pairs in all jobs"
    )
    touches.add_argument("--jobs", metavar="DIR", default=argparse.SUPPRESS)
    touches.add_argument("--json", action="store_true", default=argparse.SUPPRESS)
    touches.add_argument(
        "--keep", action="store_true", help="keep the spread between touches in the settings"
    )
    study = does.add_parser(
        "study", help="repeatability and reproducibility from a crossed study of parts and people"
    )
    study.add_argument("file", metavar="FILE", help="CSV with part,person,value and a line a value")
    study.add_argument("--json", action="store_true", default=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Gather and show."""
    if args.does == "touches":
        from tui.commands._repeatability import show_touches

        return show_touches(args)
    if args.does == "study":
        from tui.commands._repeatability import show_study

        return show_study(args)
    from captures.job.across_jobs import gather
    from tui.session.setup import job_store

    wanted = args.meter.casefold()
    series = [one for one in gather(job_store(args.jobs).jobs()) if wanted in one.meter.casefold()]
    if args.json:
        for one in series:
            _print_json(one)
    elif series:
        print("\n".join(line for one in series for line in _lines(one)))
    else:
        print("no meter check is on record; the step «meter-check» of a card makes one")
    return 0


def _print_json(series: "Series") -> None:
    import msgspec

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
        print(msgspec.json.encode(facts).decode())
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
    print(msgspec.json.encode({"chart": drawn}).decode())


def _lines(series: "Series") -> "Iterator[str]":
    from meterlink.judging.control_chart import FALSE_ALARMS, LEAST
    from meterlink.quantities.text import plain
    from meterlink.wording import counted

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


def draw(value: float, chart: "ControlChart") -> str:
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


def _said(chart: "ControlChart | None") -> dict[int, list[str]]:
    said: dict[int, list[str]] = {}
    for index, signal in () if chart is None else chart.signals:
        said.setdefault(index, []).append(signal.value)
    return said


def _when(record: "RecordedCheck") -> str:
    from meterlink.quantities.text import plain

    return plain(record.at[:16].replace("T", " "), 40).ljust(16)

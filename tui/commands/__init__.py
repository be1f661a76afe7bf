"""The commands of the command line: which there are, and the module that each is in.

A module is imported only where one of its commands is called, so that ``meterlink --help``
answers at once, and a command waits for nothing that another one needs.
"""

from typing import Final, NamedTuple


class CliCommand(NamedTuple):
    """A row of ``COMMANDS``."""

    module: str
    """Module in this folder; its function ``add_NAME`` declares the arguments of the command NAME
    and sets ``run`` on its parser: a function of the arguments that returns the exit code."""
    help: str
    """One line for ``meterlink --help``."""


COMMANDS: Final = {
    "analyse": CliCommand("analyse", "hold and judge what a capture or a readings file contains"),
    "archive": CliCommand(
        "archive", "bring jobs into one Parquet data set, to ask across all of them"
    ),
    "ask": CliCommand("archive", "ask across all jobs: ready questions, or your own in SQL"),
    "bench": CliCommand("bench", "work a card on a live meter, hands on the probes"),
    "cards": CliCommand("shelves", "list work cards, show one, or check a file"),
    "checks": CliCommand(
        "checks",
        "show how meters hold up against known resistors, and how far measurements repeat",
    ),
    "demo": CliCommand(
        "simulate", "run the whole job on the built-in simulated bench; no meter needed"
    ),
    "export": CliCommand("records", "write readings or holds as CSV, Parquet or a workbook"),
    "finding": CliCommand(
        "finding", "say what a job's checks together mean, and what to check next"
    ),
    "frames": CliCommand(
        "frames", "list, show and check descriptions of the byte formats of streaming meters"
    ),
    "import": CliCommand("records", "take plain readings files (CSV: t_s,value,unit) into a job"),
    "jobs": CliCommand(
        "jobs",
        "list jobs, show one, attach files, pack one, mend, hold old verdicts to today's rules",
    ),
    "judge": CliCommand("judge", "judge a typed reading against limits, with its uncertainty"),
    "key": CliCommand("records", "make or show the key with which this bench signs its records"),
    "library": CliCommand(
        "library", "recorded exercises to learn from: list, show, check, make, pack, unpack"
    ),
    "meters": CliCommand("meters", "list the ports, and ask or listen what is at each"),
    "practice": CliCommand("practice", "find a hidden fault on a virtual engine; no meter needed"),
    "profiles": CliCommand(
        "shelves", "list coil profiles, show one, check a file, or make one by answering questions"
    ),
    "read": CliCommand("meters", "print readings as they come, as text, CSV or JSON lines"),
    "replay": CliCommand(
        "replay", "play a record again, at its own pace or another, and compare what comes out"
    ),
    "report": CliCommand("records", "write the report of a job as one HTML file"),
    "simulate": CliCommand(
        "simulate", "start a simulated meter on a port of this computer, and say which"
    ),
    "verify": CliCommand("records", "check the seals of captures, job logs, whole jobs, or all"),
}
"""The commands by name, in the order of the help."""

"""The command line: picks a command, shows errors as one sentence, gives the exit code."""

import argparse
import contextlib
import errno
import importlib
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final, NoReturn

from meterlink import __version__
from meterlink.errors import CannotWriteError, MeterlinkError, UsageError
from meterlink.quantities.text import plain
from tui import commands
from tui.announcing.signs import SPELLED
from tui.commands import COMMANDS
from tui.plain.output import harmless_output
from tui.program_fault import EXIT_CODE as PROGRAM_FAULT
from tui.program_fault import ProgramFaults, end_output, told, told_of_signal, working_on

INTERRUPTED: Final = 130
BY_SIGNAL: Final = 128
"""Beside its number, the exit code of what a signal ended, as shells have it."""

_ONCE: Final = {"wires": "frames"}
"""Commands by the name they once had, which still works."""

_FULL: Final = {getattr(errno, name, None) for name in ("ENOSPC", "EDQUOT", "EFBIG")}
"""Error numbers of a disk or quota that is used up; Windows has not all of them."""

CAUTION: Final = (
    "Ignition off, plug lead off and earthed, engine cold. "
    "The engine maker's service manual and local rules come first."
)


class _Parser(argparse.ArgumentParser):
    """Usage errors are one sentence like every other error."""

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{plain(message, 400)}; see “{self.prog} --help”")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line ``argv`` (default: the process's own) and return the exit code."""
    _prepare_output()
    with harmless_output():
        return _main(argv)


def _main(argv: Sequence[str] | None) -> int:
    working_on(None)
    faults = ProgramFaults()
    code = _watched(faults, argv)
    if faults.ended_by is None:
        return code
    _tell(told_of_signal(faults.ended_by))  # whatever failed in its wake
    return BY_SIGNAL + faults.ended_by


def _watched(faults: ProgramFaults, argv: Sequence[str] | None) -> int:
    try:
        with faults.watching():
            code = _run(argv)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read our output has enough; keep Python from complaining while it exits.
        _close_quietly()
        return 0
    except OSError as fault:
        # Files and ports have errors of their own; left is what ``print`` could not get rid of.
        if fault.errno not in _FULL or faults.ended_by is not None:
            return _tell_fault(fault, argv, faults)
        _close_quietly()
        print(
            f"meterlink: standard output takes no more ({fault.strerror}); make room there",
            file=sys.stderr,
        )
        return CannotWriteError.exit_code
    except KeyboardInterrupt:  # by the user or a fault elsewhere, just as all was done
        code = INTERRUPTED
    except BaseException as fault:  # noqa: BLE001  # the one place for what nobody foresaw
        return _tell_fault(fault, argv, faults)
    return code if faults.struck is None else _tell_fault(faults.struck, argv, faults)


def _tell_fault(fault: BaseException, argv: Sequence[str] | None, faults: ProgramFaults) -> int:
    """Say in one sentence that the program itself has a fault; return the exit code for it.

    What fails in the wake of a signal, as a terminal that is gone, is none.
    """
    if faults.ended_by is None:
        _tell(told(fault, sys.argv[1:] if argv is None else argv))
    return PROGRAM_FAULT


def _tell(sentence: str) -> None:
    end_output()
    with contextlib.suppress(Exception):  # standard error may be gone too
        print(f"meterlink: {sentence}", file=sys.stderr)


def _run(argv: Sequence[str] | None) -> int:
    """Do what the command line says; what the user can mend is told, and gives its exit code."""
    try:
        words = _by_present_name(argv)
        if not set(words) - {"--plain"}:
            start = importlib.import_module(f"{commands.__name__}.start")
            chosen: list[str] | None = start.chosen_words(plain=bool(words))
            if chosen is None:
                return 0
            words = chosen
        called = next((word for word in words if not word.startswith("-")), "")
        args = build_parser(called).parse_args(words)
        code: int = args.run(args)
    except MeterlinkError as fault:
        print(f"meterlink: {fault}", file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        return INTERRUPTED
    except SystemExit as done:  # argparse after --help and --version
        return done.code if isinstance(done.code, int) else 0
    return code


def build_parser(called: str = "") -> argparse.ArgumentParser:
    """Return the parser of every command; of their arguments it knows those of ``called``."""
    parser = _Parser(
        prog="meterlink",
        description="Reads a bench meter while both hands hold the probes: steadies, judges "
        "and records tests of small-engine ignition. Alone, it opens the start page; without a "
        "terminal, or with --plain alone, it lists the same ways as commands.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"meterlink {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, command in COMMANDS.items():
        sub = subparsers.add_parser(name, help=command.help, description=command.help)
        if name == called:
            module = importlib.import_module(f"{commands.__name__}.{command.module}")
            getattr(module, f"add_{name}")(sub)
    return parser


def _by_present_name(argv: Sequence[str] | None) -> list[str]:
    """Return the command line; a command that has got another name is still found by its first."""
    words = list(sys.argv[1:] if argv is None else argv)
    return [_ONCE.get(words[0], words[0]), *words[1:]] if words else words


def _prepare_output() -> None:
    """Never fail on a character that the console's code page lacks; spell it out instead."""
    if sys.stdout is None:  # closed by whoever started us; files must not take its place
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  # to the end
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=SPELLED)


def _close_quietly() -> None:
    """Send what is still to be written nowhere, so that Python does not fail on it at its end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

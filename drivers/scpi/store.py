"""Descriptions of instruments that are asked: the user's files, read and checked."""

from pathlib import Path
from typing import Final

from drivers.scpi.blocks import AnswerFormError
from drivers.scpi.dialect import FORMAT, Dialect, Sample
from drivers.scpi.readout import Readout, read_answer
from meterlink import declared
from meterlink.declared import InvalidFileError
from meterlink.errors import MeterlinkError, UnreadableError
from meterlink.meter_state import MEANINGS
from meterlink.quantities.text import plain

SUFFIX: Final = ".scpi.toml"
"""What their names end with, beside descriptions of frames in the same folder."""


def is_dialect(path: Path) -> bool:
    """Whether ``path`` is named as the description of an instrument that is asked."""
    return path.name.endswith(SUFFIX)


def read_dialect(path: Path) -> Dialect:
    """Return the description in the file ``path``.

    Raises:
        UnreadableError: the file cannot be read.
        InvalidFileError: what it says is impossible; names the key.
    """
    shown = plain(str(path))
    try:
        with path.open("rb") as file:
            data = file.read(declared.LARGEST_FILE + 1)
    except OSError as fault:
        raise UnreadableError(f"{shown} cannot be read: {fault.strerror}") from fault
    dialect = declared.decode(data, Dialect, path.name, as_is=True)
    if dialect.format != FORMAT:
        raise InvalidFileError(
            f"{shown}: format {dialect.format} is not known here, only {FORMAT}; "
            "a newer program may read it"
        )
    if dialect.end not in ("\n", "\r", "\r\n"):
        raise InvalidFileError(f"{shown}: end: must be a line feed, a carriage return or both")
    for query, flag in dialect.states.items():
        if flag not in MEANINGS:
            known = ", ".join(sorted(MEANINGS))
            raise InvalidFileError(
                f"{shown}: states.{plain(query)}: «{plain(flag)}» has no meaning; use {known}"
            )
    return dialect


def check_dialect(dialect: Dialect) -> None:
    """Read every sample.

    Raises:
        InvalidFileError: one is not read as it says; names it and shows the answer.
    """
    for number, sample in enumerate(dialect.samples):
        said = _fault(dialect, sample)
        if said:
            raise InvalidFileError(f"samples[{number}]: «{plain(sample.answer, 60)}» {said}")


def _fault(dialect: Dialect, sample: Sample) -> str:
    data = sample.answer.encode("latin-1", "replace")
    elements = sample.answer.count(",") + 1
    try:
        (found,) = read_answer(data, Readout("", "", 1, 1.0, elements), dialect.answer)
    except AnswerFormError as fault:
        return "" if sample.refused else f"is not read: {fault}"
    if sample.refused:
        return "must be refused, but is read"
    over = abs(found.value) == float("inf")
    if sample.overload != over or (not over and found.value != sample.value):
        return f"is read as {'an overload' if over else f'{found.value:g}'}"
    return ""


def load_dialects(folder: Path) -> tuple[dict[str, Dialect], list[MeterlinkError]]:
    """Return every usable description in ``folder`` by its name, and what is wrong with others."""
    found: dict[str, Dialect] = {}
    faults: list[MeterlinkError] = []
    for path in sorted(folder.glob(f"*{SUFFIX}")) if folder.is_dir() else ():
        try:
            dialect = read_dialect(path)
        except (InvalidFileError, UnreadableError) as fault:
            faults.append(fault)
        else:
            found[dialect.name] = dialect
    return found, faults


def find_dialect(name: str, folder: Path) -> Dialect | None:
    """Return the description called ``name``, or in the file ``name``; None where there is none.

    Raises:
        UnreadableError, InvalidFileError: the file cannot be used.
    """
    path = Path(name)
    if is_dialect(path):
        return read_dialect(path)
    named = folder / f"{name}{SUFFIX}"
    if named.is_file():
        return read_dialect(named)
    return load_dialects(folder)[0].get(name)

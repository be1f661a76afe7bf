"""The running list of a store: every final seal, in a hash chain of its own.

It is kept where somebody began one. Each line names the hash of the line before it, so the newest
line vouches for all of them: whoever keeps its hash, the head, notices later when a job was made
again. Nobody who keeps no head notices when the whole list was.
"""

import hashlib
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

import msgspec

from captures.record.files import (
    begin_file,
    is_regular,
    local_now,
    open_regular,
    rfc3339,
    take_lock,
)
from captures.record.records import PROGRAM, VERSION
from captures.record.seals import LONGEST_LINE, as_sealed
from meterlink.errors import CannotWriteError, InUseError, UnreadableError
from meterlink.quantities.text import plain

LIST_NAME: Final = "list.jsonl"
FORMAT: Final = "meterlink-store-list"

_PATIENCE_S: Final = 2.0
_RETRY_S: Final = 0.02


class ListHeader(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="header"):
    """The first line of a list."""

    format: str
    version: str
    started: str
    program: str


class Listed(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="sealed"):
    """A record was closed."""

    at: str
    """RFC 3339."""
    log: str
    """SHA-256 of the first line of the job's log, as sealed: which job, without its name."""
    file: str
    """Path inside the job's folder."""
    lines: int
    """Of the final seal, as ``sha256``."""
    sha256: str
    before: str
    """SHA-256 of the line before this one, with its line feed."""


_DECODER: Final = msgspec.json.Decoder(ListHeader | Listed)


class ListCheck(NamedTuple):
    """What a check of a list found."""

    entries: tuple[Listed, ...]
    head: str
    """SHA-256 of the newest line, which is what to keep elsewhere."""
    bad_line: int | None
    """The first line that does not fit the one before it; None where all do."""
    heads: frozenset[str]
    """The hash of every line up to there: what has been the head at some time."""


def begin_list(root: Path) -> str:
    """Begin the list of the store in ``root``; return its head.

    Raises:
        CannotWriteError: there is one already, or it cannot be made.
    """
    line = msgspec.json.encode(
        ListHeader(format=FORMAT, version=VERSION, started=rfc3339(local_now()), program=PROGRAM)
    )
    try:
        root.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise CannotWriteError(f"{plain(str(root))} cannot be made: {fault.strerror}") from fault
    begin_file(root / LIST_NAME, line + b"\n")
    return hashlib.sha256(line + b"\n").hexdigest()


def has_list(root: Path) -> bool:
    """Whether the store in ``root`` keeps a list."""
    return is_regular(root / LIST_NAME)


def id_of(log: Path) -> str:
    """Return by what a list calls the job with this log.

    Raises:
        UnreadableError: it cannot be read.
    """
    with open_regular(log) as file:
        return hashlib.sha256(as_sealed(file.readline(LONGEST_LINE))).hexdigest()


def put_on_list(root: Path, log: Path, seals: list[tuple[str, int, str]]) -> None:
    """Put the final seals of a job, each as file, lines and hash, at the end of the list.

    Raises:
        CannotWriteError: it cannot be written; ``jobs mend`` puts on it what is missing.
    """
    path = root / LIST_NAME
    try:
        with path.open("r+b") as file:
            _lock(file.fileno(), path)
            before = b""
            for line in _tail(path):
                before = line
            if not before.endswith(b"\n"):
                before += b"\n"
                file.seek(0, os.SEEK_END)
                file.write(b"\n")
            file.seek(0, os.SEEK_END)
            for name, lines, sha256 in seals:
                entry = Listed(
                    at=rfc3339(local_now()),
                    log=id_of(log),
                    file=name,
                    lines=lines,
                    sha256=sha256,
                    before=hashlib.sha256(before).hexdigest(),
                )
                before = msgspec.json.encode(entry) + b"\n"
                file.write(before)
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        raise CannotWriteError(f"{plain(str(path))} cannot be written: {fault.strerror}") from fault


def read_list(root: Path) -> ListCheck:
    """Read the list of a store and check its chain.

    Raises:
        UnreadableError: it cannot be read, or is none.
    """
    entries: list[Listed] = []
    heads: set[str] = set()
    head, bad = "", None
    for number, line in enumerate(_tail(root / LIST_NAME), start=1):
        try:
            found = _DECODER.decode(line)
        except (msgspec.DecodeError, UnicodeDecodeError):
            found = None
        if number == 1:
            if not isinstance(found, ListHeader) or found.format != FORMAT:
                raise UnreadableError(f"{plain(str(root / LIST_NAME))} is no list of a store")
        elif not line.endswith(b"\n"):
            break  # cut while it was written
        elif isinstance(found, Listed) and found.before == head:
            entries.append(found)
        elif found is not None and bad is None:
            bad = number  # a line that was cut is none; the next one vouches for what is left of it
        head = hashlib.sha256(line).hexdigest()
        if bad is None:
            heads.add(head)
    return ListCheck(tuple(entries), head, bad, frozenset(heads))


def last_on(root: Path) -> dict[tuple[str, str], Listed]:
    """Return what the list says last of each file, by job (see ``id_of``) and path inside it.

    Empty where no list is kept.

    Raises:
        UnreadableError: the list cannot be read.
    """
    if not has_list(root):
        return {}
    return {(entry.log, entry.file): entry for entry in read_list(root).entries}


def _tail(path: Path) -> Iterator[bytes]:
    with open_regular(path) as file:
        while line := file.readline(LONGEST_LINE):
            yield line


def _lock(fd: int, path: Path) -> None:
    until = time.monotonic() + _PATIENCE_S
    while not take_lock(fd):
        if time.monotonic() > until:
            raise InUseError(f"{plain(str(path))} is being written by another program")
        time.sleep(_RETRY_S)

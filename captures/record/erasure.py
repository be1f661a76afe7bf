"""Texts that can be struck from a sealed record: names of customers, serial numbers, notes.

A line that holds such a text ends in a salt, and is sealed not as it stands but as it would stand
with each of these texts struck: with a salted digest in its place, and without the salt. So
striking one changes no seal, and afterwards nobody can try names against the digest (see
FORMAT.md).
"""

import hashlib
import os
import re
import secrets
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Final

import msgspec

from captures.record.records import Attached, Header
from meterlink.commands import Enter
from meterlink.events import CommandReceived, Entered, Note

_SALT: Final = re.compile(rb',"salt":"([0-9a-f]{32})"\}\n\Z')
_SALT_BYTES: Final = 16
_LONGEST_SALT: Final = 64
_STRING: Final = rb'"((?:[^"\\]|\\.)*)"'
_TITLE: Final = re.compile(rb'"(title)":' + _STRING)
_TEXTS: Final = re.compile(rb'"(text|name|note)":' + _STRING)
_HEADER: Final = b'{"kind":"header"'
_PREFIX: Final = b"struck:"
_BLOCK: Final = 1 << 20


def salted(line: bytes, record: object) -> bytes:
    """Return the line of ``record`` with a salt at its end, where it holds a text to be struck."""
    match record:
        case Header(title=title) if title:
            pass
        case Note() | Attached() | Entered(value=None) | CommandReceived(command=Enter()):
            pass
        case _:
            return line
    salt = secrets.token_hex(_SALT_BYTES).encode()
    return line.removesuffix(b"}\n") + b',"salt":"' + salt + b'"}\n'


def as_sealed(line: bytes) -> bytes:
    """Return a line as it is sealed, which is as it stands once its texts are struck."""
    found = _SALT.search(line, max(0, len(line) - _LONGEST_SALT))
    if found is None:
        return line
    salt = found[1]

    def digest(text: re.Match[bytes]) -> bytes:
        hashed = hashlib.sha256(b":".join((salt, text[1], text[2]))).hexdigest()
        return b'"' + text[1] + b'":"' + _PREFIX + hashed.encode() + b'"'

    body = line[: found.start()] + b"}\n"
    if line.startswith(_HEADER):
        return _TITLE.sub(digest, body, count=1)
    return _TEXTS.sub(digest, body)


def lines_as_sealed(lines: bytes) -> bytes:
    """Return whole lines as they are sealed."""
    if b',"salt":"' not in lines:
        return lines
    return b"".join(as_sealed(line) for line in BytesIO(lines))


def texts_of(line: bytes) -> Iterator[str]:
    """Yield the texts of a line that can be struck."""
    if _SALT.search(line, max(0, len(line) - _LONGEST_SALT)) is None:
        return
    found = [_TITLE.search(line)] if line.startswith(_HEADER) else _TEXTS.finditer(line)
    for text in found:
        if text is not None:
            yield msgspec.json.decode(b'"' + text[2] + b'"', type=str)


def strike_from(path: Path, wanted: str) -> int:
    """Strike every text with ``wanted`` in it from a record; return from how many lines.

    Letter case is not looked at. The file is replaced as a whole; what was struck is gone.
    """
    count = 0
    draft = path.with_name(f".{path.name}.striking")
    try:
        with path.open("rb") as source, draft.open("xb") as target:
            for line in source:
                if any(wanted.casefold() in text.casefold() for text in texts_of(line)):
                    line = as_sealed(line)  # struck is what it is sealed as
                    count += 1
                target.write(line)
            target.flush()
            os.fsync(target.fileno())
        if count:
            draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    return count

"""The instrument's side of SCPI: program messages taken apart, headers looked up in a tree.

After SCPI-1999 volume 1 and IEEE 488.2: long and short forms, optional nodes, several units in one
message, and headers that go on from where the last one left off.
"""

import re
from collections.abc import Iterator
from itertools import product
from typing import Final, NamedTuple

_NODE: Final = re.compile(r"(\[)?:?([A-Za-z]+)\]?")
_NUMBER: Final = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:\s*[Ee]\s*[+-]?\d+)?)\s*([A-Za-z]*)")

_SCALES: Final = {"": 1.0, "OHM": 1.0, "KOHM": 1e3, "MOHM": 1e6, "V": 1.0, "MV": 1e-3, "PLC": 1.0}
"""Suffixes. In SCPI, MOHM is the megohm (the one unit besides MHZ where M is mega)."""


class ProgramMessageUnit(NamedTuple):
    """One command or query of a program message."""

    header: str
    """Upper case, from the root, without a leading colon and question mark."""
    query: bool
    parameters: tuple[str, ...]


class HeaderError(ValueError):
    """A header that is not well formed."""


def spellings(pattern: str) -> Iterator[str]:
    """Yield every spelling of a header such as ``[SENSe]:RESistance:RANGe[:UPPer]``.

    Capitals are the short form; square brackets mark nodes that may be left out.
    """
    if pattern.startswith("*"):
        yield pattern.upper()
        return
    choices: list[tuple[str, ...]] = []
    for optional, name in _NODE.findall(pattern):
        short = "".join(c for c in name if c.isupper())
        forms = dict.fromkeys((short, name.upper()))
        choices.append((*forms, "") if optional else tuple(forms))
    for nodes in product(*choices):
        yield ":".join(node for node in nodes if node)


def units(message: str) -> Iterator[ProgramMessageUnit]:
    """Yield the units of one program message, headers made absolute.

    Raises:
        HeaderError: a header is not well formed; units before it were yielded.
    """
    path = ""
    for part in _split(message, ";"):
        text = part.strip()
        if not text:
            continue
        header, _, rest = text.partition(" ")
        query = header.endswith("?")
        header = header.rstrip("?").upper()
        if not re.fullmatch(r"\*[A-Z]+|:?[A-Z]\w*(:[A-Z]\w*)*", header):
            raise HeaderError(header)
        if not header.startswith("*"):
            header = header[1:] if header.startswith(":") else path + header
            path = header[: header.rfind(":") + 1]
        parameters = tuple(p.strip() for p in _split(rest, ",")) if rest.strip() else ()
        yield ProgramMessageUnit(header, query, parameters)


def number(text: str) -> float | None:
    """Return a decimal number with its suffix in SI units; None where it is none."""
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        return None
    scale = _SCALES.get(found[2].upper())
    return None if scale is None else float(re.sub(r"\s", "", found[1])) * scale


def _split(text: str, at: str) -> Iterator[str]:
    """Split outside of quotes."""
    quote, start = "", 0
    for index, char in enumerate(text):
        if quote:
            quote = "" if char == quote else quote
        elif char in "\"'":
            quote = char
        elif char == at:
            yield text[start:index]
            start = index + 1
    yield text[start:]

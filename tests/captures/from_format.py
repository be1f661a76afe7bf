"""A reader and checker written from FORMAT.md alone: nothing of the program is used here."""

import hashlib
import json
import zlib
from pathlib import Path

LONGEST = 4_194_304
SEAL = b'{"kind":"seal"'
OF_A_SEAL = (
    b'"kind":"seal"', b'"lines":', b'"bytes":', b'"sha256":"', b'"marks":"', b'"final":'
)  # fmt: skip


def read(path: Path) -> tuple[dict, list[dict], int]:
    """Return header, the other objects with a kind, and how many lines were none."""
    lines = path.read_bytes().split(b"\n")[:-1]
    objects, bad = [], 0
    for line in lines:
        try:
            found = json.loads(line.decode("utf-8"))
        except (ValueError, RecursionError):
            bad += 1
            continue
        if (
            len(line) >= LONGEST
            or not isinstance(found, dict)
            or not isinstance(found.get("kind"), str)
        ):
            bad += 1
            continue
        objects.append(found)
    return objects[0], objects[1:], bad


def number(value: float | str) -> float:
    """Return a number as FORMAT.md writes it."""
    return float(value)


def value_of(reading: dict) -> float:
    """Return the value of a reading."""
    if reading["value"] is not None:
        return float(reading["value"])
    if reading.get("special"):
        return float(reading["special"])
    return float("inf") if reading.get("overload", False) else float("nan")


def check(path: Path) -> tuple[str, int | None]:
    """Return the state of a file, and the first bad line where a mark names it."""
    digest, size, marks = hashlib.sha256(), 0, []
    data = path.read_bytes()
    ends_well = False
    number_of_lines = 0
    marked_from = 1
    tail_is_bad = None
    for line in data.splitlines(keepends=True) if b"\r" not in data else _split(data):
        if line.startswith(SEAL) and line.endswith(b"\n"):
            expected = {
                "kind": "seal",
                "lines": number_of_lines,
                "bytes": size,
                "sha256": digest.hexdigest(),
                "marks": "".join(marks),
            }
            try:
                found = json.loads(line)
                final = found.pop("final")
                found.pop("key", None), found.pop("signature", None)
            except (ValueError, KeyError, RecursionError):
                return "altered", number_of_lines + 1
            if found != expected or not isinstance(final, bool):
                if found.get("sha256") == expected["sha256"]:
                    return "altered", number_of_lines + 1
                missing = (len(expected["marks"]) - len(str(found.get("marks")))) // 4
                if found.get("lines") == expected["lines"] and missing > 0:
                    return "altered", marked_from + missing
                return "altered", _first_difference(found, expected, marked_from)
            ends_well, tail_is_bad = final, None
            marks, marked_from = [], number_of_lines + 1
        else:
            ends_well = False
            if sum(text in line for text in OF_A_SEAL) >= 4 and not _was_cut(line):
                tail_is_bad = tail_is_bad or number_of_lines + 1
        sealed = as_sealed(line)
        digest.update(sealed)
        size += len(sealed)
        if line.endswith(b"\n"):
            number_of_lines += 1
            marks.append(f"{zlib.crc32(sealed) & 0xFFFF:04x}")
    if tail_is_bad is not None:
        return "altered", tail_is_bad
    return ("whole" if ends_well and data.endswith(b"\n") else "open"), None


def as_sealed(line: bytes) -> bytes:
    """Return a line as the page says that it is sealed."""
    tail = line[-44:]
    if not (tail.startswith(b',"salt":"') and tail.endswith(b'"}\n')):
        return line
    salt = tail[9:41]
    if not all(digit in b"0123456789abcdef" for digit in salt):
        return line
    header = line.startswith(b'{"kind":"header"')
    keys = [b"title"] if header else [b"text", b"name", b"note"]
    out, rest, changed = b"", line[:-44] + b"}\n", 0
    while not (header and changed):
        starts = [(rest.find(b'"' + key + b'":"'), key) for key in keys]
        starts = [(at, key) for at, key in starts if at >= 0]
        if not starts:
            break
        at, key = min(starts)
        begin = end = at + len(key) + 4
        while rest[end : end + 1] != b'"':
            end += 2 if rest[end : end + 1] == b"\\" else 1
        hashed = hashlib.sha256(salt + b":" + key + b":" + rest[begin:end]).hexdigest()
        out += rest[:begin] + b"struck:" + hashed.encode() + b'"'
        rest = rest[end + 1 :]
        changed += 1
    return out + rest


def _was_cut(line: bytes) -> bool:
    return line.startswith(SEAL) and b"\n" not in line and line.find(b"}") in (-1, len(line) - 1)


def _split(data: bytes) -> list[bytes]:
    parts = data.split(b"\n")
    return [part + b"\n" for part in parts[:-1]] + ([parts[-1]] if parts[-1] else [])


def _first_difference(found: dict, expected: dict, first: int) -> int | None:
    one, other = found.get("marks", ""), expected["marks"]
    if not isinstance(one, str):
        return None
    for at in range(0, max(len(one), len(other)), 4):
        if one[at : at + 4] != other[at : at + 4]:
            return first + at // 4
    return None

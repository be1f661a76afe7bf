"""Files that people write: TOML decoded strictly, every fault named by file and key or line.

Values with a unit are written as text, ``"0.7 ohm"``, and become floats in SI units here. A bare
number is refused where a unit belongs: 4.7 could be ohms or kilohms, and is never guessed at.
"""

import re
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any, Final, TypeVar

import msgspec
import msgspec.inspect

from meterlink.errors import InvalidFileError, NotationError
from meterlink.quantities.notation import parse_as
from meterlink.quantities.text import harmless, plain
from meterlink.quantities.units import Declared

T = TypeVar("T")

LARGEST_FILE: Final = 1 << 20
"""Bytes; a description that people write is never larger."""


def decode(data: bytes, shape: type[T], name: str, *, as_is: bool = False) -> T:
    """Return ``data``, a TOML text, as ``shape``, every text in it made harmless.

    ``as_is`` leaves control characters in: for descriptions of bytes, which are made of them. Who
    asks for it makes plain what is shown.

    Raises:
        InvalidFileError: names the file (``name``), the key or line, and what was expected.
    """
    name = plain(name)
    if len(data) > LARGEST_FILE:
        raise InvalidFileError(f"{name} is {len(data)} bytes long; at most {LARGEST_FILE} are read")
    try:
        raw = msgspec.toml.decode(data)
    except (msgspec.DecodeError, UnicodeDecodeError) as fault:
        raise InvalidFileError(f"{name} is not TOML: {plain(str(fault))}") from fault
    return _convert(raw if as_is else harmless(raw), shape, name)


def to_plain(thing: Any) -> Any:
    """Return ``thing`` as dicts, lists, texts and numbers, as it would stand in its file."""
    return msgspec.to_builtins(thing, enc_hook=_encode_declared)


def from_plain(given: Any, shape: type[T], name: str) -> T:
    """Return what ``to_plain`` gave as ``shape``, every text in it made harmless.

    Raises:
        InvalidFileError: it is none; ``name`` says where it came from.
    """
    return _convert(harmless(given), shape, name)


def _convert(given: Any, shape: type[T], name: str) -> T:
    try:
        return msgspec.convert(given, shape, dec_hook=_decode_declared)
    except msgspec.ValidationError as fault:
        raise InvalidFileError(f"{plain(name)}: {_with_key(str(fault), shape)}") from fault


def _encode_declared(value: object) -> str:
    if isinstance(value, Declared):
        return f"{float(value)!r} {value.unit}"
    raise NotImplementedError(type(value))


def _decode_declared(shape: type, given: object) -> Any:
    if not issubclass(shape, Declared):
        raise NotImplementedError(shape)
    if not isinstance(given, str):
        raise ValueError(f"needs a text with a unit, such as “{shape.example}”")
    try:
        value = parse_as(given, shape.unit, bare=shape.unit == "ohm")
    except NotationError as fault:
        raise ValueError(str(fault)) from None
    if value.overload:
        raise ValueError(f"“{plain(given)}” is no number; expected such as “{shape.example}”")
    return shape(value.value)


def _with_key(message: str, shape: object) -> str:
    """Put the key first: ``winding[0].low: expected ...``."""
    said, at, path = message.rpartition(" - at ")
    if not at:
        return plain(message + _perhaps(message, shape), 400)
    key = path.strip("`").removeprefix("$").removeprefix(".") or "top level"
    if strange := _STRANGE.fullmatch(said):
        said = _not_one_of(key, strange[1], shape)
    return plain(f"{key}: {said}{_perhaps(said, shape)}", 400)


def _not_one_of(key: str, value: str, shape: object) -> str:
    """Say that ``value`` is none of those that ``key`` can have."""
    if key == "format":
        return f"this program does not know format {value}; update meterlink, or mend the file"
    own = re.sub(r"\[.*?\]", "", key).rpartition(".")[2]
    can_be = dict.fromkeys(
        str(one)
        for field in _fields(shape)
        if field.encode_name == own and isinstance(field.type, msgspec.inspect.LiteralType)
        for one in field.type.values
    )
    expected = f"; expected {' or '.join(can_be)}" if can_be else ""
    return f"there is no {value}{expected}"


def _perhaps(said: str, shape: object) -> str:
    """Return which key may be meant where ``said`` complains of one that is not known."""
    unknown = _UNKNOWN.search(said)
    near = get_close_matches(unknown[1], sorted(_keys(shape)), n=1) if unknown else []
    return f"; perhaps `{near[0]}` is meant" if near else ""


_UNKNOWN: Final = re.compile("unknown field `(.*)`")
_STRANGE: Final = re.compile("Invalid enum value (.*)")


def _keys(shape: object) -> set[str]:
    """Return every key that may stand anywhere in a file of ``shape``."""
    return {field.encode_name for field in _fields(shape)}


def _fields(shape: object) -> Iterator[msgspec.inspect.Field]:
    """Yield every field that may stand anywhere in a file of ``shape``."""
    seen: set[type] = set()
    ahead: list[object] = [msgspec.inspect.type_info(shape)]
    while ahead:
        kind = ahead.pop()
        match kind:
            case msgspec.inspect.StructType(cls=cls, fields=fields) if cls not in seen:
                seen.add(cls)
                yield from fields
                ahead += [field.type for field in fields]
            case msgspec.inspect.UnionType(types=types):
                ahead += types
            case (
                msgspec.inspect.ListType(item_type=inner)
                | msgspec.inspect.VarTupleType(item_type=inner)
            ):
                ahead.append(inner)
            case msgspec.inspect.DictType(value_type=inner):
                ahead.append(inner)

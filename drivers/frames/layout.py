"""A byte frame's layout, compiled: every part of the description as a mask and a table.

All that can be wrong with a layout is found here, before a byte is read, and named by its key.
"""

import msgspec

from drivers.frames import checksums
from drivers.frames.description import BytesFrame, Coded, Description
from drivers.frames.places import BitField, Digit, Places, Test, code_value, make_digit
from meterlink.errors import InvalidFileError
from meterlink.quantities.text import plain


class Lookup(msgspec.Struct, frozen=True):
    """A code: its bits, and what each value of them stands for."""

    mask: int
    means: dict[int, str]
    """Masked frame to the code as the description writes it."""
    drawn: dict[str, int]


class Layout(msgspec.Struct, frozen=True, kw_only=True):
    """A byte frame, compiled."""

    length: int
    marks: Test
    """What is the same in every frame: marks and counted half bytes."""
    tail: bytes
    """The bytes that end every frame."""
    self_marking: bool
    """Whether a frame's beginning cannot be taken for anything else."""
    digits: tuple[Digit, ...]
    count: tuple[int, ...]
    """The bytes of a binary number, the uppermost first; empty where there are digits."""
    key: int
    """What each frame was combined with by exclusive or; 0 for nothing."""
    flags: dict[str, Test]
    minus: Test | None
    plus: tuple[Test, ...]
    """Every way to say plus, where that is a character; empty where it is a clear flag."""
    point: Lookup | None
    function: Lookup | None
    range: Lookup | None
    status_mask: int
    """All bits but those of marks, digits and checksum that mean anything."""


def compile_layout(wire: Description) -> Layout:
    """Return the layout of a format with byte frames.

    Raises:
        InvalidFileError: it is impossible; names the key.
    """
    frame = wire.frame
    if not isinstance(frame, BytesFrame) or (wire.digits is None) == (wire.count is None):
        raise InvalidFileError(
            "digits: missing, or beside count; a byte frame needs to say where its digits are, or "
            "its binary number"
        )
    _check_length(frame)
    places = Places(frame.length)
    marks = _marks(frame, places)
    _claim_checksum(frame, places)
    digits: tuple[Digit, ...] = ()
    if wire.digits is not None:
        told = wire.digits
        digits = tuple(make_digit(told, number, places) for number in range(len(told.at)))
    for byte in wire.count.at if wire.count is not None else ():
        places.claim(places.byte(byte, "count.at").mask, "count.at")
    flags = {}
    for name, at in wire.flags.items():
        flags[name] = places.flag(at, f"flags.{name}")
        places.claim(flags[name].mask, f"flags.{name}", shared="=" in at)
    minus, plus = _sign(wire, flags, places)
    point = _point(wire, places)
    function = _lookup(wire.function, "function", [mode.function for mode in wire.modes], places)
    ranges = _lookup(
        wire.range, "range", [r.code for mode in wire.modes for r in mode.ranges], places
    )
    status_mask = 0
    for test in flags.values():
        status_mask |= test.mask
    for part in (minus, point, function, ranges):
        status_mask |= part.mask if part is not None else 0
    head = _edge(frame, marks, last=False)
    return Layout(
        length=frame.length,
        marks=marks,
        tail=_tail(frame, marks),
        self_marking=bool(frame.sequence or frame.checksum or head),
        digits=digits,
        count=wire.count.at if wire.count is not None else (),
        key=_key(frame),
        flags=flags,
        minus=minus,
        plus=plus,
        point=point,
        function=function,
        range=ranges,
        status_mask=status_mask,
    )


def _check_length(frame: BytesFrame) -> None:
    if frame.length_byte is not None and frame.end:
        raise InvalidFileError("frame.end: not beside length_byte; the length is told in one way")
    if frame.shortest is not None and frame.shortest > frame.length:
        raise InvalidFileError("frame.shortest: is more than length")
    check = frame.checksum
    if check is not None and (check.kind == "crc") != (check.poly is not None):
        raise InvalidFileError("frame.checksum.poly: needed for a crc, and for nothing else")


def _key(frame: BytesFrame) -> int:
    if not frame.xor:
        return 0
    key = _hex(frame.xor, "frame.xor")
    return int.from_bytes((key * frame.length)[: frame.length])


def _tail(frame: BytesFrame, marks: Test) -> bytes:
    """Return the bytes that end every frame, as they come."""
    if frame.end:
        return _hex(frame.end, "frame.end")
    if frame.length_byte is not None:
        return b""
    tail = _edge(frame, marks, last=True)
    key = _key(frame).to_bytes(frame.length)
    return bytes(a ^ b for a, b in zip(tail, key[frame.length - len(tail) :], strict=True))


def _marks(frame: BytesFrame, places: Places) -> Test:
    """Return what never changes in a frame, and claim it."""
    mask = value = 0
    if frame.sequence is not None:
        for at in range(frame.length):
            half = places.field(f"{at}.{frame.sequence.nibble}", "frame.sequence")
            mask |= half.mask
            value |= ((frame.sequence.first + at) & 0xF) << half.shift
        places.claim(mask, "frame.sequence")
    for number, mark in enumerate(frame.marks):
        key = f"frame.marks[{number}]"
        known = _hex(mark.hex, f"{key}.hex")
        bits = _hex(mark.mask, f"{key}.mask") if mark.mask else b"\xff" * len(known)
        if len(bits) != len(known):
            raise InvalidFileError(f"{key}.mask: must be as long as hex")
        for offset, (byte, bit) in enumerate(zip(known, bits, strict=True)):
            place = places.byte(mark.at + offset, f"{key}.at")
            places.claim(bit << place.shift, key)
            mask |= bit << place.shift
            value |= (byte & bit) << place.shift
    if not mask and frame.checksum is None and not frame.end:
        raise InvalidFileError(
            "frame: has no sequence, marks or checksum, so where a frame begins cannot be told"
        )
    return Test(mask, value)


def _hex(text: str, key: str) -> bytes:
    try:
        found = bytes.fromhex(text)
    except ValueError:
        found = b""
    if not found:
        raise InvalidFileError(f"{key}: “{plain(text)}” is not hexadecimal, such as “0D 0A”")
    return found


def _edge(frame: BytesFrame, marks: Test, *, last: bool) -> bytes:
    """Return the bytes that wholly consist of marks at the end of a frame, or at its start."""
    masks = marks.mask.to_bytes(frame.length)
    values = marks.value.to_bytes(frame.length)
    count = 0
    for mask in reversed(masks) if last else masks:
        if mask != 0xFF:
            break
        count += 1
    return values[frame.length - count :] if last else values[:count]


def _claim_checksum(frame: BytesFrame, places: Places) -> None:
    check = frame.checksum
    if check is None:
        return
    key = "frame.checksum"
    tells_length = frame.length_byte is not None or frame.end
    first, last, begins = (
        at if at >= 0 else frame.length + at for at in (check.first, check.last, check.at)
    )
    places.byte(first, f"{key}.first")
    places.byte(last, f"{key}.last")
    if first > last:
        raise InvalidFileError(f"{key}.last: comes before first")
    for at in range(begins, begins + checksums.width(check)):
        mask = places.byte(at, f"{key}.at").mask
        if not tells_length:
            places.claim(mask, key)
        if first <= at <= last:
            raise InvalidFileError(f"{key}.at: byte {at} is among those that it covers")


def _sign(
    wire: Description, flags: dict[str, Test], places: Places
) -> tuple[Test | None, tuple[Test, ...]]:
    sign = wire.sign
    if sign is None:
        return None, ()
    if (sign.flag is None) == (sign.at is None):
        raise InvalidFileError("sign: needs either flag or at")
    if sign.flag is not None:
        if sign.flag not in flags:
            raise InvalidFileError(f"sign.flag: “{plain(sign.flag)}” is not in [flags]")
        return flags[sign.flag], ()
    field = places.field(sign.at if sign.at is not None else -1, "sign.at")
    places.claim(field.mask, "sign.at")
    if sign.minus in sign.plus:
        raise InvalidFileError("sign.plus: holds the character for minus")
    minus = Test(field.mask, code_value(sign.minus, field, "sign.minus") << field.shift)
    plus = tuple(
        Test(field.mask, code_value(c, field, "sign.plus") << field.shift) for c in sign.plus
    )
    return minus, plus


def _point(wire: Description, places: Places) -> Lookup | None:
    point = wire.point
    if point is None or point.at is None:
        if point is not None and point.codes:
            raise InvalidFileError("point.codes: needs point.at, the place of the code")
        return None
    if point.flags:
        raise InvalidFileError("point.flags: not beside point.at; the point is told in one way")
    return _lookup(Coded(at=point.at), "point", list(point.codes), places)


def _lookup(
    coded: Coded | None, name: str, codes: list[str | None], places: Places
) -> Lookup | None:
    """Return the table of a code, and claim its bits."""
    if coded is None:
        if any(code is not None for code in codes):
            raise InvalidFileError(f"{name}: missing, yet codes are given for it")
        return None
    several = coded.at if isinstance(coded.at, tuple) else (coded.at,)
    fields = [places.field(at, f"{name}.at") for at in several]
    mask = 0
    for field in fields:
        places.claim(field.mask, f"{name}.at")
        mask |= field.mask
    drawn = {code: _code_bits(code, fields, name) for code in codes if code is not None}
    if not drawn:
        raise InvalidFileError(f"{name}: no code is given for it")
    return Lookup(mask, {value: code for code, value in drawn.items()}, drawn)


def _code_bits(code: str, fields: list[BitField], name: str) -> int:
    """Return the bits of a code, one part of it for each place."""
    parts = [code] if len(fields) == 1 else code.split(" ")
    if len(parts) != len(fields):
        raise InvalidFileError(
            f"{name}: code “{plain(code)}” must have {len(fields)} parts with a space between"
        )
    return sum(
        code_value(part, field, f"{name}: code") << field.shift
        for part, field in zip(parts, fields, strict=True)
    )

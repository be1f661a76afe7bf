"""Byte formats that nobody has seen: descriptions put together at random, each a sound one."""

import random

import msgspec
import tomli_w

from drivers.frames import checksums
from drivers.frames.description import Description
from drivers.frames.frame_format import FrameFormat
from drivers.frames.store import sample_bytes
from meterlink.errors import FaultFoundError

CODINGS = ("ascii", "bcd", "segments", "binary")


FILLER = 4
"""Most bytes that a frame of variable length has for something else, such as a bar."""


def made_format(seed: int, varies: str = "") -> FrameFormat:
    """Return the format number ``seed``; ``varies``: frames tell their length by byte or end."""
    rng = random.Random(seed)
    while True:
        try:
            return _made(rng, varies)
        except FaultFoundError:
            continue  # parts that overlap


def sent(wire: FrameFormat, longest: bytes, rng: random.Random) -> bytes:
    """Return a frame of variable length as its meter may send it: some bytes for something else."""
    told = wire.description.frame
    key = int(told.xor or "00", 16)
    data = bytes(byte ^ key for byte in longest)
    end = bytes(byte ^ key for byte in bytes.fromhex(told.end))
    behind = len(end) + (checksums.width(told.checksum) if told.checksum else 0)
    front = told.shortest - behind
    filler = bytes(rng.choice(range(0x10, 0xFF)) for _ in range(rng.randrange(FILLER + 1)))
    data = data[:front] + filler + data[len(data) - behind :]
    if told.length_byte:
        at = told.length_byte.at
        data = data[:at] + bytes([len(data) - told.length_byte.adds]) + data[at + 1 :]
    if told.checksum:
        value, at = checksums.written(told.checksum, data), checksums.place(told.checksum, data)
        data = data[:at] + value + data[at + len(value) :]
    return bytes(byte ^ key for byte in data)


def _made(rng: random.Random, varies: str) -> FrameFormat:
    coding = rng.choice(CODINGS)
    count = rng.choice((4, 4, 5))
    tables: dict = {}
    body = 1 if rng.random() < 0.8 else 2
    body = max(body, 2) if varies else body
    at = body
    if coding == "ascii":
        tables["digits"] = {"coding": "ascii", "at": list(range(at, at + count))}
        at += count
    elif coding == "bcd":
        halves = [f"{at + n // 2}.{'high' if n % 2 == 0 else 'low'}" for n in range(count)]
        tables["digits"] = {"coding": "bcd", "at": halves}
        at += (count + 1) // 2
    elif coding == "segments":
        bits = rng.sample(range(8), 7)
        tables["digits"] = {
            "coding": "segments",
            "at": [
                {name: f"{at + n}.{bit}" for name, bit in zip("abcdefg", bits, strict=True)}
                for n in range(count)
            ],
            "leading_blank": rng.random() < 0.5,
        }
        at += count
    else:
        size = rng.choice((2, 3))
        places = list(range(at, at + size))
        tables["count"] = {
            "at": places if rng.random() < 0.5 else places[::-1],
            "largest": 9999,
            "signed": rng.random() < 0.5,
        }
        at += size
    flags: dict[str, str] = {}
    status = at
    at += 3
    spare = [f"{status + n // 8}.{n % 8}" for n in rng.sample(range(8, 24), 12)]
    modes = []
    if rng.random() < 0.5:
        codes = rng.sample("123456789ABC", 6)
        tables["function"] = {"at": f"{status}.high"}
        tables["range"] = {"at": f"{status}.low"}
        for quantity, first in (("resistance", -2), ("voltage", -3)):
            ranges = [{"code": codes[n], "resolution": float(f"1e{first + n}")} for n in range(4)]
            modes.append({"quantity": quantity, "function": codes[len(modes)], "ranges": ranges})
    else:
        flags |= {"ohm": spare.pop(), "volt": spare.pop(), "kilo": spare.pop(), "mega": spare.pop()}
        tables["prefixes"] = {"kilo": 1e3, "mega": 1e6}
        tables["point"] = {"at": f"{status}.low", "codes": {"1": 1, "2": 2, "4": 3}}
        modes.append({"quantity": "resistance", "flags": ["ohm"], "prefixes": ["kilo", "mega"]})
        modes.append({"quantity": "voltage", "flags": ["volt"]})
    flags |= {"over": spare.pop(), "hold": spare.pop(), "battery_low": spare.pop()}
    if "count" not in tables or not tables["count"]["signed"]:
        flags["minus"] = spare.pop()
        tables["sign"] = {"flag": "minus"}
    tables["overload"] = {"flag": "over"}
    frame: dict = {"kind": "bytes", "marks": [{"at": 0, "hex": f"{rng.randrange(1, 256):02X}"}]}
    at = _finish(rng, frame, at, varies)
    if rng.random() < 0.3:
        frame["xor"] = rng.choice(("FF", "5A", "A5"))
    frame["length"] = at
    whole = {
        "format": 1, "name": "made", "title": "made", "facts": "defined here", "source": "made",
        "line": {"baud": 9600}, "rate": {"slowest_hz": 2, "usual_hz": 4}, "frame": frame,
        "modes": modes, "flags": flags, "samples": [{"hex": "00", "refused": True}], **tables,
    }  # fmt: skip
    wire = FrameFormat(msgspec.toml.decode(tomli_w.dumps(whole).encode(), type=Description))
    sample_bytes(wire, wire.description.samples[0])
    return wire


def _finish(rng: random.Random, frame: dict, at: int, varies: str) -> int:
    """Checksum, end and what tells the length; returns the whole length."""
    kind = rng.choice(("sum", "xor", "negative-sum", "crc", ""))
    crlf = varies == "end" or (rng.random() < 0.4 and not varies)
    at += FILLER if varies else 0
    # From the end where the length varies.
    total = at + {"crc": 2, "": 0}.get(kind, 1) + (2 if crlf else 0)
    last, place = (at - 1 - total, at - total) if varies else (at - 1, at)
    if kind == "crc":
        frame["checksum"] = {
            "kind": "crc", "bits": 16, "poly": 0x8005, "start": 0xFFFF, "reflected": True,
            "order": "little", "first": 0, "last": last, "at": place,
        }  # fmt: skip
        at += 2
    elif kind:
        first = rng.choice((0, 1))
        frame["checksum"] = {"kind": kind, "first": first, "last": last, "at": place}
        at += 1
    if varies:
        frame["shortest"] = total - FILLER
    if varies == "byte":
        frame["length_byte"] = {"at": 1, "adds": rng.choice((0, 1, 2))}
    elif varies == "end":
        frame["end"] = "0D 0A"
        at += 2
    elif crlf:
        frame["marks"].append({"at": at, "hex": "0D 0A"})
        at += 2
    return at

"""Bytes to readings a second: each wire's decoder against a loop written for that format alone.

Both are fed the same stream in pieces of 64 bytes, and make the same ``Reading`` with the same raw
text. The loops look for a frame's beginning again when they are out of step, and check what makes a
frame sound, as a careful author would. Run: ``python tests/benchmarks/wire_decoding.py``.
"""

import random
import sys
import time
from collections.abc import Callable, Iterator
from math import inf
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.frames.store import load
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading

READINGS = 20_000
PIECE = 64
OHM = Quantity.RESISTANCE
Feed = Callable[[bytes], list[Reading]]

SEGMENTS = {
    0x7D: 0, 0x05: 1, 0x5B: 2, 0x1F: 3, 0x27: 4, 0x3E: 5, 0x7E: 6, 0x15: 7, 0x7F: 8, 0x3F: 9,
    0x35: 7, 0x6E: 6, 0x37: 9,
}  # fmt: skip


def frames_of(length: int, sound: Callable[[bytes], bool]) -> Callable[[bytes], list[bytes]]:
    rest = b""

    def cut(data: bytes) -> list[bytes]:
        nonlocal rest
        data = rest + data
        at, found = 0, []
        while at + length <= len(data):
            frame = data[at : at + length]
            if sound(frame):
                found.append(frame)
                at += length
            else:
                at += 1
        rest = data[at:]
        return found

    return cut


def lines_of() -> Callable[[bytes], list[bytes]]:
    rest = b""

    def cut(data: bytes) -> list[bytes]:
        nonlocal rest
        *found, rest = (rest + data).replace(b"\r", b"\n").split(b"\n")
        return [line for line in found if line]

    return cut


def lcd() -> Feed:
    cut = frames_of(14, lambda f: all(byte >> 4 == at for at, byte in enumerate(f, 1)))

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for f in cut(data):
            if f[11] & 15 != 4 or f[9] & 13 or f[10] & 13 or f[12] & 14:
                continue
            patterns = [(f[at] & 7) << 4 | f[at + 1] & 15 for at in (1, 3, 5, 7)]
            factor = 1000 if f[9] & 2 else 1_000_000 if f[10] & 2 else 1
            behind = 1000 if f[3] & 8 else 100 if f[5] & 8 else 10 if f[7] & 8 else 1
            raw, resolution = f.hex(" "), factor / behind
            if patterns == [0, 0x7D, 0x68, 0] or patterns == [5, 0, 0, 0]:
                readings.append(Reading(0.0, inf, OHM, resolution, True, raw))
                continue
            number, begun = 0, False
            for pattern in patterns:
                if pattern == 0 and not begun:
                    continue
                digit = SEGMENTS.get(pattern)
                if digit is None:
                    break
                number, begun = number * 10 + digit, True
            else:
                number = -number if f[1] & 8 else number
                value = number * factor / behind
                readings.append(Reading(0.0, value, OHM, resolution, False, raw))
        return readings

    return feed


def ascii14() -> Feed:
    cut = frames_of(14, lambda f: f[12:] == b"\r\n" and f[5] == 32 and f[0] in b"+-")
    points = {48: 1, 49: 1000, 50: 100, 52: 10}

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for f in cut(data):
            if f[10] != 32 or f[6] not in points or f[9] & 14 or f[7] & 24:
                continue
            factor = 1000 if f[9] & 32 else 1_000_000 if f[9] & 16 else 1
            behind = points[f[6]]
            raw, resolution = f.hex(" "), factor / behind
            digits = f[1:5]
            sign = -1 if f[0] == 45 else 1
            if digits == b"?0:?":
                readings.append(Reading(0.0, sign * inf, OHM, resolution, True, raw))
            elif digits.isdigit():
                value = sign * int(digits) * factor / behind
                readings.append(Reading(0.0, value, OHM, resolution, False, raw))
        return readings

    return feed


def ascii11() -> Feed:
    cut = frames_of(11, lambda f: f[9:] == b"\r\n")

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for f in cut(data):
            if f[5] != 0x33 or not 48 <= f[0] <= 53 or f[6] >> 4 != 3 or f[8] & 12:
                continue
            factor = 10 ** (f[0] - 48)
            raw, resolution = plain(f[:9].decode("latin-1")), factor / 10
            sign = -1 if f[6] & 4 else 1
            digits = f[1:5]
            if f[6] & 1:
                readings.append(Reading(0.0, sign * inf, OHM, resolution, True, raw))
            elif digits.isdigit() and int(digits) <= 3999:
                value = sign * int(digits) * factor / 10
                readings.append(Reading(0.0, value, OHM, resolution, False, raw))
        return readings

    return feed


def bcd8() -> Feed:
    cut = frames_of(8, lambda f: f[0] == 0xA5 and sum(f[:7]) & 255 == f[7])

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for f in cut(data):
            reach = f[1] & 15
            if f[1] >> 4 != 1 or reach > 5:
                continue
            factor = 10**reach
            raw, resolution = f.hex(" "), factor / 100
            sign = -1 if f[2] & 1 else 1
            digits = [f[3] & 15, f[4] >> 4, f[4] & 15, f[5] >> 4, f[5] & 15]
            if digits == [1, 15, 15, 15, 15]:
                readings.append(Reading(0.0, sign * inf, OHM, resolution, True, raw))
                continue
            number, begun = 0, False
            for digit in digits:
                if digit == 15 and not begun:
                    continue
                if digit > 9:
                    break
                number, begun = number * 10 + digit, True
            else:
                value = sign * number * factor / 100
                readings.append(Reading(0.0, value, OHM, resolution, False, raw))
        return readings

    return feed


def text() -> Feed:
    cut = lines_of()
    units = {"ohm": 0, "kohm": 3, "Mohm": 6}

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for line in cut(data):
            words = line.decode("utf-8").split()
            if len(words) < 2 or words[1] not in units:
                continue
            power, raw = units[words[1]], plain(line.decode("utf-8").strip())
            if words[0] in ("OL", "O.L", "0L", "0.L", "OVER"):
                readings.append(Reading(0.0, inf, OHM, None, True, raw))
                continue
            try:
                value = float(f"{words[0]}e{power}")
            except ValueError:
                continue
            resolution = 10.0 ** (power - len(words[0].partition(".")[2]))
            readings.append(Reading(0.0, value, OHM, resolution, False, raw))
        return readings

    return feed


def scpi() -> Feed:
    cut = lines_of()

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for line in cut(data):
            shown = line.decode("ascii")
            if shown[0] not in "+-":
                continue
            try:
                value = float(shown)
            except ValueError:
                continue
            if abs(value) > 9.8e37:
                readings.append(Reading(0.0, inf, OHM, None, True, plain(shown)))
                continue
            mantissa, _, power = shown.partition("E")
            resolution = 10.0 ** (int(power) - len(mantissa.partition(".")[2]))
            readings.append(Reading(0.0, value, OHM, resolution, False, plain(shown)))
        return readings

    return feed


def polled() -> Feed:
    cut = lines_of()
    units = {"ohm": 0, "kohm": 3, "Mohm": 6}

    def feed(data: bytes) -> list[Reading]:
        readings = []
        for line in cut(data):
            words = line.decode("ascii").split(",")
            if len(words) < 3 or words[0] != "RES" or words[2] not in units:
                continue
            power, raw = units[words[2]], plain(line.decode("ascii"))
            if words[1] == "OVER":
                readings.append(Reading(0.0, inf, OHM, None, True, raw))
                continue
            try:
                value = float(f"{words[1]}e{power}")
            except ValueError:
                continue
            resolution = 10.0 ** (power - len(words[1].partition(".")[2]))
            readings.append(Reading(0.0, value, OHM, resolution, False, raw))
        return readings

    return feed


BY_HAND: dict[str, Callable[[], Feed]] = {
    "text-number-unit": text,
    "scpi-numbers": scpi,
    "polled-line": polled,
    "lcd-segments-14": lcd,
    "ascii-digits-14": ascii14,
    "ascii-digits-11": ascii11,
    "bcd-nibbles-8": bcd8,
}


def compiled(name: str) -> Feed:
    decoder = load(name).decoder()
    decoder.expect_whole()

    def feed(data: bytes) -> list[Reading]:
        return [r for frame in decoder.feed(data) if (r := frame.reading(0.0)) is not None]

    return feed


def values(rng: random.Random) -> Iterator[float]:
    """A steady reading with noise in the last digits, one in twenty over range."""
    for _ in range(READINGS):
        yield inf if rng.random() < 0.05 else 5130.0 * (1 + rng.gauss(0, 0.01))


def timed(feed: Feed, pieces: list[bytes]) -> tuple[float, list[Reading]]:
    readings: list[Reading] = []
    began = time.perf_counter()
    for piece in pieces:
        readings += feed(piece)
    return time.perf_counter() - began, readings


def agree(ours: Reading, theirs: Reading) -> bool:
    return (
        ours.value == theirs.value and ours.overload == theirs.overload and ours.raw == theirs.raw
    )


def main() -> None:
    print(f"{READINGS} readings in pieces of {PIECE} bytes, best of five, readings a second")
    print(f"{'wire':<18}{'compiled':>12}{'by hand':>12}{'ratio':>8}")
    for name, by_hand in BY_HAND.items():
        encoder = load(name).encoder()
        rng = random.Random(1)
        data = b"".join(encoder.frame(value) for value in values(rng))
        pieces = [data[at : at + PIECE] for at in range(0, len(data), PIECE)]
        ours = theirs = inf
        for _ in range(5):  # in turn, so that both meet the same weather
            seconds, read = timed(compiled(name), pieces)
            ours = min(ours, seconds)
            seconds, read_by_hand = timed(by_hand(), pieces)
            theirs = min(theirs, seconds)
        if len(read) != READINGS or not all(map(agree, read, read_by_hand)):
            raise SystemExit(f"{name}: the two do not read the same")
        print(
            f"{name:<18}{READINGS / ours:>12,.0f}{READINGS / theirs:>12,.0f}{ours / theirs:>7.2f}x"
        )


if __name__ == "__main__":
    main()

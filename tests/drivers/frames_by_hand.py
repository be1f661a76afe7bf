"""Three of the shipped layouts read by loops written for each alone: an outside opinion.

They know nothing of descriptions, and are the yardstick of what a frame of each format says, and
of how fast it can be read.
"""

from math import inf

SEGMENT_DIGITS = {
    # Bits of the two bytes of a digit: e f a from the first, then d c g b from the second.
    0b1111101: 0, 0b0000101: 1, 0b1011011: 2, 0b0011111: 3, 0b0100111: 4,
    0b0111110: 5, 0b1111110: 6, 0b0010101: 7, 0b1111111: 8, 0b0111111: 9,
    # 7 with its upper left, 6 without its top, 9 without its bottom.
    0b0110101: 7, 0b1101110: 6, 0b0110111: 9,
}  # fmt: skip
SEGMENTS_OF = {0b0000000: " ", 0b1101000: "L", 0b1111010: "E", 0b0000010: "-"}
LCD_FACTORS = {(0, 0): 1.0, (2, 0): 1e3, (0, 2): 1e6}


def lcd_ohms(frame: bytes) -> float | None:
    """Ohms in a frame of lcd-segments-14 on resistance, infinite over range; None if unsound."""
    if len(frame) != 14 or any(byte >> 4 != at for at, byte in enumerate(frame, 1)):
        return None
    low = [byte & 15 for byte in frame]
    # Of the flags that tell the knob only ohm is on; ac and dc tell nothing then but must be off.
    if low[0] & 0b1100 or low[9] & 0b0001 or low[10] & 0b0101 or low[11] & 0b1100 != 0b0100:
        return None
    if low[12] & 0b1110 or low[13] & 1:
        return None
    prefixes = (low[9] & 0b1110, low[10] & 0b1010)
    if prefixes not in LCD_FACTORS:
        return None
    points = [place for place, at in ((3, 3), (2, 5), (1, 7)) if low[at] & 8]
    if len(points) > 1:
        return None
    shown = ""
    for at in (1, 3, 5, 7):
        pattern = (low[at] & 7) << 4 | low[at + 1]
        shown += str(SEGMENT_DIGITS.get(pattern, SEGMENTS_OF.get(pattern, "?")))
    sign = -1 if low[1] & 8 else 1
    if shown in (" 0L ", "1   ", "0L  ", "  0L"):
        return sign * inf
    if not shown.strip(" ").isdigit() or shown.endswith(" ") or " " in shown.lstrip(" "):
        return None
    return sign * int(shown) * LCD_FACTORS[prefixes] / 10 ** (points[0] if points else 0)


def ascii14_ohms(frame: bytes) -> float | None:
    """Ohms in a frame of ascii-digits-14 on resistance, infinite over range; None if unsound."""
    if len(frame) != 14 or frame[5] != 0x20 or frame[12:] != b"\r\n" or frame[0] not in b"+-":
        return None
    if frame[7] & 0b11000 or frame[9] & 0b1110 or frame[10] & 0b11111111 != 0b100000:
        return None
    prefixes = (frame[8] & 2, frame[9] & 0xF0)
    factor = {(0, 0): 1.0, (0, 0x20): 1e3, (0, 0x10): 1e6}.get(prefixes)
    behind = {0x30: 0, 0x31: 3, 0x32: 2, 0x34: 1}.get(frame[6])
    if factor is None or behind is None:
        return None
    sign = -1 if frame[0] == 0x2D else 1
    digits = frame[1:5]
    if digits == b"?0:?":
        return sign * inf
    if not digits.isdigit():
        return None
    return sign * int(digits) * factor / 10**behind


def ascii11_ohms(frame: bytes) -> float | None:
    """Ohms in a frame of ascii-digits-11 on resistance, infinite over range; None if unsound."""
    if len(frame) != 11 or frame[9:] != b"\r\n" or any(b >> 4 != 3 for b in frame[6:9]):
        return None
    if frame[5] != 0x33 or frame[8] & 0b1100 or not 0x30 <= frame[0] <= 0x35:
        return None
    sign = -1 if frame[6] & 4 else 1
    digits = frame[1:5]
    if frame[6] & 1:
        return sign * inf
    if not digits.isdigit() or int(digits) > 3999:
        return None
    return sign * int(digits) * 10 ** (frame[0] - 0x30) / 10


BY_HAND = {
    "lcd-segments-14": lcd_ohms,
    "ascii-digits-14": ascii14_ohms,
    "ascii-digits-11": ascii11_ohms,
}

"""A serial line between two ends that need not agree on its settings."""

from collections.abc import Iterator

from drivers.links.link import LineSettings


def decode_at_wrong_settings(data: bytes, sent: LineSettings, heard: LineSettings) -> bytes:
    """Return what a receiver set to ``heard`` takes ``data`` for that was sent as ``sent``.

    The receiver waits for a falling edge and then samples each bit in its middle, as every
    asynchronous receiver does. It hands on characters with a wrong parity or stop bit, as
    serial drivers do unless told otherwise.
    """
    if sent == heard:
        return data
    levels = list(_levels(data, sent))
    ratio = sent.baud / heard.baud  # sent bits in one heard bit
    received = bytearray()
    at = 0.0
    while (start := _falling_edge(levels, at)) is not None:
        value = 0
        for bit in range(heard.data_bits):
            value |= _level(levels, start + (1.5 + bit) * ratio) << bit
        received.append(value)
        # A receiver looks for the next start from the middle of the stop bit on.
        bits = 1 + heard.data_bits + (heard.parity != "none") + 0.5
        at = start + bits * ratio
    return bytes(received)


def _levels(data: bytes, line: LineSettings) -> Iterator[int]:
    """Yield the line's level for each bit time; it rests high."""
    yield 1
    for byte in data:
        bits = [byte >> number & 1 for number in range(line.data_bits)]
        yield 0
        yield from bits
        if line.parity != "none":
            yield _parity(sum(bits), line.parity)
        yield from (1,) * line.stop_bits


def _parity(ones: int, parity: str) -> int:
    fixed = {"mark": 1, "space": 0}
    if parity in fixed:
        return fixed[parity]
    return ones % 2 if parity == "even" else 1 - ones % 2


def _level(levels: list[int], at: float) -> int:
    return levels[int(at)] if at < len(levels) else 1


def _falling_edge(levels: list[int], at: float) -> int | None:
    """Return the first falling edge at or after ``at``, in bit times."""
    for place in range(max(1, int(at) + (at > int(at))), len(levels)):
        if levels[place] == 0 and levels[place - 1] == 1:
            return place
    return None

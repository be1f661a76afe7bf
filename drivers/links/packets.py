"""The payload of a packet: which bytes of a report, or of a radio's notification, are the meter's.

Meters that come as an HID device, or by radio, send the same frames as others, in packets with some
bytes of their own. No I/O, and nothing of any one way to carry packets.
"""

from typing import Annotated, Literal

import msgspec

Byte = Annotated[int, msgspec.Meta(ge=0, le=255)]


class Packets(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How frames lie in packets, and what makes a meter send them."""

    vendor: Annotated[str, msgspec.Meta(pattern="^([0-9a-fA-F]{4})?$")] = ""
    product: Annotated[str, msgspec.Meta(pattern="^([0-9a-fA-F]{4})?$")] = ""
    """The device's own numbers, hexadecimal, as ``meterlink meters`` lists them."""
    size: Annotated[int, msgspec.Meta(ge=1, le=1024)] = 64
    """Bytes in a report, its number aside."""
    skip: Byte = 0
    """Bytes at the front that are no payload."""
    count: Byte | None = None
    """How many of the bytes that follow are payload; None for all."""
    count_at: Byte | None = None
    """The byte that says how many; it lies before the payload."""
    count_mask: Byte = 0xFF
    """Which bits of it do."""
    start: tuple[str, ...] = ()
    """Reports to send when it is opened, in hexadecimal, each begun with its number."""
    start_kind: Literal["output", "feature"] = "output"

    def payload(self, report: bytes) -> bytes:
        """Return the payload of one report; a report cut short gives what it has."""
        rest = report[self.skip :]
        if self.count_at is not None:
            if self.count_at >= len(report):
                return b""
            return rest[: report[self.count_at] & self.count_mask]
        return rest if self.count is None else rest[: self.count]

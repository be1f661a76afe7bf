"""A frame format: one description, compiled into decoders and an encoder."""

from collections.abc import Callable
from math import log2

from drivers.frames import byte_frames, lines
from drivers.frames.byte_frames import BytesEncoder
from drivers.frames.description import FORMAT, BytesFrame, Description, LinesFrame
from drivers.frames.framing import BytesFraming, Decoder, Frame, LineFraming
from drivers.frames.layout import compile_layout
from drivers.frames.lines import LinesEncoder
from drivers.frames.scales import compile_scales
from drivers.links.link import LineSettings
from meterlink.errors import InvalidFileError
from meterlink.judging.accuracy import Accuracy

Encoder = BytesEncoder | LinesEncoder


def span_of(frame: BytesFrame | LinesFrame) -> Callable[[bytes], int | None] | None:
    """Return the function from the bytes at a frame's start to its length; None: it is fixed."""
    if not isinstance(frame, BytesFrame):
        return None
    shortest, longest = frame.shortest or frame.length, frame.length
    key = (bytes.fromhex(frame.xor) or b"\0") * longest
    told = frame.length_byte
    if told is not None:

        def by_byte(data: bytes) -> int | None:
            if len(data) <= told.at:
                return None
            span = (data[told.at] ^ key[told.at]) + told.adds
            return span if shortest <= span <= longest else 0

        return by_byte
    if not frame.end:
        return None
    end = bytes.fromhex(frame.end)

    def by_end(data: bytes) -> int | None:
        found = data.find(end, shortest - len(end))
        if found < 0:
            return 0 if len(data) >= longest else None
        return found + len(end)

    return by_end


class FrameFormat:
    """One frame format, compiled and free of contradictions."""

    def __init__(self, description: Description, *, own: bool = False) -> None:
        """Compile ``description``; ``own`` where it is the user's, not one of ours.

        Raises:
            InvalidFileError: it is impossible; names the key.
        """
        if description.format != FORMAT:
            raise InvalidFileError(
                f"format: {description.format} is not known here, only {FORMAT}; "
                "a newer program may read it"
            )
        if description.start is not None and not _is_hex(description.start.hex):
            raise InvalidFileError("start.hex: is not hexadecimal, such as “55 AA”")
        if description.hid is not None and not all(map(_is_hex, description.hid.start)):
            raise InvalidFileError("hid.start: is not hexadecimal, such as “00 4B 01”")
        if description.rate.usual_hz < description.rate.slowest_hz:
            raise InvalidFileError("rate.usual_hz: is less than slowest_hz")
        self.description = description
        self.own = own
        frame = description.frame
        if isinstance(frame, BytesFrame):
            self._layout = compile_layout(description)
            self._scales = compile_scales(description, self._layout)
            self._lines = None
            if description.text is not None or description.overload.words:
                raise InvalidFileError("text, overload.words: only where frame.kind is lines")
        else:
            self._lines = lines.compile_lines(description)

    @property
    def name(self) -> str:
        """What it is called after ``--frames``."""
        return self.description.name

    @property
    def longest(self) -> int:
        """Most bytes in a frame, its end included."""
        frame = self.description.frame
        if isinstance(frame, BytesFrame):
            return frame.length
        return (frame.length or frame.longest) + len(frame.end)

    @property
    def settings(self) -> tuple[LineSettings, ...]:
        """Line settings that meters of this frame format are found with, the usual ones first."""
        line = self.description.line
        fields = {name: getattr(line, name) for name in line.__struct_fields__}
        others = (LineSettings(**{**fields, "baud": baud}) for baud in self.description.other_bauds)
        return (line, *others)

    def decoder(self) -> Decoder:
        """Return a decoder for one stream."""
        if self._lines is None:
            layout = self._layout
            read = byte_frames.compile_reader(self.description, layout, self._scales)
            return Decoder(
                BytesFraming(
                    read,
                    layout.length,
                    layout.tail,
                    self_marking=layout.self_marking,
                    span=span_of(self.description.frame),
                )
            )
        frame = self._lines.frame
        reader = lines.LineReader(self._lines)
        return Decoder(
            LineFraming(
                reader.read,
                lines.begins_with_line(self._lines),
                self._lines.end,
                frame.length or frame.longest,
                self_marking=self._lines.self_marking,
            )
        )

    @property
    def start_bytes(self) -> bytes:
        """What the meter wants to hear before it sends; empty for nothing."""
        start = self.description.start
        return bytes.fromhex(start.hex) if start is not None else b""

    def encoder(self) -> Encoder:
        """Return an encoder, for a simulated meter."""
        if self._lines is None:
            return BytesEncoder(self.description, self._layout, self._scales)
        return LinesEncoder(self._lines)

    def accuracies(self) -> tuple[Accuracy, ...]:
        """Return the accuracy of each mode and range that the description gives one for."""
        encoder = self.encoder()
        numbers = range(len(self.description.modes))
        found = (scale.accuracy for number in numbers for scale in encoder.scales(number))
        return tuple(dict.fromkeys(accuracy for accuracy in found if accuracy is not None))

    def evidence(self, frame: Frame) -> float:
        """Return how much one whole frame tells, in bits.

        A frame of random bytes passes for a sound one once in 2 to this many.
        """
        if self._lines is not None:
            # A character of a line is one of some 12 out of 256 that could have come.
            return len(frame.data) * log2(256 / 12)
        layout = self._layout
        bits = float(layout.marks.mask.bit_count())
        frame_part = self.description.frame
        if isinstance(frame_part, BytesFrame) and frame_part.checksum is not None:
            bits += frame_part.checksum.bits
        tables = [(digit.mask, len(digit.shows)) for digit in layout.digits]
        tables += [
            (code.mask, len(code.means))
            for code in (layout.function, layout.range, layout.point)
            if code is not None
        ]
        for mask, known in tables:
            bits += mask.bit_count() - log2(known)
        return bits


def _is_hex(text: str) -> bool:
    try:
        return bool(bytes.fromhex(text))
    except ValueError:
        return False

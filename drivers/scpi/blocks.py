"""Answers cut out of a byte stream, arbitrary blocks among them. No I/O.

IEEE 488.2 sections 8.7.9 and 8.7.10. Definite block: ``#``, one digit d from 1 to 9, d digits of
length, that many bytes, any of which may look like an end of line. Indefinite block: ``#0``,
bytes up to the line feed that ends the message.
"""

import re
from typing import Final

LONGEST: Final = 65536
"""Longest answer kept, bytes: over a thousand readings at their longest."""

_END: Final = re.compile(rb"[\r\n]")
_WHITE: Final = b" \t\r\n"
_PADDING: Final = b"\0\x11\x13"
"""NUL, XON and XOFF before an answer mean nothing."""


class AnswerFormError(ValueError):
    """Bytes that are no answer an instrument would give; the text says what is wrong."""


class AnswerDecoder:
    """Strategy: take whatever bytes came, give back whole answers, keep the rest.

    An answer ends with a line feed, a carriage return or both; empty ones are passed over. What
    is kept has a bound, so a peer that never ends a line cannot grow memory.
    """

    def __init__(self, longest: int = LONGEST) -> None:
        self._rest = bytearray()
        self._searched = 0
        self._longest = longest

    def feed(self, data: bytes) -> list[bytes]:
        """Return the answers that ``data`` completes, oldest first, without their ends.

        Raises:
            AnswerFormError: more than the longest answer without an end; what was kept is gone.
        """
        self._rest += data
        answers = []
        while (answer := self._take()) is not None:
            if answer:
                answers.append(answer)
        if len(self._rest) > self._longest and not answers:
            self.clear()
            raise AnswerFormError(f"no end within {self._longest} bytes")
        return answers

    @property
    def unfinished(self) -> bool:
        """Whether something came since the last answer ended."""
        return bool(self._rest.strip())

    def flush(self) -> bytes:
        """Take what is kept for an answer: the peer ends none, and has paused."""
        answer = bytes(self._rest)
        self.clear()
        return answer

    def clear(self) -> None:
        """Forget what is kept of an unfinished answer."""
        self._rest.clear()
        self._searched = 0

    def _take(self) -> bytes | None:
        """Take the first whole answer off ``_rest``, or None while it is unfinished."""
        padding = len(self._rest) - len(self._rest.lstrip(_PADDING))
        if padding:
            del self._rest[:padding]
            self._searched = 0
        try:
            block_end = definite_end(self._rest, self._longest)
        except AnswerFormError:
            self.clear()
            raise
        if block_end is None:
            return None
        found = _END.search(self._rest, max(block_end, self._searched))
        if found is None:
            self._searched = len(self._rest)
            return None
        answer = bytes(self._rest[: found.start()])
        del self._rest[: found.end()]
        self._searched = 0
        return answer


def definite_end(data: bytes | bytearray, longest: int = LONGEST) -> int | None:
    """Return where the definite block at the start of ``data`` ends.

    0 where ``data`` starts with none; None while the block is unfinished.

    Raises:
        AnswerFormError: the block announces more than ``longest`` bytes, or no length.
    """
    if data[:1] != b"#":
        return 0
    if len(data) < 2:
        return None
    if not 0x31 <= data[1] <= 0x39:
        return 0
    start = 2 + data[1] - 0x30
    digits = data[2:start]
    if digits and not digits.isdigit():
        raise AnswerFormError("a block whose length is not a number")
    if len(data) < start:
        return None
    end = start + int(digits)
    if end > longest:
        raise AnswerFormError(f"a block of {int(digits)} bytes, longer than any answer asked for")
    return end if len(data) >= end else None


def unwrap(answer: bytes) -> bytes:
    """Return what the block ``answer`` holds, or ``answer`` itself where it is no block.

    Raises:
        AnswerFormError: the block is cut short, or something follows it.
    """
    answer = answer.lstrip(_WHITE)
    if answer[:2] == b"#0":
        return answer[2:].removesuffix(b"\n")
    end = definite_end(answer)
    if end is None:
        raise AnswerFormError("a block that is cut short")
    if end == 0:
        return answer
    if answer[end:].strip(_WHITE):
        raise AnswerFormError("something follows the block")
    return answer[2 + answer[1] - 0x30 : end]

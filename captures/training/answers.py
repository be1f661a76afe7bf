"""What trainees said before the verdict was shown: a file of its own, never in the capture.

JSON Lines, one answer a line, only ever made longer.
"""

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Final

import msgspec

from captures.record.append_file import AppendFile
from captures.record.reader import ends_whole, is_regular, open_regular
from captures.record.records import LONGEST_LINE
from meterlink.errors import CannotWriteError
from meterlink.events import Verdict
from meterlink.quantities.text import plain

NOT_SAID: Final = ""


class Answer(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="answer"):
    """One verdict as a trainee said it, and what the bench made of the same touch."""

    capture: str
    """Name of the capture's file."""
    started: str
    """RFC 3339 start of that capture: with the name, which one it was."""
    t: float
    """Seconds since the start of the capture."""
    step: str
    position: str = ""
    said: str
    """A verdict code; empty where nothing was said."""
    verdict: Verdict
    """The bench's own."""
    clear: bool
    who: str = ""
    when: str
    """RFC 3339."""

    @property
    def right(self) -> bool:
        """Whether the trainee said what the bench did."""
        return self.said == self.verdict.value


def default_folder() -> Path:
    """Return where answers lie unless the user says otherwise."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "answers"


def add_answer(path: Path, answer: Answer) -> None:
    """Put ``answer`` at the end of the file ``path``, which is made if need be.

    Raises:
        CannotWriteError: it cannot be written.
        InUseError: another program writes it.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(path.parent))} cannot be made: {fault.strerror}"
        ) from fault
    file = AppendFile(path, create=not path.exists())
    try:
        cut = b"" if ends_whole(path) else b"\n"
        file.append(cut + msgspec.json.encode(answer) + b"\n")
    finally:
        file.close()


def read_answers(path: Path) -> Iterator[Answer]:
    """Yield the answers in ``path``, oldest first; none where there is no such file.

    A line that is no answer was cut while it was written, and is passed over.

    Raises:
        UnreadableError: the file cannot be read.
    """
    if not is_regular(path):
        return
    decoder = msgspec.json.Decoder(Answer)
    with open_regular(path) as file:
        while line := file.readline(LONGEST_LINE):
            with suppress(msgspec.DecodeError, UnicodeDecodeError):
                yield decoder.decode(line)

"""Commands and queries over a link, one at a time, with an end to every wait.

Waits are counted in real time, not in the capture's clock: a simulated run may let hours pass
in a second, but the bytes still travel in ours.
"""

import time
from collections import deque
from collections.abc import Iterator
from typing import Final

from drivers.links.link import SLICE_S, Link
from drivers.scpi.blocks import AnswerDecoder, AnswerFormError
from drivers.scpi.error_queue import UNTOLD, Refusal, parse_entry
from drivers.scpi.identity import is_identity
from drivers.scpi.numbers import answer_text
from meterlink.errors import MeterError
from meterlink.quantities.text import plain
from meterlink.source import Stop

ANSWER_S: Final = 2.0
"""How long an instrument may take for a query that it knows, seconds."""
OPTIONAL_S: Final = 0.6
"""How long for one that it may not know: many say nothing at all then."""
_QUEUE_LONGEST: Final = 32
_REFUSED_BITS: Final = 0b0011_1100
"""Event status: command, execution, device-dependent and query error (IEEE 488.2, 11.5.1)."""


class Conversation:
    """One instrument at the other end of a link."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._decoder = AnswerDecoder()
        self._heard: deque[bytes] = deque()
        self._greeting: str | None = None
        self._owed = False
        self._unchecked = False
        self.heard_bytes = 0
        """Bytes that came so far, whether they made sense or not."""
        self._tells_errors: str | None = "SYST:ERR?"

    @property
    def name(self) -> str:
        """The port."""
        return self._link.name

    @property
    def tells_errors(self) -> bool:
        """Whether this instrument says what it refuses; known after ``begin``."""
        return self._tells_errors is not None

    def greet(self, timeout_s: float = ANSWER_S) -> str | None:
        """Ask ``*IDN?`` and return the answer's text, or None where nothing came in time.

        Lines that are no identity are passed over: a banner, or the end of something older.

        Raises:
            MeterError: something answers, but nothing like an identity.
        """
        heard = None
        for answer in self._answers("*IDN?", timeout_s):
            try:
                text = answer_text(answer)
            except AnswerFormError as fault:
                heard = str(fault)
                continue
            if is_identity(text):
                self._greeting = text
                return text
            heard = f"«{plain(text, 40)}» is no answer to *IDN?"
        if heard is not None:
            raise self.rubbish(heard)
        return None

    def tell(self, command: str) -> None:
        """Send a command that has no answer."""
        self._link.write(command.encode("ascii") + b"\n")

    def ask(
        self, query: str, timeout_s: float = ANSWER_S, stop: Stop | None = None
    ) -> bytes | None:
        """Send ``query`` and return its answer, or None: not in time, or ``stop`` was set.

        What came before is thrown away first, so that no stale answer is taken for this one.

        Raises:
            MeterError: what comes has no end.
            PortLostError: the port went away.
        """
        if self._owed and query != "*IDN?":
            self._find_step()
        self._send_afresh(query)
        self._owed = True  # also where an interrupt ends the wait
        answer = self._listen(query.encode("ascii"), timeout_s, stop)
        self._owed = answer is None
        return answer

    def ask_known(self, query: str, timeout_s: float) -> bytes | None:
        """Ask what the instrument may not know; None where it does not.

        Most say nothing to an unknown query, so after a short wait the error queue is asked;
        only where that has no refusal is the query given its whole ``timeout_s``.
        """
        if self._tells_errors is None:
            return self.ask(query, timeout_s)
        answer = self.ask(query, min(OPTIONAL_S, timeout_s))
        self._unchecked = True  # some answer what they refuse, and queue the error all the same
        if answer is None and not self.refusals():
            answer = self.ask(query, timeout_s)
        return answer

    def ask_text(self, query: str) -> str | None:
        """As ``ask_known``, for one of the instrument's settings, as text.

        Raises:
            MeterError: the answer is no text.
        """
        answer = self.ask_known(query, ANSWER_S if self._tells_errors else OPTIONAL_S)
        if answer is None:
            return None
        try:
            return answer_text(answer)
        except AnswerFormError as fault:
            raise self.rubbish(fault) from fault

    def begin(self) -> None:
        """Clear the error queue and find out how this instrument reports errors."""
        self.tell("*CLS")
        if self._first_entry("SYST:ERR?")[0]:
            return
        self._tells_errors = "*ESR?" if self._event_status() is not None else None

    def refusal_of(self, command: str) -> Refusal | None:
        """Send ``command``; return why it was refused, or None where it was taken."""
        if self._unchecked:
            self.refusals()
        self.tell(command)
        said = self.refusals()
        return said[0] if said else None

    def refusals(self) -> list[Refusal]:
        """Empty the error queue and return what it held, oldest first."""
        self._unchecked = False
        if self._tells_errors is None:
            return []
        if self._tells_errors == "*ESR?":
            return [UNTOLD] if (self._event_status() or 0) & _REFUSED_BITS else []
        said: list[Refusal] = []
        while len(said) < _QUEUE_LONGEST:
            _, entry = self._first_entry(self._tells_errors)
            if entry is None:
                break
            said.append(entry)
        return said

    def still_there(self) -> bool:
        """Whether the instrument that was greeted answers, with the conversation in step."""
        return self._find_step()

    def rubbish(self, why: object) -> MeterError:
        """The error for an answer that makes no sense."""
        return MeterError(
            f"what answers at {self.name} does not speak as a SCPI meter does: {why}; "
            "check the line's speed, or name the meter's wire with --wire"
        )

    def _listen(self, echo: bytes, timeout_s: float, stop: Stop | None) -> bytes | None:
        until = time.monotonic() + timeout_s
        while True:
            while self._heard:
                answer = self._heard.popleft()
                if answer.strip() != echo:  # some serial lines send back what they hear
                    return answer
            left = until - time.monotonic()
            if left <= 0 or (stop is not None and stop.is_set()):
                return None
            data = self._link.read(left if self._link.whole else min(SLICE_S, left))
            self.heard_bytes += len(data)
            try:
                self._heard.extend(self._decoder.feed(data))
            except AnswerFormError as fault:
                raise self.rubbish(fault) from fault

    def _send_afresh(self, query: str) -> None:
        """Throw away what came before, then send."""
        self._link.discard()
        self._decoder.clear()
        self._heard.clear()
        self.tell(query)

    def _find_step(self) -> bool:
        """After an answer that did not come in time: wait for the greeting, pass over the rest."""
        for answer in self._answers("*IDN?", ANSWER_S):
            if self._is_greeting(answer):
                self._owed = False
                return True
        return False

    def _is_greeting(self, answer: bytes) -> bool:
        try:
            return answer_text(answer) == self._greeting
        except AnswerFormError:
            return False

    def _first_entry(self, query: str) -> tuple[bool, Refusal | None]:
        """Ask for one entry of the queue: whether anything sensible came, and the entry."""
        for answer in self._answers(query, ANSWER_S):
            try:
                entry = parse_entry(answer_text(answer))
            except AnswerFormError:
                continue  # a late answer to something else
            self._owed = False
            return True, entry
        return False, None

    def _answers(self, query: str, timeout_s: float) -> Iterator[bytes]:
        """Send ``query`` and yield what comes, until the time is over."""
        self._send_afresh(query)
        until = time.monotonic() + timeout_s
        while (left := until - time.monotonic()) > 0:
            answer = self._listen(query.encode("ascii"), left, None)
            if answer is not None:
                yield answer

    def _event_status(self) -> int | None:
        answer = self.ask("*ESR?", OPTIONAL_S)
        try:
            return int(answer) if answer is not None else None
        except ValueError:
            raise self.rubbish(f"«{plain(str(answer), 40)}» is no event status") from None

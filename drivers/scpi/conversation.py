"""Commands and queries over a link, one at a time, with an end to every wait.

Waits are counted in real time, not in the capture's clock: a simulated run may let hours pass
in a second, but the bytes still travel in ours.
"""

import time
from collections import deque
from collections.abc import Iterator
from typing import Final

from drivers.links.link import SLICE_S, Link
from drivers.scpi.answers import (
    AnswerDecoder,
    AnswerFormError,
    answer_text,
    text_or_none,
    without_prompt,
)
from drivers.scpi.dialect import Dialect
from drivers.scpi.status import UNTOLD, Refusal, is_entry, is_identity, may_be_identity, parse_entry
from meterlink.errors import MeterError
from meterlink.quantities.text import plain
from meterlink.source import Stop

ANSWER_S: Final = 2.0
"""How long an instrument may take for a query that it knows, seconds."""
OPTIONAL_S: Final = 0.6
"""How long for one that it may not know: many say nothing at all then."""
BRIEF_S: Final = 0.2
"""The same where an error queue tells soon enough: what is late is then not lost."""
LATE_S: Final = 6.0
"""How long is waited for an instrument to come back into step after an answer that was late."""
_END_S: Final = 0.3
"""Pause after which an answer counts as whole, where an instrument ends none."""
_DEAF_S: Final = (0.0, 0.1, 0.4)
"""Pauses after a command, tried in turn, for an instrument that takes nothing in meanwhile."""
_UNASKED_S: Final = 0.5
"""So long nothing may come by itself from what has answered in one field."""
_SAMPLE: Final = 24
"""Bytes of what was heard that an error shows."""
_QUEUE_LONGEST: Final = 32
_REFUSED_BITS: Final = 0b0011_1100
"""Event status: command, execution, device-dependent and query error (IEEE 488.2, 11.5.1)."""


class Conversation:
    """One instrument at the other end of a link."""

    def __init__(self, link: Link, dialect: Dialect | None = None) -> None:
        """Talk over ``link``, as ``dialect`` says where the user knows how."""
        self._link = link
        self.name = link.name
        self._dialect = dialect or Dialect()
        self._decoder = AnswerDecoder()
        self._heard: deque[bytes] = deque()
        self._greeting: str | None = None
        self._owed = False
        self._unchecked = False
        self._end = self._dialect.end.encode("ascii")
        self._endless = self._dialect.answers_end == "pause"
        self._pause_s = self._dialect.pause_s
        self._told_at = 0.0
        self._sent: deque[bytes] = deque(maxlen=4)
        self.newest = b""
        """The bytes that came last, as many as an error shows."""
        self.heard_bytes = 0
        """Bytes that came so far, whether they made sense or not."""
        self._tells_errors: str | None = "SYST:ERR?"
        self.late = False
        """Whether the answer that was given up came after all; known after ``still_there``."""

    @property
    def end(self) -> str:
        """What ends a command that this instrument takes; known after ``greet``."""
        return self._end.decode("ascii")

    @property
    def tells_errors(self) -> bool:
        """Whether this instrument says what it refuses; known after ``begin``."""
        return self._tells_errors is not None

    def greet(self, timeout_s: float = ANSWER_S, *, otherwise_ended: bool = True) -> str | None:
        """Ask ``*IDN?`` and return the answer's text, or None where nothing came in time.

        Lines that are no identity are passed over: a banner, or the end of something older. Where
        ``otherwise_ended`` and nothing comes, it is asked again with another end.

        Raises:
            MeterError: something answers, but nothing like an identity.
        """
        query = self._dialect.identify
        if not query:
            return None
        heard = self._greet(query, timeout_s)
        silent = self._greeting is None and not self.heard_bytes
        if silent and otherwise_ended and not self._link.whole and self._end == b"\n":
            # A few take a carriage return for the only end. What they heard so far is ended first.
            self._end = b"\r\n"
            self._link.write(self._end)
            heard = self._greet(query, timeout_s)
            if self._greeting is None:
                self._end = b"\n"
        if self._greeting is None and (heard is not None or self.heard_bytes):
            raise self.rubbish(heard or "it sends back what it hears, and no more")
        return self._greeting

    def _greet(self, query: str, timeout_s: float) -> str | None:
        """Ask once; keep the greeting, or return what came instead, None for nothing."""
        heard = None
        for answer in self._answers(query, timeout_s, flush=True):
            text = text_or_none(answer)
            if text is None:
                heard = str(answer) if isinstance(answer, AnswerFormError) else "control bytes"
                continue
            known = text if is_identity(text) else self._identity_again(query, text)
            if known is not None:
                self._greeting = known
                return None
            heard = f"“{plain(text, 40)}” is no answer to {query}"
        return heard

    def _identity_again(self, query: str, text: str) -> str | None:
        """Return the identity, where ``text`` may be one in a single field: asked once more.

        What is one comes again, and nothing comes by itself meanwhile.
        """
        if not may_be_identity(text):
            return None
        try:
            unasked = self._listen(_UNASKED_S, flush=True)
        except AnswerFormError:
            return None
        if unasked is not None:
            self._heard.appendleft(unasked)
            return None
        for answer in self._answers(query, ANSWER_S, flush=True):
            again = text_or_none(answer) or ""
            return again if again == text or is_identity(again) else None
        return None

    def tell(self, command: str) -> None:
        """Send a command that has no answer, unless the user said that it must not be sent."""
        if not self._dialect.may_send(command):
            return
        self._rest()
        self._link.write(command.encode("latin-1", "replace") + self._end)
        self._sent.append(command.encode("latin-1", "replace"))
        self._told_at = time.monotonic() if not command.endswith("?") else 0.0

    def ask(
        self, query: str, timeout_s: float = ANSWER_S, stop: Stop | None = None
    ) -> bytes | None:
        """Send ``query`` and return its answer, or None: not in time, or ``stop`` was set.

        What came before is thrown away first, so that no stale answer is taken for this one.

        Raises:
            AnswerFormError: what comes has no end, or is damaged in a way that shows.
            PortLostError: the port went away.
        """
        if not self._dialect.may_send(query):
            return None
        if self._owed and query != self._dialect.identify:
            self._find_step(ANSWER_S)
        self._send_afresh(query)
        self._owed = True  # also where an interrupt ends the wait
        answer = self._listen(timeout_s, stop, flush=self._endless)
        self._owed = answer is None
        return answer

    def ask_known(self, query: str, timeout_s: float) -> bytes | None:
        """Ask what the instrument may not know; None where it does not.

        Most say nothing to an unknown query, so after a short wait the error queue is asked too:
        whichever comes first says whether the answer is still on its way.

        Raises:
            MeterError: damaged twice.
        """
        if not self._dialect.may_send(query):
            return None
        for attempt in range(2):
            try:
                return self._ask_known(query, timeout_s)
            except AnswerFormError as fault:
                if attempt:
                    raise self.rubbish(fault) from fault
                self.back_into_step()
        return None

    def _ask_known(self, query: str, timeout_s: float) -> bytes | None:
        if self._tells_errors is None:
            return self.ask(query, timeout_s)
        quick = self._tells_errors == "SYST:ERR?" and not self._endless
        waits = BRIEF_S if quick else OPTIONAL_S
        answer = self.ask(query, min(waits, timeout_s))
        self._unchecked = True  # some answer what they refuse, and queue the error all the same
        if answer is not None:
            return answer
        if self._tells_errors != "SYST:ERR?":
            return None if self.refusals() else self.ask(query, timeout_s)
        self.tell(self._tells_errors)
        answer = self._listen(timeout_s, flush=self._endless)
        if answer is None:
            return None
        if not is_entry(answer):  # late, and the entry is still to come
            self._listen(ANSWER_S, flush=self._endless)
            self._owed = False
            return answer
        self._owed = False
        refused = parse_entry(answer_text(answer)) is not None or bool(self.refusals())
        return None if refused else self.ask(query, timeout_s)

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
        if self._dialect.may_send("SYST:ERR?"):
            usual = self._pause_s
            patience = ANSWER_S if self._greeting is not None else OPTIONAL_S
            for pause in _DEAF_S:
                self._pause_s = max(usual, pause)
                self.tell("*CLS")
                if self._first_entry("SYST:ERR?", OPTIONAL_S if pause else patience)[0]:
                    return
            self._pause_s = usual
        knows = self._dialect.may_send("*ESR?") and self._event_status() is not None
        self._tells_errors = "*ESR?" if knows else None

    def tells_entries(self) -> bool:
        """Whether an error queue answers, as that of an instrument without identity may."""
        return self._first_entry("SYST:ERR?", OPTIONAL_S)[0]

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
            _, entry = self._first_entry(self._tells_errors, ANSWER_S)
            if entry is None:
                break
            said.append(entry)
        return said

    def still_there(self, stop: Stop | None = None) -> bool:
        """Whether the instrument that was greeted answers, with the conversation in step."""
        return self._find_step(LATE_S, stop)

    def back_into_step(self, stop: Stop | None = None) -> None:
        """After damage: forget what came, let what is on its way come, and go on.

        Raises:
            PortLostError: the port went away.
        """
        self._link.discard()
        self._decoder.clear()
        self._heard.clear()
        self._find_step(ANSWER_S, stop)

    def rubbish(self, why: object) -> MeterError:
        """The error for an answer that makes no sense."""
        shown = f" (last bytes: {self.newest.hex(' ')})" if self.newest else ""
        return MeterError(
            f"what answers at {self.name} does not speak as a SCPI meter does: {why}{shown}; "
            "check the line's speed, or name the meter's frame format with --frames"
        )

    def _listen(
        self, timeout_s: float, stop: Stop | None = None, *, flush: bool = False
    ) -> bytes | None:
        """Return the next answer; where ``flush``, a pause ends one too.

        Raises:
            AnswerFormError: no end, or damage that shows.
        """
        until = time.monotonic() + timeout_s
        quiet_since = time.monotonic()
        while True:
            while self._heard:
                answer = self._heard.popleft()
                if self._means_something(answer):
                    return answer
            now = time.monotonic()
            if flush and self._decoder.unfinished and now - quiet_since >= _END_S:
                self._heard.append(self._decoder.flush())
                self._endless = True
                continue
            left = until - now
            if left <= 0 or (stop is not None and stop.is_set()):
                return None
            slice_s = min(SLICE_S, _END_S) if flush and self._decoder.unfinished else SLICE_S
            data = self._link.read(left if self._link.whole else min(slice_s, left))
            if data:
                quiet_since = time.monotonic()
                self.heard_bytes += len(data)
                self.newest = (self.newest + data)[-_SAMPLE:]
            self._heard.extend(self._decoder.feed(data))

    def _means_something(self, answer: bytes) -> bool:
        """Pass over what some lines send back: what was sent, a prompt, an OK."""
        bare = without_prompt(answer)
        return bool(bare) and bare not in self._sent and bare.upper() != b"OK"

    def _send_afresh(self, query: str) -> None:
        """Throw away what came before, then send."""
        self._rest()
        self._link.discard()
        self._decoder.clear()
        self._heard.clear()
        self.tell(query)

    def _rest(self) -> None:
        """Leave an instrument alone after a command for as long as it is known to need."""
        if self._pause_s and self._told_at:
            time.sleep(max(0.0, self._told_at + self._pause_s - time.monotonic()))

    def _find_step(self, timeout_s: float, stop: Stop | None = None) -> bool:
        """After an answer that did not come in time: wait for the greeting, pass over the rest."""
        self.late = False
        if self._greeting is None:
            return self._drain(timeout_s, stop)
        for answer in self._answers(
            self._dialect.identify, timeout_s, flush=self._endless, stop=stop
        ):
            if text_or_none(answer) == self._greeting:
                self._owed = False
                return True
            self.late = True
        return False

    def _drain(self, timeout_s: float, stop: Stop | None) -> bool:
        """As ``_find_step`` where there is no greeting: wait for what is late, then for silence."""
        until = time.monotonic() + timeout_s
        try:
            self.late = self._listen(timeout_s, stop, flush=True) is not None
            while self._listen(_END_S, stop, flush=True) is not None:
                if time.monotonic() > until:
                    break
        except AnswerFormError:
            self.late = True
        self._owed = False
        return self.late

    def _first_entry(self, query: str, timeout_s: float) -> tuple[bool, Refusal | None]:
        """Ask for one entry of the queue: whether anything sensible came, and the entry."""
        for answer in self._answers(query, timeout_s, flush=self._endless):
            try:
                entry = parse_entry(text_or_none(answer) or "damaged")
            except AnswerFormError:
                continue  # a late answer to something else
            self._owed = False
            return True, entry
        return False, None

    def _answers(
        self, query: str, timeout_s: float, *, flush: bool = False, stop: Stop | None = None
    ) -> Iterator[bytes | AnswerFormError]:
        """Send ``query`` and yield what comes, damage too, until the time is over."""
        self._send_afresh(query)
        until = time.monotonic() + timeout_s
        while (left := until - time.monotonic()) > 0 and not (stop is not None and stop.is_set()):
            try:
                answer = self._listen(left, stop, flush=flush)
            except AnswerFormError as fault:
                yield fault
                continue
            if answer is not None:
                yield answer

    def _event_status(self) -> int | None:
        try:
            answer = self.ask("*ESR?", OPTIONAL_S)
            return None if answer is None else int(answer_text(answer))
        except (ValueError, AnswerFormError):
            return None

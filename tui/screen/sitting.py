"""The sitting at the bench as the screen needs it, and the lines above and below the page."""

import threading
from collections.abc import Sequence
from enum import Enum
from typing import Final, Protocol

from textual import events
from textual.binding import Binding
from textual.content import Content
from textual.message import Message
from textual.style import Style
from textual.widget import Widget
from textual.widgets import Static

from meterlink.bench.bench import Bench
from meterlink.bench.snapshot import Face, Snapshot
from meterlink.card import BenchEvent
from meterlink.commands import AnyCommand
from meterlink.quantities.text import plain
from meterlink.source import Identity


class Happened(Message):
    """Events, oldest first. Never dropped."""

    def __init__(self, events: Sequence[BenchEvent]) -> None:
        super().__init__()
        self.events = events


class LookShown(Message):
    """What can be seen at this moment."""

    def __init__(self, look: Snapshot) -> None:
        super().__init__()
        self.look = look

    def can_replace(self, message: Message) -> bool:
        """An older look that still waits is not worth painting."""
        return isinstance(message, LookShown)


class CommandTaken(Message):
    """A command was taken, and what it made happen was posted."""

    def __init__(self, fault: BaseException | None) -> None:
        """``fault``: why it could not be taken; None where it was."""
        super().__init__()
        self.fault = fault


class BellStruck(Message):
    """One stroke of the bell is due."""


class SessionView(Protocol):
    """One sitting at the bench, run on a thread of its own."""

    bench: Bench
    readings: int
    """How many came so far."""

    @property
    def trouble(self) -> str:
        """Why what happens is not on disk, with the mend; empty while it is."""
        ...

    @property
    def meter(self) -> Identity:
        """What the meter says it is."""
        ...

    def show(self, face: Face) -> None:
        """Tell ``face`` of everything from now on."""
        ...

    def run(self, stop: threading.Event) -> None:
        """Read until ``stop``, the end of the source or of the card."""
        ...

    def tell(self, command: AnyCommand) -> None:
        """Take a command; may be called from any thread."""
        ...


SILENT_S: Final = 2.0
"""So long without a reading, and the top line says so."""


class Pulse:
    """Told once a second how many readings there are; times are of one monotonic clock."""

    def __init__(self, now: float) -> None:
        self.count = 0
        self.rate = 0.0
        """Readings a second, between the last two times that their number had changed."""
        self._changed_at = now
        self._now = now

    def beat(self, now: float, count: int) -> None:
        """Take the number of readings so far."""
        self._now = now
        if count != self.count:
            self.rate = max(0, count - self.count) / max(1e-3, now - self._changed_at)
            self.count, self._changed_at = count, now

    @property
    def silent(self) -> bool:
        """Whether nothing came for ``SILENT_S``."""
        return self._now - self._changed_at > SILENT_S


class LinkState(Enum):
    """How the meter answers; the value is the word."""

    OPENING = "opening"
    READING = "reading"
    SILENT = "no reading"
    LOST = "lost"
    ENDED = "ended"


_FORMS = {
    LinkState.OPENING: "○",
    LinkState.READING: "●",
    LinkState.SILENT: "◐",
    LinkState.LOST: "✗",
    LinkState.ENDED: "■",
}


class StatusLine(Widget):
    """Job on the left; meter, rate and record on the right."""

    def __init__(self, job: str, meter: str) -> None:
        super().__init__(id="status")
        self._job = plain(job)
        self._meter = plain(meter, 60)
        self.link = LinkState.OPENING
        self.rate = 0.0
        self.readings = 0

    def show(self, link: LinkState, rate: float, readings: int) -> None:
        """Show how the meter answers: readings per second, and how many in all."""
        if (link, rate, readings) != (self.link, self.rate, self.readings):
            self.link, self.rate, self.readings = link, rate, readings
            self.refresh()

    def render(self) -> Content:
        """Return the line for the present width; the job's name gives way first."""
        right = self._right()
        room = self.content_size.width - len(right) - 1
        left = self._job
        if len(left) > room:
            left = f"{left[: max(0, room - 1)]}…" if room > 1 else ""
        return Content.assemble((left.ljust(max(0, room)), "bold"), " ", right)

    def _right(self) -> str:
        room = self.content_size.width
        how = self.link.value
        if self.link is LinkState.READING:
            how = f"{self.rate:.0f}/s" if self.rate >= 10 else f"{self.rate:.1f}/s"
        meter = self._meter
        if len(meter) > room // 3:
            meter = f"{meter[: max(1, room // 3 - 1)]}…"
        return f"{_FORMS[self.link]} {meter} {how} · {self.readings:,} kept"


class NoticeLine(Static):
    """What is wrong, each with its mend, a line each; not there where all is well."""

    def __init__(self) -> None:
        super().__init__(id="notice", markup=False)
        self._said: list[str] = []

    def say(self, lines: Sequence[str]) -> None:
        """Show ``lines``; empty ones are left out."""
        said = [plain(line, 300) for line in lines if line]
        if said != self._said:
            self._said = said
            self.update(Content("\n").join(Content(f"! {line}") for line in said))
            self.display = bool(said)


class KeysLine(Static):
    """The keys that do something now, each with its word; a click does the same.

    The screen library's own line is composed anew two pictures after the page that it belongs to,
    so a new question stood for a moment above the keys of the step before it.
    """

    def __init__(self) -> None:
        super().__init__(id="keys", markup=False)
        self._said = Content("")
        self._for: object = None

    def on_mount(self) -> None:
        """Follow the focus, which moves without a new picture."""
        self.screen.bindings_updated_signal.subscribe(self, lambda _: self._show(), immediate=True)

    def show_for(self, now: object) -> None:
        """Show the keys as they are now, unless they were shown for the same already."""
        if now != self._for:
            self._for = now
            self._show()

    def _show(self) -> None:
        active = [seen.binding for seen in self.screen.active_bindings.values()]
        first = {binding.action: binding for binding in reversed(active) if binding.show}
        said = Content(" ").join(self._named(binding) for binding in reversed(first.values()))
        if said != self._said:
            self._said = said
            self.update(said)

    def _named(self, binding: Binding) -> Content:
        key = (self.app.get_key_display(binding), "bold $footer-key-foreground")
        of_key = Style.from_meta({"key": binding.key})
        return Content.assemble(key, f" {binding.description}").stylize(of_key)

    def on_click(self, event: events.Click) -> None:
        """Press the key that is clicked."""
        key = event.style.meta.get("key")
        if isinstance(key, str):
            self.app.simulate_key(key)

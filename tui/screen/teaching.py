"""Teaching a pedal: the next key that comes is taken for it."""

from textual import events
from textual.content import Content
from textual.message import Message
from textual.widgets import Static


class TeachingView(Static, can_focus=True):
    """A line that waits for one key while it has the focus; Escape leaves all as it was."""

    class Taught(Message):
        """A key was given."""

        def __init__(self, command: str, key: str) -> None:
            super().__init__()
            self.command = command
            self.key = key

    def __init__(self) -> None:
        super().__init__(id="teaching", markup=False)
        self._command = ""

    def teach(self, command: str) -> None:
        """Wait for the key that shall mean ``command``."""
        self._command = command
        self.update(
            Content(f"Press the pedal, or the key, that shall mean {command}. Escape ends.")
        )
        self.display = True
        self.focus()

    def on_key(self, event: events.Key) -> None:
        """Take the key, whatever it means elsewhere."""
        event.stop()
        event.prevent_default()
        if event.key != "escape":
            self.post_message(self.Taught(self._command, event.key))
        self.screen.set_focus(None)

    def on_blur(self) -> None:
        """Wait no longer."""
        self.display = False

"""What a person sets while at work: theme, tones, speech, taps, the keys of a pedal.

Each has a function key, which nobody strikes by typing words, and a place among the commands by
name.
"""

from abc import abstractmethod
from collections.abc import Callable, Iterable

from msgspec.structs import replace
from textual import events, on
from textual.app import SystemCommand
from textual.content import Content
from textual.message import Message
from textual.screen import Screen
from textual.widgets import Static

from meterlink.card import Card
from meterlink.commands import Gestures
from meterlink.profile import Profile
from tui.announcing.announcer import Announcer, Tones, Voice, find_program, missing_program
from tui.screen.keys import KEYS, ON_SCREEN, PEDAL, keymap
from tui.screen.sitting import BellStruck, SessionView
from tui.screen.themes import THEMES, FaultApp
from tui.settings import ScreenSettings


class Sounds:
    """Owns the players; ``announcer`` is the face that they belong to."""

    def __init__(self, card: Card, profile: Profile, bell: Callable[[], object]) -> None:
        self.announcer = Announcer(card, profile)
        self._bell = bell
        self._tones: Tones | None = None
        self._voice: Voice | None = None

    @property
    def tones(self) -> bool:
        """Whether tones are on."""
        return self._tones is not None

    @property
    def speech(self) -> bool:
        """Whether speech is on."""
        return self._voice is not None

    @property
    def trouble(self) -> str:
        """Why nothing is heard; empty while all is well."""
        return "" if self._voice is None else self._voice.trouble

    def set_tones(self, on: bool) -> None:
        """Switch tones on or off."""
        old, self._tones = self._tones, Tones(self._bell) if on else None
        self.announcer.player = self._tones
        if old is not None:
            old.close()

    def set_speech(self, on: bool) -> str:
        """Switch speech on or off; return why it cannot be had, empty where it can."""
        program = find_program() if on else None
        old, self._voice = self._voice, None if program is None else Voice(program)
        self.announcer.speaker = self._voice
        if old is not None:
            old.close()
        return f"{missing_program()}, or go on without speech." if on and program is None else ""

    def close(self) -> None:
        """Fall silent."""
        self.set_tones(False)
        self.set_speech(False)


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


class PreferencesApp(FaultApp[int]):
    """An app over a sitting whose looks, sounds and keys can be set and are kept."""

    session: SessionView
    sounds: Sounds
    settings: ScreenSettings
    uncoloured: bool
    """Whether no colours are wanted, whatever the theme."""
    _keep: Callable[[ScreenSettings], None] | None

    @abstractmethod
    def action_tell(self, name: str, how: str = "key") -> None:
        """Tell the bench the command called ``name``."""

    @abstractmethod
    def _say(self, hint: str) -> None:
        """Say ``hint`` for a moment."""

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Offer the bench's own commands by name, and nothing of the library's."""
        for key in KEYS:
            yield SystemCommand(
                key.label.capitalize(), key.does, lambda name=key.name: self.action_tell(name)
            )
        for key in ON_SCREEN:
            yield SystemCommand(
                key.label.capitalize(), key.does, getattr(self, f"action_{key.name}")
            )
        for name in PEDAL:
            yield SystemCommand(
                f"Pedal: {name}",
                f"teach a pedal, or any key, to mean {name}",
                lambda name=name: self.action_teach(name),
            )

    @on(BellStruck)
    def _strike(self) -> None:
        self.bell()

    def action_gestures(self) -> None:
        """Let taps of the probes count, or not."""
        on = not self.settings.gestures
        self._change(gestures=on)
        self.session.tell(Gestures(on=on))
        self._say("Taps of the probes count." if on else "Only keys count, taps do not.")

    def action_sound(self) -> None:
        """Switch tones on or off."""
        self.sounds.set_tones(not self.sounds.tones)
        self._change(tones=self.sounds.tones)
        self._say(f"Tones are {'on' if self.sounds.tones else 'off'}.")

    def action_speech(self) -> None:
        """Switch speech on or off."""
        trouble = self.sounds.set_speech(not self.sounds.speech)
        self._change(speech=self.sounds.speech)
        self._say(trouble or f"Speech is {'on' if self.sounds.speech else 'off'}.")

    def action_theme(self) -> None:
        """Go on to the next theme of our own."""
        if self.uncoloured:
            self._say("NO_COLOR is set, so there is none.")
            return
        names = [theme.name for theme in THEMES]
        at = names.index(self.theme) if self.theme in names else -1
        self.theme = names[(at + 1) % len(names)]
        self._change(theme=self.theme)

    def action_teach(self, command: str) -> None:
        """Wait for the key that a pedal sends, which shall mean ``command``."""
        self.query_one(TeachingView).teach(command)

    @on(TeachingView.Taught)
    def _taught(self, message: TeachingView.Taught) -> None:
        self._change(pedal={**self.settings.pedal, message.command: message.key})
        self.set_keymap(keymap(self.settings.keys, self.settings.pedal))
        self._say(f"The pedal “{message.key}” now means {message.command}.")

    def _change(self, **changes: object) -> None:
        self.settings = replace(self.settings, **changes)
        if self._keep is not None:
            self._keep(self.settings)

"""What a person sets while at work: theme, tones, speech, taps, the keys of a pedal.

Each has a function key, which nobody strikes by typing words, and a place among the commands by
name.
"""

from abc import abstractmethod
from collections.abc import Callable

from msgspec.structs import replace
from textual import on

from meterlink.commands import Gestures
from tui.screen.faults import FaultApp
from tui.screen.keys import keymap
from tui.screen.session_view import SessionView
from tui.screen.sounds import Sounds
from tui.screen.teaching import TeachingView
from tui.screen.themes import THEMES
from tui.settings.screen_settings import ScreenSettings


class PreferencesApp(FaultApp[int]):
    """An app over a sitting whose looks, sounds and keys can be set and are kept."""

    session: SessionView
    sounds: Sounds
    settings: ScreenSettings
    uncoloured: bool
    """Whether no colours are wanted, whatever the theme."""
    _keep: Callable[[ScreenSettings], None] | None

    @abstractmethod
    def _say(self, hint: str) -> None:
        """Say ``hint`` for a moment."""

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
        self._say(f"The pedal «{message.key}» now means {message.command}.")

    def _change(self, **changes: object) -> None:
        self.settings = replace(self.settings, **changes)
        if self._keep is not None:
            self._keep(self.settings)

"""What is heard: tones and speech, each switched on and off while the bench runs."""

from collections.abc import Callable

from meterlink.card import Card
from meterlink.profile import Profile
from tui.announcing.announcer import Announcer
from tui.announcing.tones import Tones
from tui.announcing.voice import Voice, find_program

NO_PROGRAM = "This computer has no speech program; install espeak-ng, or go on without speech."


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
        return NO_PROGRAM if on and program is None else ""

    def close(self) -> None:
        """Fall silent."""
        self.set_tones(False)
        self.set_speech(False)

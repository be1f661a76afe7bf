"""What a person can set on the screen: theme, sound, speech, and the keys of a pedal."""

import msgspec


class ScreenSettings(msgspec.Struct, frozen=True, kw_only=True):
    """How the screen looks and sounds."""

    theme: str = "bench-dark"
    """``bench-dark``, ``bench-light``, ``bench-plain`` or any that the screen library has."""
    tones: bool = True
    """Ring the terminal's bell for a verdict."""
    speech: bool = False
    """Speak through the system's speech program."""
    gestures: bool = True
    """Let the probes speak: taps, and tips held together at the lead zero."""
    keys: dict[str, str] = {}
    """Key of a command, by its name: ``{"confirm": "enter"}``."""
    pedal: dict[str, str] = {}
    """Key that a pedal sends, by the command that it shall mean."""

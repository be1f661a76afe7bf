"""What is announced to a technician whose eyes are on the engine: tones and sentences.

A face like the screen: it is told on the reading thread and returns at once.
"""

import contextlib
import platform
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from enum import Enum
from functools import partial
from typing import Final, Protocol

from meterlink.bench.snapshot import Update
from meterlink.card import BenchEvent, Card
from meterlink.events import Asked, CardEnded, Gap, Judged, StepEvent, StepReopened, Verdict, Zeroed
from meterlink.profile import Profile
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.wording import VERDICT_WORDS
from tui.announcing.forms import is_good


class Tune(Enum):
    """What a pattern of strokes says; the value is the word in settings and help."""

    IN_WINDOW = "in-window"
    OUT = "out"
    OPEN = "open"
    AGAIN = "again"


PATTERNS: Final[dict[Tune, tuple[float, ...]]] = {
    Tune.IN_WINDOW: (0.0,),
    Tune.OUT: (0.0, 0.45),
    Tune.OPEN: (0.0, 0.45, 0.45),
    Tune.AGAIN: (0.0, 0.15, 0.15, 0.15),
}
"""Seconds to wait before each stroke: one; two slow; three slow; four quick."""


class Tones:
    """Plays patterns on a thread of its own; the newest replaces what is still playing."""

    def __init__(self, bell: Callable[[], object]) -> None:
        """``bell`` makes one stroke; it is called on the player's thread and returns at once."""
        self._bell = bell
        self._wanted: Tune | None = None
        self._changed = threading.Condition()
        self._closed = False
        self._count = 0
        self._thread = threading.Thread(target=self._play, name="tones", daemon=True)
        self._thread.start()

    def play(self, tune: Tune) -> None:
        """Play ``tune`` from its first stroke; returns at once."""
        with self._changed:
            self._wanted = tune
            self._count += 1
            self._changed.notify()

    def close(self) -> None:
        """Stop; what is playing is cut short. Safe to call twice."""
        with self._changed:
            self._closed = True
            self._changed.notify()
        self._thread.join()

    def _play(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closed or self._wanted is not None)
                if self._closed or self._wanted is None:
                    return
                tune, mine, self._wanted = self._wanted, self._count, None
            for pause in PATTERNS[tune]:
                with self._changed:
                    cut = self._changed.wait_for(partial(self._other, mine), pause)
                if cut:
                    break
                self._bell()

    def _other(self, mine: int) -> bool:
        return self._closed or self._count != mine


class TonePlayer(Protocol):
    """Plays tunes."""

    def play(self, tune: Tune) -> None:
        """Play one, in place of any other; return at once."""


class Speaker(Protocol):
    """Speaks."""

    def say(self, words: str) -> None:
        """Say this, in place of any other; return at once."""


class Announcer:
    """Turns what happens into tunes and sentences; either can be switched off at any time."""

    def __init__(self, card: Card, profile: Profile) -> None:
        self._card = card
        self._profile = profile
        self.player: TonePlayer | None = None
        self.speaker: Speaker | None = None

    def __call__(self, seen: Update) -> None:
        """Announce what is worth it: one tune and one sentence for each moment."""
        tunes = [tune for event in seen.events if (tune := self.tune(event)) is not None]
        words = [said for event in seen.events if (said := self.words(event))]
        if self.player is not None and tunes:
            self.player.play(tunes[-1])
        if self.speaker is not None and words:
            self.speaker.say(" ".join(words))

    def tune(self, event: BenchEvent) -> Tune | None:
        """Return the tune of ``event``, or None where it has none."""
        match event:
            case Judged():
                return self._tune_of(event)
            case Zeroed():
                return Tune.IN_WINDOW
            case StepReopened():
                return Tune.AGAIN
            case StepEvent(good=False):
                return Tune.OUT
            case Gap(until=None):
                return Tune.AGAIN
            case _:
                return None

    def words(self, event: BenchEvent) -> str:
        """Return what is said of ``event``; empty where nothing is."""
        match event:
            case Judged():
                return self._verdict(event)
            case Zeroed():
                return f"Leads {_spoken(event.value, 'ohm')}."
            case StepReopened():
                return "Again."
            case Asked():
                return plain(event.say)
            case CardEnded():
                return "The card is done."
            case StepEvent():
                return event.spoken
            case Gap(until=None):
                return f"The meter is away. {plain(event.why)}"
            case Gap():
                return "The meter is back."
            case _:
                return ""

    def _tune_of(self, judged: Judged) -> Tune:
        step = self._card.find(judged.step)
        if is_good(step, judged, self._profile):
            return Tune.IN_WINDOW
        return Tune.OPEN if judged.verdict is Verdict.OPEN else Tune.OUT

    def _verdict(self, judged: Judged) -> str:
        step = self._card.find(judged.step)
        value = "" if judged.corrected is None else f"{_spoken(judged.corrected, judged.unit)}, "
        close = "" if judged.clear else ", but close"
        lift = " Lift the probes." if step.one_touch else ""
        at = f" in {plain(judged.position)}" if judged.position else ""
        title = plain(step.title)
        return f"{title}{at}: {value}{VERDICT_WORDS[judged.verdict]}{close}.{lift}"


def _spoken(value: float, unit: str) -> str:
    """Return a value with its unit in words: a speech program makes nothing of a sign."""
    number, _, symbol = format_value(value, unit, ohm_sign=False).partition(" ")
    words = {
        "ohm": "ohms",
        "kohm": "kilo ohms",
        "Mohm": "mega ohms",
        "Gohm": "giga ohms",
        "mohm": "milli ohms",
    }
    return f"{number} {words.get(symbol, symbol)}"


_LONGEST: Final = 300

_POWERSHELL: Final = (
    "Add-Type -AssemblyName System.Speech; "
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak([Console]::In.ReadToEnd())"
)

_PROGRAMS: Final[tuple[tuple[str, ...], ...]] = (
    ("say", "-f", "-"),
    ("espeak-ng", "--stdin"),
    ("espeak", "--stdin"),
    ("powershell", "-NoProfile", "-NonInteractive", "-Command", _POWERSHELL),
)
"""Each reads the words from its standard input, so that no word can be taken for an option."""


def find_program() -> tuple[str, ...] | None:
    """Return the command line of this system's speech program, or None where there is none."""
    for name, *arguments in _PROGRAMS:
        if name == "say" and sys.platform != "darwin":
            continue  # elsewhere a program of that name does something else
        if (path := shutil.which(name)) is not None:
            return (path, *arguments)
    return None


_INSTALLERS: Final = {
    "debian": "sudo apt install",
    "ubuntu": "sudo apt install",
    "fedora": "sudo dnf install",
    "rhel": "sudo dnf install",
    "arch": "sudo pacman -S",
    "suse": "sudo zypper install",
    "opensuse": "sudo zypper install",
    "alpine": "sudo apk add",
}
"""What installs a package, by the name that a system gives itself or those it is like."""


def missing_program(system: str = sys.platform) -> str:
    """Return what to do where ``find_program`` finds none on ``system``, named as Python does."""
    none = "This computer has no speech program"
    if system == "darwin":
        return f"{none}: its own “say” is not found; is /usr/bin on the PATH?"
    if system == "win32":
        return f"{none}: PowerShell, which speaks here, is not found; is it on the PATH?"
    package = "the package espeak-ng"
    with contextlib.suppress(OSError):  # a system that does not name itself
        named = platform.freedesktop_os_release()
        for name in (named["ID"], *named.get("ID_LIKE", "").split()):
            if name in _INSTALLERS:
                package += f": {_INSTALLERS[name]} espeak-ng"
                break
    return f"{none}. Install {package}"


class Voice:
    """Speaks one sentence at a time on a thread of its own; the newest replaces what waits."""

    def __init__(self, program: Sequence[str]) -> None:
        """``program``: a command line that reads the words from its standard input."""
        self._program = tuple(program)
        self._changed = threading.Condition()
        self._waiting: str | None = None
        self._speaking: subprocess.Popen[bytes] | None = None
        self._closed = False
        self.trouble = ""
        """Why nothing is heard; empty while it works."""
        self._thread = threading.Thread(target=self._speak, name="voice", daemon=True)
        self._thread.start()

    def say(self, words: str) -> None:
        """Say ``words`` as soon as can be, instead of anything older; returns at once."""
        with self._changed:
            self._waiting = words[:_LONGEST]
            if self._speaking is not None:
                self._speaking.terminate()
            self._changed.notify()

    def close(self) -> None:
        """Fall silent. Safe to call twice."""
        with self._changed:
            self._closed, self._waiting = True, None
            if self._speaking is not None:
                self._speaking.terminate()
            self._changed.notify()
        self._thread.join()

    def _speak(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closed or self._waiting is not None)
                if self._closed or self._waiting is None:
                    return
                words, self._waiting = self._waiting, None
                self._speaking = self._start()
            if self._speaking is None:
                return
            self._speaking.communicate(words.encode())
            with self._changed:
                code, self._speaking = self._speaking.returncode, None
                if code and not self._overtaken():
                    self.trouble = (
                        f"the speech program fails (its exit code is {code}); is there sound?"
                    )
                elif not code:
                    self.trouble = ""

    def _overtaken(self) -> bool:
        return self._closed or self._waiting is not None

    def _start(self) -> "subprocess.Popen[bytes] | None":
        # Windows alone has this flag: without it a console window would flash up.
        hidden: int = getattr(subprocess, "CREATE_NO_WINDOW", 0)
        try:
            return subprocess.Popen(  # noqa: S603  # our own table of programs, words by pipe
                self._program,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                creationflags=hidden,
            )
        except OSError as fault:
            self.trouble = f"the speech program cannot be started: {fault.strerror or fault}"
            return None

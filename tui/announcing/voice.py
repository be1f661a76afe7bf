"""Speech through the system's own speech program, where it has one.

Words go stale quickly: what was meant to be said while something else was being said is
replaced by what comes after it, and a sentence that is overtaken is cut short.
"""

import shutil
import subprocess
import sys
import threading
from collections.abc import Sequence
from typing import Final

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

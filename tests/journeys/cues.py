"""What the bench says, read from the job's log as it grows: the same for every face."""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from captures.job.job import LOG_NAME

Event = dict[str, Any]
LONGEST_S: Final = 90.0
"""Of the computer's time: whatever takes longer never comes."""


class NeverCameError(AssertionError):
    """Something that the bench should have said was never said."""


class Cues:
    """The newest log under a folder of jobs, folded into what a person at the bench knows."""

    def __init__(self, jobs: Path, now: Callable[[], float], alive: Callable[[], bool]) -> None:
        self._jobs, self._now, self._alive = jobs, now, alive
        self._path: Path | None = None
        self._read = 0
        self.events: list[Event] = []
        self.current = ""
        """The step that is open now."""
        self.asked: Event = {}
        """What is asked of its person."""
        self.outcomes: dict[str, str] = {}
        """The outcome that stands, by step."""
        self.ended = False

    @property
    def folder(self) -> Path:
        """The job's folder."""
        if self._path is None:
            raise NeverCameError("no job was begun")
        return self._path.parent

    def look(self) -> int:
        """Take in what is new; return how many events there are."""
        if self._path is None:
            # A job that is only being made has a name with a dot in front.
            logs = sorted(
                log for log in self._jobs.glob(f"*/{LOG_NAME}") if log.parent.name[0] != "."
            )
            if not logs:
                return 0
            self._path = logs[-1]
        with self._path.open("rb") as log:
            log.seek(self._read)
            new = log.read()
        whole = new[: new.rfind(b"\n") + 1]
        self._read += len(whole)
        for line in whole.splitlines():
            self._take(json.loads(line))
        return len(self.events)

    def _take(self, event: Event) -> None:
        self.events.append(event)
        match event["kind"]:
            case "step-began":
                self.current, self.asked = event["step"], {}
            case "asked":
                self.asked = event
            case "step-ended":
                self.outcomes[event["step"]] = event["outcome"]
                if event["step"] == self.current:
                    self.current = ""
            case "step-reopened":
                self.outcomes.pop(event["step"], None)
                self.ended = False
            case "card-ended":
                self.ended, self.current = True, ""

    def until(
        self, condition: Callable[[], bool], seconds: float = 1e9, *, real_s: float = 1e9
    ) -> bool:
        """Wait until ``condition`` holds; False after ``seconds`` of the bench's time,
        or ``real_s`` of the computer's.

        Raises:
            NeverCameError: neither happens though the computer had time enough, or the program
                is not there any more.
        """
        since, began = self._now(), time.monotonic()
        while True:
            alive = self._alive()
            self.look()
            if condition():
                return True
            if self._now() - since > seconds or time.monotonic() - began > real_s:
                return False
            if not alive or time.monotonic() - began > LONGEST_S:
                gone = "" if alive else " (the program has ended)"
                said = self.asked.get("say", "")
                raise NeverCameError(f"stands at “{self.current}”: {said!r}{gone}")
            time.sleep(0.002)  # another thread or process writes: there is nothing to await

    def follow(self, alive: Callable[[], bool]) -> None:
        """Go on with the same log, now that another program has taken the job up."""
        self.look()
        self._alive, self.current, self.asked = alive, "", {}

    def after(self, mark: int, *kinds: str) -> list[Event]:
        """Return the events of these kinds since ``mark``."""
        return [event for event in self.events[mark:] if event["kind"] in kinds]

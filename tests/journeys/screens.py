"""The full screen as a front door: begun by a command line, worked by keys alone."""

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable
from concurrent.futures import CancelledError, wait
from pathlib import Path
from typing import Any, Final, Self
from unittest.mock import patch

from textual import events
from textual._context import active_app
from textual.app import App
from textual.keys import _character_to_key

from tests.journeys.cues import LONGEST_S
from tests.journeys.faces import Within
from tests.journeys.hands import Hurried
from tui.cli import main
from tui.screen import app as screen_app
from tui.screen.app import BenchApp
from tui.screen.body import BenchBody, asks_for_resistor
from tui.screen.entry import question_of
from tui.screen.keys import NAMES, KeyCommand


class Screen(Within):
    """The full screen, begun by the same command line and worked by keys alone."""

    def __init__(
        self, folder: Path, clock: Hurried, argv: list[str], size: tuple[int, int]
    ) -> None:
        super().__init__(folder, clock, terminal=True)
        self.name = f"{size[0]}x{size[1]}"
        self._argv, self._size = argv, size
        self._thread = threading.Thread(target=self._run, name="program", daemon=True)
        self._there = threading.Event()
        self._screen = ""

    def __enter__(self) -> Self:
        self._stack = contextlib.ExitStack()
        self._stack.enter_context(self.exchanged())
        self._stack.enter_context(patch.object(App, "run", self._shown_by_pilot()))
        # Time is hurried and pictures are not, so fewer of them show the same work.
        self._stack.enter_context(patch.object(screen_app, "FRAME_S", 0.25))
        self._thread.start()
        return self

    def _run(self) -> None:
        try:
            self.code = main(self._argv)
        except BaseException as fault:  # noqa: BLE001
            self.fault = fault

    def _shown_by_pilot(self) -> Any:
        face = self

        def run(app: App[Any], *_: object, **__: object) -> Any:
            async def show() -> None:
                async with app.run_test(size=face._size):
                    face.app = app
                    face.loop = asyncio.get_running_loop()
                    face._there.set()
                    while app.is_running and not app._exit:
                        await asyncio.sleep(0.01)

            asyncio.run(show())
            return app.return_value

        return run

    app: App[Any]
    loop: asyncio.AbstractEventLoop

    def alive(self) -> bool:
        return self._thread.is_alive()

    def do(self, work: Any) -> Any:
        """Run a coroutine where the screen lives; return what it gives."""
        assert self._there.wait(LONGEST_S), self.errors()

        async def within() -> Any:
            active_app.set(self.app)
            return await work

        there, loop, since = within(), self.loop, time.monotonic()
        try:
            doing = asyncio.run_coroutine_threadsafe(there, loop)
            while not wait([doing], 0.2).done:  # what a loop is given as it ends is never done
                if loop.is_closed() or time.monotonic() - since > 2 * LONGEST_S:
                    raise RuntimeError("the screen has gone, or does not answer")
            return doing.result()
        finally:  # the screen may have gone before either was begun
            there.close()
            work.close()

    def press(self, *keys: str) -> None:
        """Press keys one after another, as a terminal sends them: nothing waits for the page."""
        self.do(self._press(*keys))

    async def _press(self, *keys: str) -> None:
        # The pilot's own way waits after each key until the computer has nothing to do, and with a
        # meter that reads on there is no such moment.
        for key in keys:
            sign = key if len(key) == 1 else _SIGNS.get(key)
            name = _character_to_key(key) if len(key) == 1 else key
            assert self.app._driver is not None
            self.app._driver.process_message(events.Key(name, sign))
            await asyncio.sleep(0)

    def tell(self, command: str, text: str = "") -> None:
        self.do(self._tell(command, text))

    async def _tell(self, command: str, text: str) -> None:
        await self._settled()
        if command == "enter":
            await self._enter(text)
        elif command == "leave":
            await self._leave()
        elif self._asks_yes_no and command in ("confirm", "deny"):
            await self._enter("yes" if command == "confirm" else "no")
        else:
            await self._command(NAMES[command])

    async def _command(self, command: KeyCommand) -> None:
        if self._asking and not command.asked and len(command.key) == 1:
            await self._press("escape")
            await self._until(lambda: not self._asking)
        await self._press((self._asking and command.asked) or command.key)

    async def _enter(self, text: str) -> None:
        if self._body.question is None:
            await self._press(NAMES["typed"].key)
        elif not self._asking:
            await self._press("enter")
        await self._until(lambda: self._asking)
        await self._press("end", "ctrl+u", *keys_of(text), "enter")

    @property
    def _body(self) -> BenchBody:
        return self.app.screen_stack[0].query_one(BenchBody)

    @property
    def _asking(self) -> bool:
        return self._body.asking

    @property
    def _asks_yes_no(self) -> bool:
        question = self._body.question
        return self._asking and question is not None and question.yes_no

    async def _until(self, condition: Callable[[], bool]) -> None:
        deadline = time.monotonic() + LONGEST_S
        while not condition() and time.monotonic() < deadline:
            await asyncio.sleep(0.004)

    async def _settled(self) -> None:
        """Wait until the page shows where the session stands."""
        if isinstance(self.app, BenchApp):
            await self._until(self._shows)

    def _shows(self) -> bool:
        app = self.app
        assert isinstance(app, BenchApp)
        if app._exit:
            return True
        step = app.view.step
        if app.session.bench.progress.ended != app.view.progress.ended:
            return False
        if app._telling or ("" if step is None else step.id) != (_current(app) or ""):
            return False
        typing = asks_for_resistor(step, app.view) or self._body._typing_at is step is not None
        asked = "" if app.view.asked is None else app.view.asked.say
        question = question_of(step, app.view.answers, typing=typing, asked=asked)
        # Also where none stands: a key would go into the line of the one before.
        return self._body.question == question and (question is None or self._asking)

    def _rows(self) -> str:
        rows = self.app.screen._compositor.render_strips()
        return "\n".join(strip.text.rstrip() for strip in rows)

    def text(self) -> str:
        """Return what the screen shows now, a line a row."""

        async def read() -> str:
            return self._rows()

        return str(self.do(read()))

    def finish(self) -> None:
        """Look at the last page, and leave."""
        self.do(self._settled())
        self.do(self._until(lambda: "The card is done" in self._rows()))
        self._screen = self.text()
        deadline = time.monotonic() + LONGEST_S
        while self.alive() and time.monotonic() < deadline:
            with contextlib.suppress(RuntimeError, CancelledError):  # it may be gone already
                self.do(self._leave())
            self._thread.join(0.1)

    async def _leave(self) -> None:
        if self.app.is_running and not self.app._exit:
            command = NAMES["leave"]
            await self._press((self._asking and command.asked) or command.key)

    def last_screen(self) -> str:
        return self._screen

    def __exit__(self, *exc: object) -> None:
        if self.alive() and self._there.is_set():
            with contextlib.suppress(RuntimeError):  # the page has gone, and what follows has not
                self.loop.call_soon_threadsafe(self.app.exit)
            self._thread.join(LONGEST_S)
        self._stack.close()


def _current(app: BenchApp) -> str | None:
    return app.session.bench.progress.current


_SIGNS: Final = {"space": " ", "enter": "\r", "tab": "\t", "escape": "\x1b", "question_mark": "?"}


def keys_of(text: str) -> list[str]:
    """Return the keys that type ``text``."""
    return ["space" if sign == " " else sign for sign in text]

"""The full screen: widgets that show a bench at work, and the app that joins them to a session.

Nothing heavy is imported here, so that settings can be read without the screen library.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from tui.settings.configuration import ScreenSettings

if TYPE_CHECKING:
    from tui.screen.hands import PlayedHands
    from tui.screen.session_view import SessionView

__all__ = ["ScreenSettings", "run_bench_screen"]


def run_bench_screen(
    session: "SessionView",
    *,
    title: str,
    who: str = "",
    settings: ScreenSettings | None = None,
    keep: Callable[[ScreenSettings], None] | None = None,
    hands: "PlayedHands | None" = None,
    where: str = "",
) -> int:
    """Show ``session`` until the user leaves; return the exit code.

    ``title`` is the job's, ``who`` works; ``keep`` is given the settings whenever they were
    changed on the screen; ``hands``: those of a simulated bench, for the user to play;
    ``where``: the folder that all is kept in, to be named at the end.

    Raises:
        Exception: what nobody foresaw, once the terminal is as it was.
    """
    from tui.screen.app import BenchApp

    app = BenchApp(
        session, title=title, who=who, settings=settings, keep=keep, hands=hands, where=where
    )
    return app.run() or 0

"""The full screen: widgets that show a bench at work, and the app that joins them to a session."""

from tui.screen.app import BenchApp, Sitting
from tui.screen.settings import ScreenSettings

__all__ = ["BenchApp", "ScreenSettings", "Sitting", "run_bench_screen"]


def run_bench_screen(
    session: Sitting, *, title: str, meter: str = "meter", settings: ScreenSettings | None = None
) -> int:
    """Show ``session`` until the user leaves; return the exit code."""
    return BenchApp(session, title=title, meter=meter, settings=settings).run() or 0

"""Reading a screen as text."""

import asyncio

from textual.app import App
from textual.pilot import Pilot

from tui.screen.app import BenchApp


def screen_text(app: App[object]) -> str:
    """Return what the screen shows, a line a row, without colours."""
    rows = app.screen._compositor.render_strips()
    return "\n".join(strip.text.rstrip() for strip in rows)


async def settled(pilot: Pilot[int]) -> str:
    """Wait until everything posted is painted; return the screen as text."""
    app = pilot.app
    assert isinstance(app, BenchApp)
    await asyncio.to_thread(app.session.begun.wait, 10.0)  # type: ignore[attr-defined]
    await pilot.pause()
    while app.paint_due or app._teller._work_queue.qsize():
        await asyncio.sleep(0.01)
    await pilot.pause()
    await pilot.pause()
    return screen_text(app)

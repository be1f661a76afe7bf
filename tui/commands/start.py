"""``meterlink`` alone: the start page, or its ways as the commands that go them."""

import contextlib
import sys

from meterlink.errors import MeterlinkError
from tui import settings
from tui.announcing.signs import say
from tui.plain.prompts import has_screen
from tui.session.setup import job_store
from tui.start.ways import as_lines, ways_of


def chosen_words(*, plain: bool) -> list[str] | None:
    """Return the command line that the user chose; None where there is nothing to run.

    ``plain``, or where there is no terminal: the ways are printed as the commands that go them.

    Raises:
        UnreadableError: the settings, or the folder of all jobs, cannot be read.
        InvalidFileError: the settings do not say what they must.
    """
    known = settings.load()
    ways = ways_of(job_store(None))
    if plain or not has_screen():
        for line in as_lines(ways, known):
            say(line)
        return None
    from tui.session.meters import MeterSearch
    from tui.start.page import StartApp

    search = MeterSearch(known.exclude)
    words = StartApp(ways, known, search).run()
    if words and words[0] == "bench" and not search.done:
        print("looking for meters; the ports are free in a moment...", file=sys.stderr)
        with contextlib.suppress(MeterlinkError):  # a port that was typed needs none of it
            search.result()
    return words

"""What is on a shelf, a line or a JSON object each; files that cannot be used say why."""

import json
from collections.abc import Callable

from meterlink.errors import MeterlinkError
from meterlink.quantities.text import plain
from tui.settings.shelf import Shelf, Thing


def print_all(
    shelf: Shelf[Thing], keys: tuple[str, str], title_of: Callable[[Thing], str], *, as_json: bool
) -> None:
    """Print every file on ``shelf``; ``keys`` name the file and its title in JSON."""
    for found in shelf.all():
        try:
            title = title_of(shelf.read(found.file))
        except MeterlinkError as fault:
            title = f"cannot be used: {fault}"
        if as_json:
            print(json.dumps({keys[0]: found.name, keys[1]: title, "shipped": found.shipped}))
        else:
            print(f"{plain(found.name):<24}{plain(title, 400)}")

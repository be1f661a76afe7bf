"""``meterlink cards``: the work cards there are, and what one says."""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlink.card import Card

NAME: Final = "cards"
HELP: Final = "list work cards, show one, or check a file"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to do, and to which."""
    what = parser.add_subparsers(metavar="WHAT", dest="what")
    shown = what.add_parser("show", help="the steps of a card")
    shown.add_argument("card", metavar="C", help="name or path")
    shown.add_argument("--json", action="store_true", help="one JSON object")
    checked = what.add_parser("check", help="whether a file is a card")
    checked.add_argument("file", metavar="FILE")
    listed = what.add_parser("list", help="those there are (also when nothing is said)")
    for listing in (parser, listed):
        listing.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """List, show or check."""
    import json
    from pathlib import Path

    from meterlink.declared import to_plain
    from tui.shelf import CARDS

    match args.what:
        case "show":
            card = CARDS.get(args.card)
            if args.json:
                print(json.dumps(to_plain(card), ensure_ascii=False))
            else:
                print("\n".join(_lines(card)))
        case "check":
            card = CARDS.read(Path(args.file))
            print(f"{args.file} is a card of {len(card.step)} steps: {card.title}")
        case _:
            _list(as_json=args.json)
    return 0


def _list(*, as_json: bool) -> None:
    import json

    from meterlink.errors import MeterlinkError
    from tui.shelf import CARDS

    for found in CARDS.all():
        try:
            title = CARDS.read(found.file).title
        except MeterlinkError as fault:
            title = f"cannot be used: {fault}"
        if as_json:
            print(json.dumps({"card": found.name, "title": title, "shipped": found.shipped}))
        else:
            print(f"{found.name:<24}{title}")


def _lines(card: "Card") -> "Iterator[str]":
    from meterlink.cautions import STANDING
    from meterlink.text import plain

    yield f"{plain(card.title)} ({card.id})"
    if card.about:
        yield plain(card.about)
    for number, step in enumerate(card.step, start=1):
        kind = step.__struct_config__.tag
        yield f"{number:>3}. {plain(step.title)}  ({kind}, {step.id})"
        if step.say:
            yield f"     {plain(step.say, 600)}"
        for condition in step.only_if:
            yield f"     only if «{condition.step}» was {' or '.join(condition.was)}"
        if kind == "caution":
            yield from (f"     - {line}" for line in (*STANDING, *getattr(step, "lines", ())))

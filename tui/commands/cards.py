"""``meterlink cards``: the work cards there are, and what one says."""

import argparse
from typing import TYPE_CHECKING, Final

from tui.commands._options import add_json

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
    checked = what.add_parser("check", help="whether a file is a card")
    checked.add_argument("file", metavar="FILE", help="name or path")
    checked.add_argument(
        "--profile", metavar="P", help="say too which steps this profile would pass over"
    )
    checked.add_argument("--table", metavar="FILE", help="a fault table of your own")
    listed = what.add_parser("list", help="those there are (also when nothing is said)")
    add_json(parser, shown, checked, listed)


def run(args: argparse.Namespace) -> int:
    """List, show or check."""
    import json

    from meterlink.declared import to_plain
    from tui.settings.shelf import CARDS, print_all

    match args.what:
        case "show":
            card = CARDS.get(args.card)
            if args.json:
                print(json.dumps(to_plain(card), ensure_ascii=False))
            else:
                print("\n".join(_lines(card)))
        case "check":
            return _check(args)
        case _:
            print_all(CARDS, ("card", "title"), lambda card: card.title, as_json=args.json)
    return 0


def _check(args: argparse.Namespace) -> int:
    """Say everything that is wrong with a card beside a fault table, and what a profile leaves."""
    import json
    from pathlib import Path

    from meterlink.finding.cards import (
        mistakes_beside_table,
        not_judged,
        not_measured,
        passed_over,
    )
    from meterlink.quantities.text import plain
    from tui.commands.finding import fault_table
    from tui.settings.shelf import CARDS, PROFILES

    file = Path(args.file)
    card = CARDS.read(file) if file.is_file() else CARDS.get(args.file)
    mistakes = list(mistakes_beside_table(card, fault_table(args.table)))
    profile = PROFILES.get(args.profile) if args.profile else None
    remarks: list[str] = []
    if profile is not None:
        reviews = (passed_over, not_judged, not_measured)
        remarks = [remark for review in reviews for remark in review(card, profile)]
    if args.json:
        facts = {"file": args.file, "card": card.id, "title": card.title, "steps": len(card.step)}
        print(json.dumps(facts | {"mistakes": mistakes, "remarks": remarks}, ensure_ascii=False))
        return 1 if mistakes else 0
    for mistake in mistakes:
        print(f"{plain(args.file, 400)}: {plain(mistake, 400)}")
    if mistakes:
        return 1
    print(f"{plain(args.file, 400)} is a card of {len(card.step)} steps: {plain(card.title)}")
    if profile is not None:
        print(f"With the profile {plain(profile.name)}:")
        for remark in remarks or ["every step can be done, and everything in it is asked for"]:
            print(f"  {plain(remark, 400)}")
    return 0


def _lines(card: "Card") -> "Iterator[str]":
    from meterlink.quantities.text import plain
    from meterlink.steps.entry import STANDING

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

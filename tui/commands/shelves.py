"""Work cards and coil profiles: those there are, what one says, whether a file is one."""

import argparse
from collections.abc import Callable, Iterator
from pathlib import Path

from meterlink.card import Card
from meterlink.declared import to_plain
from meterlink.errors import MeterlinkError, UsageError
from meterlink.finding.cards import mistakes_beside_table, not_judged, not_measured, passed_over
from meterlink.profile import Profile, read_profile
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING
from tui import settings
from tui.announcing.limits import limits_of
from tui.commands.finding import fault_table
from tui.commands.shared import json_option, print_json
from tui.plain.profile_questions import as_toml, ask_profile
from tui.plain.prompts import Prompter
from tui.settings import CARDS, PROFILES, Shelf, Thing, write_whole


def add_cards(parser: argparse.ArgumentParser) -> None:
    """Declare what to do, and to which."""
    parser.set_defaults(run=lambda args: _list(args, CARDS, ("card", "title"), _title_of))
    what = parser.add_subparsers(metavar="WHAT")
    shown = what.add_parser("show", help="the steps of a card")
    shown.add_argument("name", metavar="C", help="name or path")
    shown.set_defaults(run=lambda args: _show(args, CARDS.get(args.name), _card_lines))
    checked = what.add_parser("check", help="whether a file is a card")
    checked.add_argument("file", metavar="FILE", help="name or path")
    checked.add_argument(
        "--profile", metavar="P", help="say too which steps this profile would pass over"
    )
    checked.add_argument("--table", metavar="FILE", help="a fault table of your own")
    checked.set_defaults(run=_check_card)
    listed = what.add_parser("list", help="those there are (also when nothing is said)")
    json_option(parser, shown, checked, listed)


def add_profiles(parser: argparse.ArgumentParser) -> None:
    """Declare what to do, and to which."""
    parser.set_defaults(run=lambda args: _list(args, PROFILES, ("profile", "name"), _name_of))
    what = parser.add_subparsers(metavar="WHAT")
    shown = what.add_parser("show", help="what a profile says")
    shown.add_argument("name", metavar="P", help="name or path")
    shown.set_defaults(run=lambda args: _show(args, PROFILES.get(args.name), _profile_lines))
    checked = what.add_parser("check", help="whether a file is a profile")
    checked.add_argument("file", metavar="FILE", type=Path)
    checked.set_defaults(run=_check_profile)
    made = what.add_parser("new", help="ask for every value, and write a profile")
    made.add_argument(
        "file",
        metavar="FILE",
        type=Path,
        nargs="?",
        help="default: in your own profiles folder",
    )
    made.set_defaults(run=_new_profile)
    listed = what.add_parser("list", help="those there are (also when nothing is said)")
    json_option(parser, shown, checked, listed)


def _list(
    args: argparse.Namespace,
    shelf: Shelf[Thing],
    keys: tuple[str, str],
    title_of: Callable[[Thing], str],
) -> int:
    """Print every file on ``shelf``; ``keys`` name the file and its title in JSON."""
    for found in shelf.all():
        try:
            title = title_of(shelf.read(found.file))
        except MeterlinkError as fault:
            title = f"cannot be used: {fault}"
        if args.json:
            print_json({keys[0]: found.name, keys[1]: title, "shipped": found.shipped})
        else:
            print(f"{plain(found.name):<24}{plain(title, 400)}")
    return 0


def _title_of(card: Card) -> str:
    return card.title


def _name_of(profile: Profile) -> str:
    return profile.name


def _show(
    args: argparse.Namespace, thing: Thing, lines_of: Callable[[Thing], Iterator[str]]
) -> int:
    print_json(to_plain(thing)) if args.json else print("\n".join(lines_of(thing)))
    return 0


# --- cards ----------------------------------------------------------------------------------------


def _check_card(args: argparse.Namespace) -> int:
    """Say everything that is wrong with a card beside a fault table, and what a profile leaves."""
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
        print_json(facts | {"mistakes": mistakes, "remarks": remarks})
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


def _card_lines(card: Card) -> Iterator[str]:
    yield f"{plain(card.title)} ({card.id})"
    if card.about:
        yield plain(card.about)
    for number, step in enumerate(card.step, start=1):
        kind = step.__struct_config__.tag
        yield f"{number:>3}. {plain(step.title)}  ({kind}, {step.id})"
        if step.say:
            yield f"     {plain(step.say, 600)}"
        for condition in step.only_if:
            yield f"     only if “{condition.step}” was {' or '.join(condition.was)}"
        if kind == "caution":
            yield from (f"     - {line}" for line in (*STANDING, *getattr(step, "lines", ())))


# --- profiles -------------------------------------------------------------------------------------


def _check_profile(args: argparse.Namespace) -> int:
    """Say that a file is a profile; that it is none is an error, which names the key."""
    profile, file = PROFILES.read(args.file), str(args.file)
    if args.json:
        print_json({"file": file, "profile": profile.id, "name": profile.name})
    else:
        print(f"{plain(file, 400)} is a profile: {plain(profile.name, 400)}")
    return 0


def _new_profile(args: argparse.Namespace) -> int:
    """Ask, prove that what is written reads back, write."""
    asker, file = Prompter(), args.file
    if file is not None:
        _require_free(asker, file)
    profile = ask_profile(asker)
    if file is None:
        file = settings.config_folder() / "profiles" / f"{profile['id']}.toml"
        _require_free(asker, file)
    data = as_toml(profile)
    read_profile(data, file.name)
    write_whole(file, data)
    print(f"wrote {plain(str(file), 400)}")
    return 0


def _require_free(asker: Prompter, file: Path) -> None:
    name = plain(str(file), 400)
    if file.exists() and not asker.yes(f"{name} is there already; write over it?", default=False):
        raise UsageError(f"{name} was left as it is; name another file")


def _profile_lines(profile: Profile) -> Iterator[str]:
    yield f"{plain(profile.name)} ({profile.id})"
    if profile.about:
        yield plain(profile.about)
    for limit in limits_of(profile):
        yield f"  {limit.part:<18}{limit.says}"
        yield from (f"  {'':<18}{line}" for line in (*limit.more, f"source: {limit.source}"))

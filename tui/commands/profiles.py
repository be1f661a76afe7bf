"""``meterlink profiles``: the coil profiles there are, and what one says."""

import argparse
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlink.profile import Profile

NAME: Final = "profiles"
HELP: Final = "list coil profiles, show one, or check a file"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to do, and to which."""
    what = parser.add_subparsers(metavar="WHAT", dest="what")
    shown = what.add_parser("show", help="what a profile says")
    shown.add_argument("profile", metavar="P", help="name or path")
    shown.add_argument("--json", action="store_true", help="one JSON object")
    checked = what.add_parser("check", help="whether a file is a profile")
    checked.add_argument("file", metavar="FILE")
    listed = what.add_parser("list", help="those there are (also when nothing is said)")
    for listing in (parser, listed):
        listing.add_argument("--json", action="store_true", help="one JSON object a line")


def run(args: argparse.Namespace) -> int:
    """List, show or check."""
    from pathlib import Path

    from tui.shelf import PROFILES

    match args.what:
        case "show":
            profile = PROFILES.get(args.profile)
            _print_json(profile) if args.json else _print_text(profile)
        case "check":
            profile = PROFILES.read(Path(args.file))
            print(f"{args.file} is a profile: {profile.name}")
        case _:
            _list(as_json=args.json)
    return 0


def _list(*, as_json: bool) -> None:
    import json

    from meterlink.errors import MeterlinkError
    from tui.shelf import PROFILES

    for found in PROFILES.all():
        try:
            name = PROFILES.read(found.file).name
        except MeterlinkError as fault:
            name = f"cannot be used: {fault}"
        if as_json:
            print(json.dumps({"profile": found.name, "name": name, "shipped": found.shipped}))
        else:
            print(f"{found.name:<24}{name}")


def _print_json(profile: "Profile") -> None:
    import json

    from meterlink.declared import to_plain

    print(json.dumps(to_plain(profile), ensure_ascii=False))


def _print_text(profile: "Profile") -> None:
    for line in _lines(profile):
        print(line)


def _lines(profile: "Profile") -> "Iterator[str]":
    from meterlink.notation import format_value
    from meterlink.profile import Gap, Lead, Torque, Winding
    from meterlink.text import plain
    from tui.signs import can_show

    sign = can_show("Ω")

    def written(value: float, unit: str = "ohm") -> str:
        return format_value(value, unit, ohm_sign=sign)

    yield f"{plain(profile.name)} ({profile.id})"
    if profile.about:
        yield plain(profile.about)
    parts: list[Winding | Lead | Gap | Torque] = [*profile.winding, *profile.lead]
    for part in [*parts, *profile.gap, *profile.torque]:
        unit = "metre" if isinstance(part, Gap) else "ohm"
        unit = "newton-metre" if isinstance(part, Torque) else unit
        window = "not judged by resistance"
        if part.low is not None and part.high is not None:
            window = f"{written(part.low, unit)} to {written(part.high, unit)}"
        at = f" at {part.at:g} °C" if isinstance(part, Winding) and part.low is not None else ""
        yield f"  {plain(part.name):<18}{window}{at}"
        yield f"  {'':<18}source: {plain(part.source)}"
    for switch in profile.switch:
        positions = ", ".join(f"{plain(p)} {state}" for p, state in switch.positions.items())
        yield f"  {plain(switch.name):<18}{positions}; closed is {written(switch.closed_at_most)}"
        yield f"  {'':<18}or less, open is {written(switch.open_at_least)} or more"
        yield f"  {'':<18}source: {plain(switch.source)}"
    for insulation in profile.insulation:
        yield f"  {plain(insulation.name):<18}at least {written(insulation.at_least)}"
        yield f"  {'':<18}source: {plain(insulation.source)}"

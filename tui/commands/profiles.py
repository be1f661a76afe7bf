"""``meterlink profiles``: the coil profiles there are, and what one says."""

import argparse
from typing import TYPE_CHECKING, Final

from tui.commands._options import add_json

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from meterlink.profile import Profile, Winding
    from tui.plain.prompts import Prompter

NAME: Final = "profiles"
HELP: Final = "list coil profiles, show one, check a file, or make one by answering questions"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to do, and to which."""
    what = parser.add_subparsers(metavar="WHAT", dest="what")
    shown = what.add_parser("show", help="what a profile says")
    shown.add_argument("profile", metavar="P", help="name or path")
    checked = what.add_parser("check", help="whether a file is a profile")
    checked.add_argument("file", metavar="FILE")
    made = what.add_parser("new", help="ask for every value, and write a profile")
    made.add_argument(
        "file", metavar="FILE", nargs="?", help="default: in your own profiles folder"
    )
    listed = what.add_parser("list", help="those there are (also when nothing is said)")
    add_json(parser, shown, checked, listed)


def run(args: argparse.Namespace) -> int:
    """List, show or check."""
    from pathlib import Path

    from tui.settings.shelf import PROFILES, print_all

    match args.what:
        case "show":
            profile = PROFILES.get(args.profile)
            _print_json(profile) if args.json else _print_text(profile)
        case "check":
            _check(Path(args.file), as_json=args.json)
        case "new":
            _new(None if args.file is None else Path(args.file))
        case _:
            print_all(
                PROFILES, ("profile", "name"), lambda profile: profile.name, as_json=args.json
            )
    return 0


def _check(file: "Path", *, as_json: bool) -> None:
    """Say that ``file`` is a profile; that it is none is an error, which names the key."""
    import json

    from meterlink.quantities.text import plain
    from tui.settings.shelf import PROFILES

    profile = PROFILES.read(file)
    if as_json:
        facts = {"file": str(file), "profile": profile.id, "name": profile.name}
        print(json.dumps(facts, ensure_ascii=False))
    else:
        print(f"{plain(str(file), 400)} is a profile: {plain(profile.name, 400)}")


def _new(file: "Path | None") -> None:
    """Ask, prove that what is written reads back, write."""
    from meterlink.profile import read_profile
    from meterlink.quantities.text import plain
    from tui.plain.profile_questions import as_toml, ask_profile
    from tui.plain.prompts import Prompter
    from tui.settings.configuration import write_whole
    from tui.settings.shelf import config_folder

    asker = Prompter()
    if file is not None:
        _require_free(asker, file)
    profile = ask_profile(asker)
    if file is None:
        file = config_folder() / "profiles" / f"{profile['id']}.toml"
        _require_free(asker, file)
    data = as_toml(profile)
    read_profile(data, file.name)
    write_whole(file, data)
    print(f"wrote {plain(str(file), 400)}")


def _require_free(asker: "Prompter", file: "Path") -> None:
    from meterlink.errors import UsageError
    from meterlink.quantities.text import plain

    name = plain(str(file), 400)
    if file.exists() and not asker.yes(f"{name} is there already; write over it?", default=False):
        raise UsageError(f"{name} was left as it is; name another file")


def _winding(winding: "Winding", written: "Callable[[float], str]") -> "Iterator[str]":
    """Yield what else is said of a winding; open and short as they are judged."""
    from meterlink.quantities.text import plain

    if not winding.judged_by_resistance:
        yield plain(winding.why_not, 400)
        return
    criterion = winding.criterion
    if criterion.open_above is not None and criterion.short_below is not None:
        above, below = written(criterion.open_above), written(criterion.short_below)
        yield f"open above {above}, short below {below}, corrected like the window"
    if winding.series:
        series = written(winding.series)
        yield f"{series} in line, {winding.series_tolerance:g} % either way, is taken off"
    if winding.temperature != "ambient":
        yield f"temperature: {winding.temperature}"
    if winding.four_wire:
        yield "four wires, where the meter can"


def _print_json(profile: "Profile") -> None:
    import json

    from meterlink.declared import to_plain

    print(json.dumps(to_plain(profile), ensure_ascii=False))


def _print_text(profile: "Profile") -> None:
    for line in _lines(profile):
        print(line)


def _lines(profile: "Profile") -> "Iterator[str]":
    from meterlink.profile import GapSetting, Lead, Torque, Winding
    from meterlink.quantities.notation import format_value
    from meterlink.quantities.text import plain
    from tui.announcing.signs import can_show

    sign = can_show("Ω")

    def written(value: float, unit: str = "ohm") -> str:
        return format_value(value, unit, ohm_sign=sign)

    yield f"{plain(profile.name)} ({profile.id})"
    if profile.about:
        yield plain(profile.about)
    parts: list[Winding | Lead | GapSetting | Torque] = [*profile.winding, *profile.lead]
    for part in [*parts, *profile.gap, *profile.torque]:
        unit = "metre" if isinstance(part, GapSetting) else "ohm"
        unit = "newton-metre" if isinstance(part, Torque) else unit
        window = "not judged by resistance"
        if part.low is not None and part.high is not None:
            window = f"{written(part.low, unit)} to {written(part.high, unit)}"
        at = f" at {part.at:g} °C" if isinstance(part, Winding) and part.low is not None else ""
        yield f"  {plain(part.name):<18}{window}{at}"
        if isinstance(part, Winding):
            yield from (f"  {'':<18}{line}" for line in _winding(part, written))
        yield f"  {'':<18}source: {plain(part.source)}"
    for switch in profile.switch:
        positions = ", ".join(f"{plain(p)} {state}" for p, state in switch.positions.items())
        yield f"  {plain(switch.name):<18}{positions}; closed is {written(switch.closed_at_most)}"
        yield f"  {'':<18}or less, open is {written(switch.open_at_least)} or more"
        yield f"  {'':<18}source: {plain(switch.source)}"
    for insulation in profile.insulation:
        yield f"  {plain(insulation.name):<18}at least {written(insulation.at_least)}"
        yield f"  {'':<18}source: {plain(insulation.source)}"

"""``meterlink key``: the key with which this bench signs the records that it closes."""

import argparse
from typing import Final

NAME: Final = "key"
HELP: Final = "make or show the key with which this bench signs its records"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to do."""
    does = parser.add_subparsers(dest="does", metavar="WHAT", required=True)
    make = does.add_parser("make", help="make a key; every job closed here is signed from then on")
    show = does.add_parser("show", help="print its public part, for whoever is to trust it")
    for word in (make, show):
        word.add_argument(
            "--name", metavar="NAME", default="this bench", help="what others shall call this bench"
        )


def run(args: argparse.Namespace) -> int:
    """Print the public part as a line of a file of trusted keys."""
    from captures.record.signature import as_text, make_key, public_key

    public = make_key() if args.does == "make" else public_key()
    print(as_text(args.name, public), end="")
    return 0

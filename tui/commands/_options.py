"""Options that several commands share: ``--json``, and the seeds of what is random."""

import argparse


def add_json(command: argparse.ArgumentParser, *words: argparse.ArgumentParser) -> None:
    """Declare ``--json`` for ``command`` and for each of its ``words``.

    A word's own parser sets it only where it is given there, so that it does not undo what stood
    before the word.
    """
    for parser in (command, *words):
        parser.add_argument(
            "--json",
            action="store_true",
            default=False if parser is command else argparse.SUPPRESS,
            help="one JSON object a line",
        )


def seed(text: str) -> int:
    """Return the seed that ``text`` says: the random numbers take none below zero."""
    value = int(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{value} is no seed; give 0 or more")
    return value

"""``--seed`` on the command line."""

import argparse


def seed(text: str) -> int:
    """Return the seed that ``text`` says: the random numbers take none below nought."""
    value = int(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{value} is no seed; give 0 or more")
    return value

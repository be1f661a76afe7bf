"""Files that people write: a slip of the finger in a key is answered with the key that is meant."""

import msgspec
import pytest

from meterlink.card import read_card
from meterlink.declared import decode
from meterlink.errors import InvalidFileError
from meterlink.profile import Profile
from meterlink.training.case import PracticeExercise

WINDING = """
[[winding]]
name = "primary"
between = ["primary terminal", "laminations"]
low = "0.7 ohm"
high = "1.0 ohm"
at = "20 celsius"
source = "invented"
"""
PROFILE = 'format = 1\nid = "p"\nname = "Pump"\n' + WINDING
CARD = """
format = 1
id = "c"
title = "Short"
[[step]]
kind = "caution"
id = "first"
title = "First"
[[step]]
kind = "measurement"
id = "primary"
title = "Primary"
winding = "primary"
"""


@pytest.mark.parametrize(
    ("right", "wrong"),
    [("low = ", "lwo = "), ("between = ", "beetween = "), ("name = ", "nmae = ")],
)
def test_a_key_of_a_profile_misspelt(right, wrong):
    assert decode(PROFILE.encode(), Profile, "p.toml").name == "Pump"
    meant, typed = right.removesuffix(" = "), wrong.removesuffix(" = ")
    with pytest.raises(
        InvalidFileError, match=rf"p\.toml: .*`{typed}`; perhaps `{meant}` is meant"
    ):
        decode(PROFILE.replace(right, wrong).encode(), Profile, "p.toml")


def test_a_key_of_one_kind_of_step_misspelt():
    assert read_card(CARD.encode(), "c.toml").title == "Short"
    with pytest.raises(InvalidFileError, match=r"step\[1\].*`windin`; perhaps `winding` is meant"):
        read_card(CARD.replace("winding =", "windin =").encode(), "c.toml")


def test_a_key_that_is_like_no_other_gets_no_guess():
    with pytest.raises(InvalidFileError, match=r"unknown field `qqqq`$"):
        decode(PROFILE.replace("low = ", "qqqq = ").encode(), Profile, "p.toml")


def test_a_value_that_is_none_of_a_few_is_answered_with_those():
    with pytest.raises(
        InvalidFileError, match=r"difficulty: there is no 'wicked'; expected easy or"
    ):
        decode(b'format = 1\ndifficulty = "wicked"\n', PracticeExercise, "e.toml")


def test_a_file_of_a_newer_format_asks_for_a_newer_program():
    newer = PROFILE.replace("format = 1", "format = 2").encode()
    with pytest.raises(InvalidFileError, match=r"p\.toml: format: .* format 2; update meterlink"):
        decode(newer, Profile, "p.toml")


def test_no_text_of_a_file_steers_a_terminal_and_line_breaks_stay():
    class Words(msgspec.Struct):
        say: str
        more: list[str]

    data = b'say = "one\\ntwo \\u001b[2J"\nmore = ["\\u202eback", "plain"]\n'
    read = decode(data, Words, "mine.toml")
    assert read.say == "one\ntwo \ufffd[2J"
    assert read.more == ["\ufffdback", "plain"]

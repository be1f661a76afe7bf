"""Error queue entries; form and numbers as in SCPI-1999 volume 2, 21.8, by way of the public
repository j123b567/scpi-parser at commit 88661590 (its error.h lists numbers and texts)."""

import pytest

from drivers.scpi.answers import AnswerFormError
from drivers.scpi.status import parse_entry


@pytest.mark.parametrize("answer", ['0,"No error"', '+0,"No error"', "0", '0, "NO ERROR"'])
def test_an_empty_queue_is_told(answer):
    assert parse_entry(answer) is None


def test_description_and_device_info_are_kept():
    entry = parse_entry('-113,"Undefined header;ABCD"')
    assert entry is not None
    assert (entry.code, entry.text) == (-113, "Undefined header;ABCD")
    assert str(entry) == (
        "the meter does not know that command (error -113, Undefined header;ABCD)"
    )


@pytest.mark.parametrize(
    ("code", "text", "words"),
    [
        (-222, "Data out of range", "cannot do it"),
        (-350, "Queue overflow", "fault of its own"),
        (-410, "Query INTERRUPTED", "out of step"),
        (-230, "Data corrupt or stale", "cannot do it"),
    ],
)
def test_a_number_alone_gets_the_standards_text(code, text, words):
    entry = parse_entry(str(code))
    assert entry is not None
    assert entry.text == text
    assert words in str(entry)


def test_a_makers_own_number_is_shown_as_it_is():
    assert str(parse_entry('+521,"Gate time"')) == "error 521, Gate time"


def test_control_bytes_in_a_description_are_made_visible():
    assert "\x1b" not in str(parse_entry('-100,"\x1b[31m"'))


@pytest.mark.parametrize("answer", ["", "+1.0000E+03", "OK", "READ?"])
def test_what_is_no_entry_is_refused(answer):
    with pytest.raises(AnswerFormError):
        parse_entry(answer)

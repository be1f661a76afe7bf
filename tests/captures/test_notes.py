"""An instructor's notes: pinned to moments, and said where they point nowhere."""

import pytest

from captures.training.notes import Notes, notes_path, parse_notes, read_notes
from meterlink.card import read_card
from meterlink.errors import InvalidFileError
from meterlink.events import Contact, Event, Held, Judged, Lift, StepBegan, StepEnded, Verdict

CARD = read_card(
    b"""
format = 1
id = "short"
title = "Short"
[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"
[[step]]
kind = "measurement"
id = "primary"
title = "Primary"
winding = "primary"
""",
    "short.toml",
)


def notes(text: str) -> Notes:
    return parse_notes(f'format = 1\nby = "Ines"\n{text}'.encode(), "x.notes.toml")


def pin(pin: str) -> str:
    return f'[[note]]\n{pin}\nsay = "look"\n'


def touch(t: float) -> list[Event]:
    held = Held(
        t=t + 1, contact_t=t, value=1.0, readings=9, noise=0.0, resolution=0.0, u=0.0, dof=8.0
    )
    return [Contact(t=t), held, Lift(t=t + 2, contact_t=t, held=True)]


def judged(t: float) -> Judged:
    return Judged(
        t=t,
        step="primary",
        contact_t=1.0,
        value=1.0,
        verdict=Verdict.ABOVE,
        probability=1.0,
        clear=True,
    )


ROW: list[Event] = [
    StepBegan(t=0.5, step="primary"),
    *touch(1.0),
    *touch(5.0),
    judged(6.0),
    StepEnded(t=7.0, step="primary", outcome="above"),
]


def shown_at(found: Notes) -> list[float]:
    """Return the times at which notes are shown."""
    times = []
    for event in ROW:
        times += [event.t for _ in found.now(event.t, [event])]
    return times


@pytest.mark.parametrize(
    ("where", "t"),
    [
        ('at = "2 s"', 2.0),
        ("touch = 2", 5.0),
        ('touch = 1\nwhen = "held"', 2.0),
        ('touch = 2\nwhen = "lift"', 7.0),
        ('step = "primary"', 0.5),
        ('step = "primary"\nwhen = "verdict"', 6.0),
        ('step = "primary"\nwhen = "end"', 7.0),
    ],
)
def test_a_note_is_shown_once_at_its_moment(where, t):
    found = notes(pin(where))
    assert shown_at(found) == [t]
    assert found.astray(CARD, 7.0) == []


@pytest.mark.parametrize(
    ("where", "why"),
    [
        ('at = "99 s"', "the capture ends at 7.0 s"),
        ("touch = 3", "the capture has 2 touches"),
        ('step = "tertiary"', "the card “short” has no such step"),
        ('step = "cautions"', "that never happens in the capture"),
    ],
)
def test_a_note_that_points_nowhere_is_named_with_the_reason(where, why):
    found = notes(pin('at = "1 s"') + pin(where))
    shown_at(found)
    (said,) = found.astray(CARD, 7.0)
    assert said.startswith("x.notes.toml: note[1] points at ")
    assert said.endswith(why)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        (pin('at = "2 s"\ntouch = 1'), "note[0]: expected exactly one of at, touch and step"),
        (pin(""), "found none"),
        (pin('at = "2 s"\nwhen = "held"'), "note[0].when"),
        (pin('touch = 1\nwhen = "verdict"'), "expected contact, held, lift"),
        (pin('at = "-2 s"'), "note[0].at"),
        (pin("at = 2"), "needs a text with a unit"),
        (pin("touch = 0"), "note[0].touch"),
        ('[[note]]\nat = "1 s"\nsay = ""', "note[0].say"),
        ("colour = 1", "colour"),
        ("][", "is not TOML"),
    ],
)
def test_what_is_wrong_is_named_by_file_and_key(text, names):
    with pytest.raises(InvalidFileError) as fault:
        notes(text)
    assert str(fault.value).startswith("x.notes.toml")
    assert names in str(fault.value)


def test_notes_lie_beside_the_capture_and_may_be_absent(tmp_path):
    capture = tmp_path / "0001-primary.jsonl"
    assert len(read_notes(capture)) == 0
    assert notes_path(capture).name == "0001-primary.notes.toml"
    notes_path(capture).write_text('format = 1\n[[note]]\ntouch = 1\nsay = "Ω?"', encoding="utf-8")
    assert [note.say for note in read_notes(capture).now(0.0, [Contact(t=0.0)])] == ["Ω?"]

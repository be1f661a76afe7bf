"""The exercises that ship: sealed, replayed to the events recorded, come to the stated results."""

import re
import shutil

import pytest

from captures.record.reader import read_capture
from captures.record.verify import State, verify
from captures.training.catalogue import (
    CATALOGUE,
    SHIPPED,
    Shelved,
    faults_of,
    parse_catalogue,
    read_catalogue,
)
from captures.training.notes import notes_path, read_notes
from meterlink.errors import InvalidFileError
from meterlink.finding.table import shipped_table

SHELF = read_catalogue(SHIPPED)

ENTRY = """
[[exercise]]
id = "open-primary"
title = "Open"
goal = "See it."
difficulty = "easy"
explanation = "It is open."
expect = { primary = "open" }
"""


@pytest.mark.parametrize("shelved", SHELF, ids=lambda shelved: shelved.exercise.id)
def test_every_capture_gives_its_stated_result(shelved):
    assert list(faults_of(shelved)) == []
    assert verify(shelved.capture).state is State.WHOLE


@pytest.mark.parametrize("shelved", SHELF, ids=lambda shelved: shelved.exercise.id)
def test_every_header_says_that_the_simulated_bench_made_it(shelved):
    with read_capture(shelved.capture) as capture:
        settings = capture.header.settings
    made = shelved.exercise.made
    assert settings["simulated"] is True
    assert (settings["scenario"], settings["seed"]) == (made.scenario, made.seed)


def test_the_library_covers_what_there_is_to_learn():
    kinds = {shelved.exercise.id for shelved in SHELF}
    assert kinds >= {
        *(
            "sound-armature",
            "dropped-on-the-quay",
            "summer-exercise",
            "weak-and-hard-to-start",
            "damp-winter",
        ),
        *("bare-fingers", "two-hours-of-pumping", "rust-and-cold-fingers", "in-a-hurry"),
        *("pocket-meter", "washed-down", "fuel-tap"),
        *("rough-ground", "radio-van", "edge-of-the-window", "with-electronics"),
    }
    assert {shelved.exercise.difficulty for shelved in SHELF} == {"easy", "medium", "hard"}


def test_every_fault_named_is_in_the_fault_table():
    named = {shelved.exercise.fault for shelved in SHELF} - {""}
    assert named <= set(shipped_table().faults)


def test_nothing_lies_in_the_library_that_no_exercise_has():
    expected = {CATALOGUE} | {shelved.capture.name for shelved in SHELF}
    expected |= {path.name for path in map(notes_path, (s.capture for s in SHELF)) if path.exists()}
    assert {path.name for path in SHIPPED.iterdir()} == expected


def test_the_captures_are_small():
    assert max(shelved.capture.stat().st_size for shelved in SHELF) < 120_000


def copied(tmp_path, name="dropped-on-the-quay") -> Shelved:
    shelved = next(s for s in SHELF if s.exercise.id == name)
    shutil.copy(shelved.capture, tmp_path)
    return Shelved(shelved.exercise, tmp_path)


def test_an_altered_capture_is_found(tmp_path):
    shelved = copied(tmp_path)
    text = shelved.capture.read_text("utf-8")
    # The second touch now reads a little more than it did.
    changed, count = re.subn(r'("value":0\.1)(\d+)', r"\g<1>9\2", text, count=1)
    assert count == 1
    shelved.capture.write_text(changed, encoding="utf-8")
    assert any("altered" in fault for fault in faults_of(shelved))


def test_a_result_that_is_stated_wrongly_is_found(tmp_path):
    from msgspec.structs import replace

    shelved = copied(tmp_path)
    wrong = replace(shelved.exercise, expect={"primary": "short", "tertiary": "open"})
    assert list(faults_of(Shelved(wrong, tmp_path))) == [
        "dropped-on-the-quay: primary should come to “short” and comes to “open”",
        "dropped-on-the-quay: the card has no step “tertiary”",
    ]
    close = replace(shelved.exercise, close=("secondary",))
    (fault,) = faults_of(Shelved(close, tmp_path))
    assert fault == "dropped-on-the-quay: secondary should be too close to call, and is clear"


def test_notes_that_point_nowhere_are_found(tmp_path):
    shelved = copied(tmp_path)
    shelved.notes.write_text('format = 1\n[[note]]\ntouch = 99\nsay = "x"', encoding="utf-8")
    (fault,) = faults_of(shelved)
    assert "note[0] points at touch 99" in fault


def test_a_capture_that_is_missing_is_a_sentence(tmp_path):
    shelved = copied(tmp_path)
    shelved.capture.unlink()
    (fault,) = faults_of(shelved)
    assert "cannot be read" in fault


def test_shipped_notes_can_be_read():
    assert sum(len(read_notes(shelved.capture)) for shelved in SHELF) >= 6


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("format = 1", "exercise"),
        ("format = 2\n" + ENTRY, "format"),
        ("format = 1\n" + ENTRY + ENTRY, "exercise[1].id: “open-primary” is there twice"),
        ("format = 1\n" + ENTRY.replace("easy", "mild"), "exercise[0].difficulty"),
        ("format = 1\n" + ENTRY.replace("open-primary", "../up"), "exercise[0].id"),
        ("format = 1\n" + ENTRY + 'close = ["tertiary"]', "exercise[0].close"),
        ("format = 1\n" + ENTRY + 'colour = "red"', "colour"),
    ],
)
def test_what_is_wrong_in_a_catalogue_is_named(tmp_path, text, names):
    with pytest.raises(InvalidFileError) as fault:
        parse_catalogue(text.encode(), tmp_path)
    assert names in str(fault.value)

"""The repair as a step: what was found, done and fitted, and what the finding makes of it then."""

import msgspec
import pytest

from meterlink.card import BenchEvent
from meterlink.commands import Confirm, Deny, Enter, Redo
from meterlink.errors import InvalidFileError
from meterlink.events import Asked, StepEnded
from meterlink.finding.cards import told_by_cards
from meterlink.finding.find import find
from meterlink.steps.repair import Mended, PartFitted
from tests.meterlink.bench_hands import Hands, card
from tui.announcing.teller import Teller, table

REPAIR = (
    'kind = "repair"\nid = "repair"\ntitle = "What was mended"\n'
    'places = ["armature", "plug", "plug lead or cap", "stop switch"]'
)
SPARK = 'kind = "confirmation"\nid = "spark"\ntitle = "Spark"\ncheck = "spark-at-gap"'
AGAIN = 'kind = "confirmation"\nid = "again"\ntitle = "Spark again"\ncheck = "spark-again"'
START = 'kind = "confirmation"\nid = "start"\ntitle = "Engine starts"\ncheck = "start"'
STOPS = 'kind = "confirmation"\nid = "stops"\ntitle = "Stop check"\ncheck = "stop-check"'


def at_work(*steps: str) -> Hands:
    return Hands(card(*(steps or (REPAIR,)))).cautions()


def type_in(hands: Hands, *lines: str) -> Hands:
    """Type each line; an empty one confirms."""
    for line in lines:
        hands.tell(Enter(text=line, who="A. Mender") if line else Confirm())
    return hands


RENEWED = ("armature", "primary open", "renewed", "armature, 30-118, club store", "nothing")


def test_place_finding_work_and_part_make_one_record():
    hands = type_in(at_work(), *RENEWED)
    mended = hands.last(Mended)
    assert mended.place == "armature"
    assert (mended.found, mended.done, mended.who) == ("primary open", "renewed", "A. Mender")
    assert mended.part == PartFitted("armature", "30-118", "club store")
    assert hands.outcomes["repair"] == "mended"
    assert hands.bench.progress.mended == ("armature",)


def test_several_places_can_be_put_right_and_the_newer_record_of_one_counts():
    hands = type_in(at_work(), "plug", "", "cleaned", "", "arm", "", "renewed", "")
    type_in(hands, "2", "fouled", "renewed", "plug", "")
    progress = hands.bench.progress
    assert progress.mended == ("armature", "plug")
    assert "Armature: renewed.; Plug" not in hands.last(Asked).say
    assert progress.results["repair"].own.in_short(ohm_sign=True) == (
        "armature: renewed; plug: renewed"
    )


@pytest.mark.parametrize("typed", ["", "nothing", "Nothing"])
def test_nothing_is_an_answer_too(typed):
    hands = type_in(at_work(), typed)
    assert hands.outcomes["repair"] == "nothing"
    assert hands.bench.progress.mended == ()


def test_what_cannot_be_meant_is_asked_again_and_no_work_is_no_repair():
    hands = type_in(at_work(), "flywheel")
    assert "“flywheel” is none of armature, plug" in hands.last(Asked).say
    type_in(hands, "plug", "fouled", "")
    assert "What was done to “plug”" in hands.last(Asked).say
    hands.tell(Deny())
    assert "repair" not in hands.outcomes


def test_a_hostile_text_is_made_plain():
    hands = type_in(at_work(), "plug", "\x1b[31mred", "new\x07", "a\u202eb, 1")
    told = hands.last(Mended)
    assert not any(ord(c) < 32 or c == "\u202e" for c in f"{told.found}{told.done}{told.part}")


def test_a_repair_that_is_opened_again_counts_no_more():
    hands = type_in(at_work(REPAIR, START), *RENEWED)
    hands.tell(Redo(step="repair"))
    assert hands.bench.progress.mended == ()


def test_places_twice_on_a_card_are_a_mistake():
    with pytest.raises(InvalidFileError, match="twice"):
        card(REPAIR.replace('"plug"', '"armature"', 1))


def test_an_event_goes_into_a_file_and_comes_back():
    mended = type_in(at_work(), *RENEWED).last(Mended)
    back = msgspec.json.decode(msgspec.json.encode(mended), type=BenchEvent)
    assert back == mended


def told(hands: Hands):
    said = told_by_cards([hands.bench.progress])
    return said, find(said.outcomes, "no-spark", parts=said.parts, later=said.later)


def test_after_the_repair_the_finding_starts_again_from_what_was_changed():
    hands = type_in(at_work(SPARK, REPAIR, AGAIN, START, STOPS), "no", *RENEWED)
    said, found = told(hands)
    assert said.outcomes == {"spark-at-gap": "no"}
    assert [(stage.mended, stage.outcomes) for stage in said.later] == [(("armature",), {})]
    assert found.mended == ("armature",)
    assert not found.closed
    type_in(hands, "yes", "yes", "yes")
    said, closed = told(hands)
    assert closed.closed
    assert closed.sentences[0] == (
        "Put right: armature. The engine starts, and stops by its control."
    )
    assert "It was most likely: armature" in closed.sentences[1]
    before = {p.place: p.probability for p in found.places}["armature"]
    assert {p.place: p.probability for p in closed.places}["armature"] > max(0.9, before)


def test_a_repair_that_did_not_help_leaves_something_else():
    hands = type_in(at_work(SPARK, REPAIR, AGAIN, START, STOPS), "no", *RENEWED, "yes", "no")
    _, found = told(hands)
    assert not found.closed
    assert any(placed.place != "armature" for placed in found.named)


def test_a_start_without_the_stop_check_closes_nothing():
    hands = type_in(at_work(SPARK, REPAIR, AGAIN, START, STOPS), "no", *RENEWED, "yes", "yes")
    assert not told(hands)[1].closed


def test_the_record_is_told_in_a_sentence_and_stands_in_the_table():
    hands = type_in(at_work(), *RENEWED)
    teller = Teller(hands.bench.card, ohm_sign=False)
    said = teller.tell(hands.last(Mended))
    assert said is not None
    assert "found primary open; renewed; fitted: armature, 30-118, club store" in said
    assert "armature: renewed" in "\n".join(table(hands.bench.progress, teller))
    assert hands.last(StepEnded).outcome == "mended"

"""Cards as files: what ships is sound, and what is wrong is said in one sentence."""

import pytest

from meterlink.card import outcomes_of, read_card
from meterlink.declared import InvalidFileError
from meterlink.finding import find
from tui.shelf import CARDS, PROFILES

HEAD = 'format = 1\nid = "c"\ntitle = "C"\n'
CAUTION = '[[step]]\nkind = "caution"\nid = "cautions"\ntitle = "Cautions"\n'
ASK = '[[step]]\nkind = "confirmation"\nid = "ask"\ntitle = "Ask"\n'


def test_every_shipped_card_and_profile_can_be_read():
    names = {found.name for found in CARDS.all() if found.shipped}
    assert {"no-spark", "wont-stop", "dies-hot", "spare-armature", "reassembly"} <= names
    for shelf in (CARDS, PROFILES):
        for found in shelf.all():
            assert shelf.read(found.file).id == found.name


def test_a_card_that_can_sign_off_asks_for_the_stop_check_first():
    for found in CARDS.all():
        card = CARDS.read(found.file)
        for step in card.step:
            if getattr(step, "signs_off", False):
                needs = {need.step: need.was for need in step.requires}
                assert needs == {"stop-check": ("yes",)}, found.name


def test_checks_and_outcomes_of_shipped_cards_are_those_of_the_fault_table():
    for found in CARDS.all():
        card = CARDS.read(found.file)
        for step in card.step:
            for outcome in outcomes_of(step) or () if step.check else ():
                find({step.check: outcome}, card.complaint or "no-spark")  # raises if unknown


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + ASK, "cautions come first"),
        (HEAD + CAUTION + CAUTION, "there twice"),
        (HEAD + CAUTION + ASK + 'only_if = [{ step = "nope", was = ["yes"] }]', "no step «nope»"),
        (
            HEAD + CAUTION + ASK + 'only_if = [{ step = "late", was = ["yes"] }]\n'
            '[[step]]\nkind = "confirmation"\nid = "late"\ntitle = "Late"\n',
            "can only look back",
        ),
        (
            HEAD + CAUTION + ASK + '[[step]]\nkind = "confirmation"\nid = "x"\ntitle = "X"\n'
            'only_if = [{ step = "ask", was = ["maybe"] }]',
            "might never be reached",
        ),
        (HEAD + CAUTION + '[[step]]\nkind = "dance"\nid = "x"\ntitle = "X"\n', "kind"),
        (
            HEAD + CAUTION + '[[step]]\nkind = "measurement"\nid = "x"\ntitle = "X"\n',
            "exactly one of winding",
        ),
        (
            HEAD + CAUTION + '[[step]]\nkind = "lead-zero"\nid = "x"\ntitle = "X"\nat_most = 2\n',
            "needs a text with a unit",
        ),
        (
            HEAD + CAUTION + '[[step]]\nkind = "lead-zero"\nid = "x"\ntitle = "X"\n'
            'at_most = "2 volt"\n',
            "is no ohm",
        ),
        (HEAD + CAUTION + '[[step]]\nkind = "steps-of"\ncard = "other"\n', "cannot be used here"),
        (HEAD + CAUTION + "surprise = 1\n", "surprise"),
        ("format = 2\n", "format"),
        ("what = [", "is not TOML"),
    ],
)
def test_what_is_wrong_with_a_card_is_one_plain_sentence(text, said):
    with pytest.raises(InvalidFileError) as caught:
        read_card(text.encode(), "mine.toml")
    sentence = str(caught.value)
    assert said in sentence
    assert sentence.startswith("mine.toml")
    assert "\n" not in sentence
    assert caught.value.exit_code == 1

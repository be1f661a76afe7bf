"""Cards as files: what ships is sound, and what is wrong is said in one sentence."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.card import Card, read_card
from meterlink.commands import Confirm, Deny, Enter, Skip
from meterlink.errors import InvalidFileError
from meterlink.events import Asked, Judged
from meterlink.finding.cards import told_by_cards, unsafe
from meterlink.finding.find import find
from meterlink.profile import read_profile
from tests.meterlink.bench_hands import OVER, Hands
from tests.meterlink.bench_hands import card as bench_card
from tui.settings import CARDS, PROFILES

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
            for outcome in step.outcomes or () if step.check else ():
                find({step.check: outcome}, card.complaint or "no-spark")  # raises if unknown


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + ASK, "cautions come first"),
        (HEAD + CAUTION + CAUTION, "there twice"),
        (HEAD + CAUTION + ASK + 'only_if = [{ step = "nope", was = ["yes"] }]', "no step “nope”"),
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
            "is a voltage; type resistance and unit",
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


# --- reachable, with a loop, beside a profile and a table ---------------------------------------


def card_of(*steps: str) -> Card:
    return read_card((HEAD + CAUTION + "".join(steps)).encode(), "mine.toml")


def asks(step: str, *needs: tuple[str, str]) -> str:
    conditions = ", ".join(f'{{ step = "{need}", was = ["{was}"] }}' for need, was in needs)
    text = f'[[step]]\nkind = "confirmation"\nid = "{step}"\ntitle = "{step}"\n'
    return text + (f"only_if = [{conditions}]\n" if needs else "")


def test_a_step_that_no_answers_lead_to_is_refused():
    with pytest.raises(InvalidFileError) as caught:
        card_of(asks("a"), asks("b", ("a", "yes")), asks("c", ("b", "yes"), ("a", "no")), asks("d"))
    assert "“c” can never be reached" in str(caught.value)
    assert str(caught.value).startswith("mine.toml: step[3].only_if")


def test_a_step_far_down_a_chain_of_conditions_can_be_reached():
    card_of(asks("a"), asks("b", ("a", "yes")), asks("c", ("b", "no")), asks("d", ("c", "yes")))


@given(st.data())
def test_whatever_is_called_unreachable_no_answers_reach(data):
    """Every set of answers is tried, and the steps that come up compared."""
    many = data.draw(st.integers(2, 5))
    needs = [
        data.draw(
            st.lists(
                st.tuples(st.sampled_from([f"s{i}" for i in range(at)]), st.sampled_from(ANSWERS)),
                max_size=2,
            )
            if at
            else st.just([])
        )
        for at in range(many)
    ]
    reached = set()
    for answers in product(ANSWERS, repeat=many):
        said: dict[str, str] = {}
        for at in range(many):
            if all(said.get(step) == was for step, was in needs[at]):
                said[f"s{at}"] = answers[at]
        reached |= said.keys()
    steps = [asks(f"s{at}", *needs[at]) for at in range(many)]
    if len(reached) == many:
        assert len(card_of(*steps).step) == many + 1
    else:
        with pytest.raises(InvalidFileError, match="can never be reached"):
            card_of(*steps)


ANSWERS = ("yes", "no", "skipped")


SIGN = '[[step]]\nkind = "confirmation"\nid = "sign"\ntitle = "Sign"\nsigns_off = true\n'


@pytest.mark.parametrize(
    "requires",
    [
        "",
        'requires = [{ step = "spark", was = ["yes"] }]\n',
        'requires = [{ step = "stop-check", was = ["yes", "skipped"] }]\n',
        'requires = [{ step = "stop-check", was = ["no"] }]\n',
    ],
)
def test_no_card_signs_off_without_the_stop_check(requires):
    (said,) = unsafe(card_of(asks("spark"), asks("stop-check"), SIGN + requires))
    assert "step[3].requires: no sign-off without the stop check" in said


def test_a_card_signs_off_after_the_stop_check():
    needs = 'requires = [{ step = "stop-check", was = ["yes"] }]\n'
    assert not list(unsafe(card_of(asks("stop-check"), SIGN + needs)))
    named = asks("it-stops") + 'check = "stop-check"\n'
    assert not list(unsafe(card_of(named, SIGN + needs.replace("stop-check", "it-stops"))))


def test_cautions_cannot_have_been_skipped():
    with pytest.raises(InvalidFileError, match="never ends “skipped”"):
        card_of(asks("a", ("cautions", "skipped")))


@pytest.mark.parametrize("other", ["mine", "other"])
def test_cards_that_use_each_others_steps_in_a_ring_are_refused(other):
    mine = f'{HEAD}{CAUTION}[[step]]\nkind = "steps-of"\ncard = "{other}"\n'
    with pytest.raises(InvalidFileError, match="uses steps of") as caught:
        read_card(mine.encode(), "mine.toml", lambda _: mine.encode())
    assert "name that card here instead" in str(caught.value)


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ('kind = "meter-check"\nid = "x"\ntitle = "X"\nresistor = "plaid"', ".resistor"),
        ('kind = "watch"\nid = "x"\ntitle = "X"\nbetween = ["a", "b"]\nlasts = "0 s"', ".lasts"),
        ('kind = "soak"\nid = "x"\ntitle = "X"\nwinding = "w"\nevery = "900 s"', ".every"),
        ('kind = "lead-zero"\nid = "x"\ntitle = "X"\nat_most = "0 ohm"', ".at_most"),
        ('kind = "entry"\nid = "x"\ntitle = "X"\ntakes = "gap"', ".of"),
        ('kind = "entry"\nid = "x"\ntitle = "X"\ntakes = "choice"\nchoices = ["a"]', ".choices"),
    ],
)
def test_values_out_of_any_sense_are_named_by_their_key(step, said):
    with pytest.raises(InvalidFileError) as caught:
        card_of(f"[[step]]\n{step}\n")
    assert f"step[1]{said}" in str(caught.value)


PART = 'format = 1\nid = "p"\nname = "P"\n[[winding]]\nname = "w"\nbetween = ["a", "b"]\n'
SOURCED = 'source = "for this test"\n'


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('low = "2 ohm"\nhigh = "1 ohm"\n', "low 2 is above high 1; swap them"),
        ('low = "1 ohm"\nhigh = "2 volt"\n', "winding[0].high: “2 volt” is a voltage"),
        ('low = "-1 ohm"\nhigh = "2 ohm"\n', "winding[0].low: -1 is below zero"),
        ('low = "1 ohm"\nhigh = "2 ohm"\nopen_above = "1 ohm"\n', ".open_above"),
        ('low = "1 ohm"\nhigh = "2 ohm"\nshort_below = "1.5 ohm"\n', ".short_below"),
        ('low = "1 ohm"\nhigh = "2 ohm"\nat = "900 °C"\n', ".at: 900 °C is no temperature"),
        ('low = "1 ohm"\nhigh = "2 ohm"\ntemperature = "guess"\n', "temperature"),
        ('low = "1 ohm"\nhigh = "2 ohm"\nseries = "-5 ohm"\n', ".series: -5 is below zero"),
        ("judged_by_resistance = false\n", ".why_not"),
        ("", "needs low and high"),
    ],
)
def test_what_is_wrong_with_a_profile_is_one_plain_sentence(lines, said):
    with pytest.raises(InvalidFileError) as caught:
        read_profile((PART + lines + SOURCED).encode(), "mine.toml")
    assert said in str(caught.value)
    assert str(caught.value).startswith("mine.toml: ")
    assert "\n" not in str(caught.value)


def test_a_value_without_a_source_is_refused():
    with pytest.raises(InvalidFileError, match="source"):
        read_profile((PART + 'low = "1 ohm"\nhigh = "2 ohm"\n').encode(), "mine.toml")


# --- the shipped cards at work ------------------------------------------------------------------


def at_work(card: str, profile: str) -> Hands:
    return Hands(CARDS.get(card), PROFILES.get(profile))


def go_to(hands: Hands, step: str) -> Hands:
    """Answer or skip everything before ``step``."""
    says = {"cautions": Confirm(), "details": Enter(text="pump 5"), "spark": Deny()}
    for _ in range(60):
        current = hands.bench.progress.current
        if current == step:
            return hands
        hands.tell(says.get(current or "", Skip(reason="not in this test")))
    raise AssertionError(f"never came to {step}")


@pytest.mark.parametrize(
    ("card", "check"),
    [
        ("no-spark", "substitution-module"),
        ("dies-hot", "substitution-module"),
        ("spare-armature", ""),
    ],
)
def test_where_resistance_cannot_judge_the_card_goes_to_substitution(card, check):
    hands = go_to(at_work(card, "pump-set-module"), "substitution")
    assert hands.outcomes["primary"] == hands.outcomes["secondary"] == "cannot-tell"
    said = " ".join(event.say for event in hands.all(Asked))
    assert "electronics sit between" in said
    assert hands.bench.card.find("substitution").check == check


def test_windings_that_resistance_judges_need_no_substitution_off_the_engine():
    hands = at_work("spare-armature", "pump-set-demo")
    hands.tell(Confirm()).tell(Enter(text="20 °C")).touch(0.1).tell(Skip(reason="none here"))
    hands.touch(0.95).touch(5300.0, step=1.0).tell(Deny())
    assert hands.bench.progress.ended
    assert not hands.bench.progress.outcome("substitution")


@pytest.mark.parametrize("first", ["stuck-closed", "never-closes"])
def test_a_switch_that_fails_is_tested_again_unplugged(first):
    hands = go_to(at_work("stop-circuit", "pump-set-demo"), "stop-switch")
    if first == "stuck-closed":
        hands.read(0.2, 12).tell(Confirm()).read(OVER, 1)
    else:
        hands.read(OVER, 3).call_open()
    assert hands.outcomes["stop-switch"] == first
    assert hands.bench.progress.current == "stop-switch-unplugged"
    assert "by itself" in hands.last(Asked).say
    hands.read(0.2).read(OVER, 2).read(0.2).read(OVER, 1)
    assert hands.outcomes["stop-switch-unplugged"] == "passed"
    # What the switch does by itself is what the finding goes by.
    assert told_by_cards([hands.bench.progress]).outcomes["stop-switch"] == "passed"


@pytest.mark.parametrize(
    ("earthed", "places"),
    [
        (Confirm(), {"armature"}),
        (Deny(), {"stop wire", "stop switch", "earth"}),
        (None, {"outside the ignition"}),
    ],
)
def test_an_engine_that_will_not_stop_is_told_from_one_that_needs_no_spark(earthed, places):
    hands = go_to(at_work("wont-stop", "pump-set-demo"), "spark-at-stop")
    assert "turn the engine over" in hands.last(Asked).say
    if earthed is None:
        hands.tell(Deny())
        assert hands.bench.progress.outcome("spark-earthed") == ""
        assert hands.bench.progress.current != "clip-lead-off"
    else:
        hands.tell(Confirm()).tell(earthed)
        # A clip lead left on would make every primary read short.
        assert hands.bench.progress.current == "clip-lead-off"
    outcomes = told_by_cards([hands.bench.progress]).outcomes
    assert find(outcomes, "wont-stop").places[0].place in places


def test_a_switch_that_the_engine_lacks_is_no_suspect_before_its_step_came_up():
    hands = go_to(at_work("stop-circuit", "pump-set-demo"), "stop-switch")
    hands.read(0.2).read(OVER, 2).read(0.2).read(OVER, 1)
    stands, profile = [hands.bench.progress], PROFILES.get("pump-set-demo")
    assert told_by_cards(stands, [profile]).parts == ("stop-switch",)
    told = told_by_cards(stands, [profile])
    found = find(told.outcomes, "no-spark", parts=told.parts)
    assert not [fault for fault in found.faults if "flywheel brake" in fault.say]
    assert {f.say for f in found.faults if "stop switch" in f.say}


@pytest.mark.parametrize("card", ["no-spark", "dies-hot"])
def test_before_an_armature_is_swapped_what_else_may_take_the_spark_is_put_right(card):
    hands = go_to(at_work(card, "pump-set-demo"), "spark-gap-set")
    hands.tell(Deny()).tell(Deny()).tell(Confirm())
    outcomes = told_by_cards([hands.bench.progress]).outcomes
    assert outcomes["spark-with-earth-bridged"] == "no"
    assert find(outcomes, card).places[0].place == "plug lead or cap"


def test_a_switch_that_passes_is_not_tested_again():
    hands = go_to(at_work("stop-circuit", "pump-set-demo"), "stop-switch")
    hands.read(0.2).read(OVER, 2).read(0.2).read(OVER, 1)
    assert hands.bench.progress.current == "stop-wire-watch"


def test_the_cards_of_the_bench_check_the_meter_after_the_lead_zero():
    for name in ("spare-armature", "no-spark", "dies-hot"):
        steps = [step.id for step in CARDS.get(name).step]
        assert steps[steps.index("lead-zero") + 1] == "meter-check", name


def test_what_counts_as_open_is_judged_after_what_lies_in_series():
    # 5 kohm in line: 204 kohm as read are 199 kohm of winding, 206 kohm are 201 (open above 200).
    secondary = 'kind = "measurement"\nid = "s"\ntitle = "S"\nwinding = "suppressed"'
    for ohms, verdict in ((204e3, "above"), (206e3, "open")):
        hands = Hands(bench_card(secondary)).cautions().touch(ohms, step=100.0)
        assert hands.last(Judged).verdict.value == verdict

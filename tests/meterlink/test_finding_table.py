"""Reading fault tables: mistakes are named by fault, check and key, each in a plain sentence."""

import copy

import pytest

from meterlink.errors import InvalidFileError, UsageError
from meterlink.finding.find import find
from meterlink.finding.model import Model
from meterlink.finding.table import read_table, shipped_table, table_mistakes
from tests.meterlink.finding_tables import TWO_COINS, check, fault, made, table, toml

KINDS_OF_JUDGEMENT = {
    "direction from the circuit, number judged",
    "common practice, no published source",
    "judgement of the authors",
}


def spoilt(path, value, base=TWO_COINS):
    """Return the base table with another value at ``path``; None takes the key away."""
    raw = copy.deepcopy(base)
    *way, last = path
    at = raw
    for key in way:
        at = at[key]
    if value is None:
        del at[last]
    else:
        at[last] = value
    return raw


BENT = ("faults", "bent", "gives")
MISTAKES = [
    (
        (*BENT, "toss", "row", "heads"),
        0.8,
        "fault “bent”: gives, check “toss”: row: the probabilities sum to 0.9; they must sum to 1",
    ),
    ((*BENT, "toss", "row", "heads"), 0.0, "“heads” is 0; give 0.001 at least and 1 at most"),
    ((*BENT, "toss", "row", "heads"), -1.0, "“heads” is -1; give"),
    ((*BENT, "toss", "row", "heads"), float("nan"), "“heads” is nan; give"),
    ((*BENT, "toss", "row", "heads"), "much", "check “toss”, outcome “heads”: Expected `float`"),
    ((*BENT, "toss", "row", "heads"), None, "check “toss”: row: nothing is given for “heads”"),
    ((*BENT, "toss", "row", "head"), 0.1, "there is no outcome “head”; did you mean “heads”?"),
    (
        (*BENT, "toss", "source"),
        None,
        "fault “bent”: gives, check “toss”: Object missing",
    ),
    (
        (*BENT, "toss", "wy"),
        "x",
        "gives, check “toss”: Object contains unknown field `wy`",
    ),
    (
        (*BENT, "tos"),
        {"row": {"heads": 0.5, "tails": 0.5}, "source": "x"},
        "fault “bent”: gives, check “tos”: there is no check “tos”; did you mean “toss”?",
    ),
    (
        (*BENT, "toss", "given"),
        {"x": {"heads": 0.5, "tails": 0.5}},
        "this check comes after no other, so it has one “row”",
    ),
    (
        ("faults", "bent", "prior"),
        {"ded": 1.0},
        "there is no complaint “ded”; did you mean “dead”?",
    ),
    (("faults", "bent", "prior"), {}, "fault “bent”: prior: give one for at least one complaint"),
    (("faults", "bent", "prior"), {"dead": 0.0}, "fault “bent”: prior[...]: Expected `float` > 0"),
    (
        ("faults", "bent", "say"),
        None,
        "fault “bent”: Object missing required field `say`",
    ),
    (("faults", "bent", "when"), {"hot": {}}, "fault “bent”: there is no complaint “hot”"),
    (
        ("faults", "bent", "each"),
        "toss",
        "fault “bent”: each: there is no check done for each part",
    ),
    (("faults", "bent", "shares"), {"a": 1.0}, "fault “bent”: shares: only a fault with “each”"),
    (("faults", "bent"), 3, "fault “bent”: Expected `object`, got `int`"),
    (
        ("checks", "toss", "outcomes"),
        ["heads", "heads"],
        "check “toss”: outcomes: one is there twice",
    ),
    (("checks", "toss", "outcomes"), ["heads"], "check “toss”: outcomes: Expected `array`"),
    (("checks", "toss", "minutes"), 0, "check “toss”: minutes: Expected `float` > 0"),
    (("checks", "toss", "needs"), ["strip"], "check “toss”: needs: there is no setup “strip”"),
    (("checks", "toss", "after"), "toss", "check “toss”: after: there is no earlier check “toss”"),
    (("checks", "toss", "reads_as"), {"up": "head"}, "reads_as: there is no outcome “head”"),
    (("checks", "toss", "reads_as"), {"tails": "heads"}, "“tails” is an outcome already"),
    (
        ("complaints", "slow"),
        "is slow",
        "complaint “slow”: at least two faults need a prior for it",
    ),
    (("format",), 2, "format: this program does not know format 2"),
    (("titel",), "x", "Object contains unknown field `titel`"),
    (("minute_cost",), 0, "minute_cost: Expected `float` > 0"),
]


@pytest.mark.parametrize(("path", "value", "sentence"), MISTAKES)
def test_a_mistake_is_named(path, value, sentence):
    data = toml(spoilt(path, value))
    mistakes = table_mistakes(data, "own.toml")
    assert any(sentence in mistake for mistake in mistakes), mistakes
    assert all(mistake.startswith("own.toml: ") for mistake in mistakes)
    with pytest.raises(InvalidFileError) as caught:
        read_table(data, "own.toml")
    assert str(caught.value).startswith(mistakes[0])


AFTER = table(
    {
        "first": check(["yes", "no"], {"yes": 0.5, "no": 0.5}),
        "again": check(
            ["yes", "no"],
            {"yes": {"yes": 0.9, "no": 0.1}, "no": {"yes": 0.1, "no": 0.9}},
            after="first",
        ),
    },
    {"x": fault(1.0), "y": fault(1.0)},
)

AFTER_MISTAKES = [
    (
        ("checks", "again", "sound", "given", "no"),
        None,
        "check “again”: sound: nothing is given for “no”",
    ),
    (
        ("checks", "again", "sound", "given", "maybe"),
        {"yes": 0.5, "no": 0.5},
        "given: there is no outcome of “first” “maybe”",
    ),
    (
        ("checks", "again", "sound", "row"),
        {"yes": 0.5, "no": 0.5},
        "row: this check comes after “first”, so its rows stand under “given”",
    ),
    (
        ("faults", "x", "gives"),
        {"again": {"source": "x"}},
        "fault “x”: gives, check “again”: expected rows under “given”",
    ),
    (("checks", "first", "after"), "again", "check “first”: after: there is no earlier check"),
]


@pytest.mark.parametrize(("path", "value", "sentence"), AFTER_MISTAKES)
def test_a_mistake_among_checks_that_hang_together_is_named(path, value, sentence):
    mistakes = table_mistakes(toml(spoilt(path, value, AFTER)), "own.toml")
    assert any(sentence in mistake for mistake in mistakes), mistakes


PARTS = table(
    {
        "switch": check(
            ["passed", "stuck"],
            {"passed": 0.98, "stuck": 0.02},
            each={"left": "left switch", "right": "right switch"},
        )
    },
    {
        "switch-stuck": fault(
            1.0,
            {"switch": {"row": {"passed": 0.1, "stuck": 0.9}}},
            each="switch",
            shares={"left": 3.0, "right": 1.0},
            place="{part}",
            say="{part} stuck",
        ),
        "none": fault(1.0),
    },
)

PART_MISTAKES = [
    (("faults", "switch-stuck", "shares"), {"left": 1.0}, "shares: name each of left, right"),
    (("checks", "switch", "each"), {"switch": "a switch"}, "each: “switch” is the name of a check"),
    (
        ("faults", "stuck"),
        PARTS["faults"]["switch-stuck"],
        "fault “stuck”: each: the name of this fault must hold “switch”",
    ),
]


UNPLUGGED = check(["back", "gone"], {"back": 0.1, "gone": 0.9}, each_of="switch")
PART_MISTAKES += [
    (("checks", "unplugged"), UNPLUGGED, "each_of: the name of this check must hold “switch”"),
    (
        ("checks", "without-switch"),
        {**UNPLUGGED, "each_of": "swich"},
        "each_of: there is no check done for each part “swich”; did you mean “switch”?",
    ),
    (
        ("checks", "without-switch"),
        {**UNPLUGGED, "each": {"up": "upper switch"}},
        "each_of: this check has parts of its own already, under “each”",
    ),
    (
        ("checks", "without-switch"),
        {**UNPLUGGED, "says": {"bak": "it is back"}},
        "says: there is no outcome “bak”; did you mean “back”?",
    ),
]


@pytest.mark.parametrize(("path", "value", "sentence"), PART_MISTAKES)
def test_a_mistake_among_parts_is_named(path, value, sentence):
    mistakes = table_mistakes(toml(spoilt(path, value, PARTS)), "own.toml")
    assert any(sentence in mistake for mistake in mistakes), mistakes


def test_a_fault_of_several_parts_is_one_fault_for_each_that_the_engine_has():
    both = Model(made(PARTS), "dead", ["right", "left"])
    assert [(s.name, s.place) for s in both.suspects] == [
        ("left-stuck", "left switch"),
        ("right-stuck", "right switch"),
        ("none", "a place"),
    ]
    assert both.prior == pytest.approx([3 / 8, 1 / 8, 1 / 2])
    assert both.nodes["left"].shares[:, 0, 1] == pytest.approx([0.9, 0.02, 0.02])
    one = Model(made(PARTS), "dead")
    assert [s.name for s in one.suspects] == ["left-stuck", "none"]
    assert list(one.nodes) == ["left"]


def test_a_second_check_of_the_same_parts_looks_at_each_of_them():
    own = copy.deepcopy(PARTS)
    own["checks"]["without-switch"] = UNPLUGGED | {"say": "without the {part}"}
    own["checks"]["without-switch"]["says"] = {"back": "it is back without the {part}"}
    row = {"row": {"back": 0.8, "gone": 0.2}, "source": "made up for a test"}
    own["faults"]["switch-stuck"]["gives"]["without-switch"] = row
    table_made = made(own)
    both = Model(table_made, "dead", ["left", "right"])
    assert list(both.nodes) == ["left", "right", "without-left", "without-right"]
    without_right = both.nodes["without-right"]
    assert without_right.say == "without the right switch"
    assert without_right.said("back") == "it is back without the right switch"
    assert without_right.said("gone") == "without the right switch: gone"
    assert without_right.shares[:, 0, 0] == pytest.approx([0.1, 0.8, 0.1])
    # An outcome of it tells that the engine has that switch.
    found = find({"without-right": "back"}, "dead", table=table_made)
    assert {fault.fault for fault in found.faults} == {"right-stuck", "none"}
    assert table_made.understands("without-right") == {"back", "gone", "skipped", "cannot-tell"}
    assert table_made.understands("without-switch") is None


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"format = 1\nformat = 1\n", "own.toml is not TOML"),
        (b"\xff\xfe", "own.toml"),
        (b"", "own.toml: "),
        (b"checks = 3\n", "own.toml: checks: Expected `object`, got `int`"),
        (b"x" * (1 << 20) + b"y", "at most 1048576 are read"),
    ],
)
def test_what_is_no_table_at_all_is_refused(data, sentence):
    (mistake,) = table_mistakes(data, "own.toml")
    assert sentence in mistake


def test_texts_of_a_table_cannot_steer_a_terminal():
    evil = spoilt(("faults", "bent", "say"), "\x1b[2Jbent\u202e")
    found = find({"toss": "tails"}, "dead", table=made(evil))
    assert all(s.isprintable() for s in (*found.sentences, *(f.say for f in found.faults)))


def test_an_unknown_complaint_or_part_is_a_plain_error():
    with pytest.raises(UsageError, match="no complaint “no-sprak”; did you mean “no-spark”"):
        find({}, "no-sprak")
    with pytest.raises(UsageError, match="no part with a check of its own “break-switch”; did you"):
        find({}, "no-spark", parts=["break-switch"])


# --- the shipped table --------------------------------------------------------------------------


def test_the_shipped_table_has_no_mistakes_and_names_a_source_for_every_row():
    shipped = shipped_table()
    rows = [check.sound for check in shipped.checks.values()]
    for declared in shipped.faults.values():
        rows += declared.gives.values()
        rows += [row for when in declared.when.values() for row in when.values()]
    assert {row.source for row in rows} <= KINDS_OF_JUDGEMENT
    assert {declared.source for declared in shipped.faults.values()} <= KINDS_OF_JUDGEMENT
    assert all(row.why for declared in shipped.faults.values() for row in declared.gives.values())
    assert all(set(check.says) == set(check.outcomes) for check in shipped.checks.values())


@pytest.mark.parametrize("complaint", sorted(shipped_table().complaints))
def test_priors_of_the_shipped_table_are_engines_in_a_hundred(complaint):
    priors = [f.prior.get(complaint, 0.0) for f in shipped_table().faults.values()]
    assert sum(priors) == pytest.approx(100)


@pytest.mark.parametrize(
    "name", ["shorted-turns", "module-faulty", "leaking-insulation", "open-primary"]
)
def test_it_is_said_where_resistance_cannot_tell(name):
    assert shipped_table().faults[name].note

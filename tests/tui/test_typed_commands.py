"""Lines typed where there is no screen: words, letters, nonsense, at every kind of question."""

import threading

import pytest

from captures.job.store import JobStore
from drivers.clock import VirtualClock
from drivers.opening import open_source
from drivers.simulated.bench import SimulatedBench
from drivers.simulated.scenario import load_scenario
from meterlink.commands import Back, Confirm, Deny, Enter, Redo, Skip, Zero
from meterlink.events import Asked, Entered, StepEnded
from tests.meterlink.bench_hands import GAP, OVER, PRIMARY, Hands, card
from tui.announcing.teller import Teller, table
from tui.plain.plain_face import read_command
from tui.session.hands import connect_hands
from tui.session.setup import session
from tui.settings import CARDS, PROFILES

PLUG = (
    'kind = "entry"\nid = "plug"\ntitle = "Plug"\ntakes = "choice"\n'
    'choices = ["good", "fouled", "cracked", "gap-wrong"]\n'
    'say = "Plug: good, fouled, cracked, or gap-wrong?"'
)
DETAILS = 'kind = "entry"\nid = "details"\ntitle = "Details"\ntakes = "text"\nrequired = false'
SPARK = 'kind = "confirmation"\nid = "spark"\ntitle = "Spark"\nsay = "Does a spark jump?"'
CRACKS = (
    'kind = "entry"\nid = "cracks"\ntitle = "Cracks"\ntakes = "choice"\nchoices = ["none", "some"]'
)


class Typist(Hands):
    """Types lines at a bench."""

    def type(self, line: str) -> "Typist":
        command = read_command(line, "Ines", self.bench.step)
        assert command is not None
        self.tell(command)
        return self


def at(step: str) -> Typist:
    hands = Typist(card(step))
    hands.cautions()
    return hands


@pytest.mark.parametrize(
    ("line", "said"), [("fouled", "fouled"), ("f", "fouled"), ("2", "fouled"), ("GOOD", "good")]
)
def test_a_choice_is_taken_by_word_beginning_or_number(line, said):
    hands = at(PLUG).type(line)
    assert hands.outcomes["plug"] == said
    assert hands.last(Entered).text == said


@pytest.mark.parametrize("line", ["", "yes", "no", "ok", "maybe", "0", "5", "«", "open", "zero"])
@pytest.mark.parametrize("step", [PLUG, SPARK, GAP])
def test_what_answers_nothing_is_answered_with_the_question_and_records_nothing(step, line):
    if (step, line) in {(SPARK, "yes"), (SPARK, "no"), (SPARK, "ok")}:
        return
    hands = at(step)
    question = hands.last(Asked).say
    hands.type(line)
    assert hands.last(Asked).say.endswith(question)
    assert hands.last(Asked).say != question
    assert hands.bench.progress.current
    assert not hands.all(Entered)


def test_no_is_the_beginning_of_a_choice_and_a_text_but_no_denial_there():
    assert at(CRACKS).type("no").outcomes["cracks"] == "none"
    assert at(DETAILS).type("no").last(Entered).text == "no"
    assert at(DETAILS).type("back plate loose").last(Entered).text == "back plate loose"
    assert at(SPARK).type("no").outcomes["spark"] == "no"


def test_an_empty_line_answers_no_question_that_has_no_default():
    assert "spark" not in at(SPARK).type("").type(" ").outcomes
    assert at(DETAILS).type("").outcomes["details"] == "done"


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("", Confirm),
        ("Yes", Confirm),
        ("n", Deny),
        ("redo primary wrong pair", Redo),
        ("skip none here", Skip),
        ("back", Back),
        ("zero", Zero),
        ("no idea", Enter),
        ("zero play", Enter),
        ("open", Enter),
    ],
)
def test_only_whole_words_are_commands(line, kind):
    assert type(read_command(line)) is kind


def test_quit_alone_is_the_wish_to_quit():
    assert read_command("QUIT") is None
    assert isinstance(read_command("quit it"), Enter)


def test_open_is_asked_about_and_said_in_words_everywhere():
    hands = at(PRIMARY).read(OVER, 1).type("yes").type("open").type("").type("yes")
    assert not hands.all(StepEnded)[1:]
    assert "on bare metal" in hands.last(Asked).say
    hands.type("no").type("on bare metal")
    assert "primary" not in hands.outcomes
    hands.type("open").type("on bare metal")
    teller = Teller(hands.bench.card, ohm_sign=False)
    (row,) = [line for line in table(hands.bench.progress, teller) if line.startswith("Primary")]
    assert "open" in row
    assert row.endswith("said, not measured")
    assert "said by the technician, not measured" in teller.tell(hands.last(StepEnded))


@pytest.mark.parametrize("card", ["stop-circuit", "spare-armature"])
def test_what_the_engine_lacks_is_said_in_one_line_and_in_the_table(card):
    hands = Hands(CARDS.get(card), PROFILES.get("pump-set-demo"))
    teller = Teller(hands.bench.card, hands.bench.profile)
    said = [words for event in hands.events if (words := teller.tell(event))]
    lacks = [line for line in said if "not on this engine" in line]
    assert len(lacks) == 1
    wanted = "insulation" if card == "spare-armature" else "brake switch, throttle switch"
    assert wanted in lacks[0]
    rows = list(table(hands.bench.progress, teller))
    assert rows[-1] == lacks[0]
    assert not [row for row in rows if "brake" in row.lower() and row != lacks[0]]


def test_a_line_that_comes_after_the_end_is_answered_and_none_once_the_files_are_closed(tmp_path):
    scenario = load_scenario("spring-service")
    bench_card, profile = CARDS.get(scenario.card), PROFILES.get(scenario.profile)
    with (
        SimulatedBench(scenario, clock=VirtualClock()) as bench,
        JobStore(tmp_path).create("late") as job,
    ):
        source = open_source(bench.port, clock=bench.clock)
        with session(job, source, bench.clock, bench_card, profile) as sitting:
            connect_hands(sitting, bench)
            sitting.run(threading.Event())
            assert sitting.bench.progress.ended
            heard: list = []
            sitting.show(lambda seen: heard.extend(seen.events))
            sitting.tell(Confirm())
            assert "The card is done." in heard[-1].say
            sitting.tell(Redo(step="primary"))
            assert sitting.bench.progress.current == "primary"
        source.close()
    before = list(heard)
    sitting.tell(Confirm())
    assert heard == before

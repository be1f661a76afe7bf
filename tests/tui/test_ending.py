"""What a run says at its end: the table, the mark of a failed meter, the finding."""

from meterlink.bench.snapshot import Update
from meterlink.card import read_card
from meterlink.commands import Confirm, Deny, Enter
from meterlink.events import CardEnded
from tests.meterlink.bench_hands import Hands
from tui.announcing.teller import Teller, finding_of
from tui.cli import main
from tui.plain.plain_face import NOTHING_JUDGED, PlainFace

HEAD = 'format = 1\nid = "c"\ntitle = "C"\n'
CAUTION = '[[step]]\nkind = "caution"\nid = "cautions"\ntitle = "Cautions"\n'
SPARK = '[[step]]\nkind = "confirmation"\nid = "spark"\ntitle = "Spark"\ncheck = "spark-at-gap"\n'
PRIMARY = '[[step]]\nkind = "measurement"\nid = "p"\ntitle = "P"\nwinding = "primary"\n'


def worked(text: str) -> Hands:
    return Hands(read_card(text.encode(), "c.toml")).cautions()


def ended(hands: Hands) -> list[str]:
    lines: list[str] = []
    PlainFace(Teller(hands.bench.card, ohm_sign=False), lines.append).end(hands.bench.progress)
    return lines


def test_the_finding_of_a_card_with_a_complaint_ends_the_run():
    hands = worked(f'{HEAD}complaint = "no-spark"\n{CAUTION}{SPARK}').tell(Deny())
    said = "\n".join(ended(hands))
    assert "Next best check" in said
    assert "There, most likely: " in said


def test_a_card_without_complaint_or_outcome_has_no_finding():
    assert not list(finding_of(worked(f"{HEAD}{CAUTION}{SPARK}").tell(Deny()).bench.progress))
    nothing = worked(f'{HEAD}complaint = "no-spark"\n{CAUTION}{SPARK}')
    assert not list(finding_of(nothing.bench.progress))


def test_a_check_of_the_users_own_is_said_in_place_of_a_finding():
    own = SPARK.replace("spark-at-gap", "spark-by-moonlight")
    hands = worked(f'{HEAD}complaint = "no-spark"\n{CAUTION}{own}').tell(Deny())
    (said,) = finding_of(hands.bench.progress)
    assert "spark-by-moonlight" in said
    assert "--table" in said


def test_why_says_the_budget_of_the_newest_verdict():
    lines: list[str] = []
    hands = worked(f"{HEAD}{CAUTION}{PRIMARY}")
    face = PlainFace(Teller(hands.bench.card, ohm_sign=False), lines.append)
    face.why()
    assert NOTHING_JUDGED in lines[-1]
    lines.clear()
    hands.tell(Enter(text="0.85 ohm"))
    face(Update(hands.events, hands.bench.look()))
    lines.clear()
    face.why()
    assert "Take the lead zero" in lines[0]
    assert any("leads, not taken off (assumed)" in line for line in lines)
    assert any("not declared" in line for line in lines)


def test_the_demo_ends_with_table_and_finding(tmp_path, capsys):
    demo = ["demo", "--plain", "--scenario", "open-secondary", "--jobs", str(tmp_path)]
    assert main(demo) == 0
    said = capsys.readouterr().out
    assert "open secondary winding" in said.partition("step   ")[2]


def test_the_end_says_that_the_meter_failed():
    check = '[[step]]\nkind = "meter-check"\nid = "m"\ntitle = "M"\nresistor = "100 ohm 1%"\n'
    hands = worked(f"{HEAD}{CAUTION}{check}").touch(120.0, step=0.1).tell(Confirm())
    assert hands.last(CardEnded).meter_failed
    assert "failed its check" in "\n".join(ended(hands))

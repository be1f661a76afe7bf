"""A job that was mended, started, stopped and signed off: its finding, its report, what it counts.

The log is made by the bench itself; the answers are those of somebody at the keyboard.
"""

import json

import msgspec
import pytest

from captures.job.store import JobStore
from meterlink.card import Card
from meterlink.commands import Confirm, Deny, Enter
from meterlink.declared import to_plain
from meterlink.finding.table import read_counts, shipped_table
from tests.meterlink.bench_hands import PROFILE, Hands, card
from tui.cli import main

STEPS = (
    'kind = "confirmation"\nid = "spark"\ntitle = "Spark"\ncheck = "spark-at-gap"',
    'kind = "confirmation"\nid = "isolated"\ntitle = "Stop wire off"\n'
    'check = "spark-with-stop-isolated"',
    'kind = "repair"\nid = "repair"\ntitle = "What was mended"\n'
    'places = ["armature", "stop switch", "plug"]',
    'kind = "confirmation"\nid = "start"\ntitle = "Engine starts"\ncheck = "start"',
    'kind = "confirmation"\nid = "stop-check"\ntitle = "Stop check"\ncheck = "stop-check"',
    'kind = "confirmation"\nid = "sign-off"\ntitle = "Sign-off"\nsigns_off = true\n'
    'requires = [{ step = "stop-check", was = ["yes"] }]',
)
FIRST = (Deny(), Deny())
REPAIR = tuple(
    Enter(text=text)
    for text in ("armature", "winding <open>", "renewed", "armature, 30-118, store")
)
DONE = (Enter(text="nothing"), Confirm(), Confirm(), Confirm())


def complaining() -> Card:
    return msgspec.structs.replace(card(*STEPS), complaint="no-spark")


@pytest.fixture
def worked(tmp_path):
    """Writes a job of these answers; returns how to ask the program about it."""

    def work(*answers: object) -> tuple[str, ...]:
        hands = Hands(complaining()).cautions()
        for answer in answers:
            hands.tell(answer)
        store = JobStore(tmp_path)
        settings = {"card": to_plain(hands.bench.card), "profile": to_plain(PROFILE)}
        with store.create("Pump set 7", settings=settings) as writer:
            for event in hands.events:
                writer.log.append(event)
            name = writer.job.name
        return name, "--jobs", str(tmp_path)

    return work


def ask(capsys, *words: str) -> str:
    assert main(list(words)) == 0
    return capsys.readouterr().out


def test_the_finding_of_a_repaired_job_is_closed(worked, capsys):
    found = json.loads(ask(capsys, "finding", *worked(*FIRST, *REPAIR, *DONE), "--json"))
    assert found["closed"]
    assert found["mended"] == ["armature"]
    assert found["sentences"][0].startswith("Put right: armature.")


@pytest.mark.parametrize("customer", [True, False])
def test_its_report_opens_with_the_repair_and_not_in_red(worked, capsys, tmp_path, customer):
    audience = ["--customer"] if customer else []
    page = tmp_path / "page.html"
    job = worked(*FIRST, *REPAIR, *DONE)
    ask(capsys, "report", *job, *audience, "--output", str(page))
    text = page.read_text(encoding="utf-8")
    assert "Repaired: armature. The engine starts, and stops by its control." in text
    assert 'class="box bad"' not in text
    if not customer:
        assert '<div class="box good">' in text
        assert "found winding &lt;open&gt;; renewed; fitted: armature, 30-118, store" in text


def test_a_job_that_is_only_mended_still_opens_in_red(worked, capsys, tmp_path):
    page = tmp_path / "page.html"
    ask(capsys, "report", *worked(*FIRST, *REPAIR), "--output", str(page))
    text = page.read_text(encoding="utf-8")
    assert "Repaired:" not in text
    assert 'class="box bad"' in text


def test_confirmed_repairs_are_counted_without_names_and_go_in_beside_the_judged(
    worked, capsys, tmp_path
):
    *_, folder = worked(*FIRST, *REPAIR, *DONE)
    worked(*FIRST, *REPAIR)
    worked(*FIRST, *REPAIR, *DONE)
    text = ask(capsys, "finding", "counts", "--jobs", folder)
    assert "2 confirmed repairs" in text
    assert "Pump" not in text
    counts = read_counts(text.encode(), "counts.toml", shipped_table())
    assert sum(counts["no-spark"].values()) == 2
    path = tmp_path / "counts.toml"
    path.write_text(text, encoding="utf-8")
    asked = ("--complaint", "no-spark", "--outcome", "spark-at-gap=no", "--counts", str(path))
    said = ask(capsys, "finding", *asked)
    assert "Counted in: 2 jobs of the workshop." in said

"""Old jobs held against today's rules: clear verdicts that would not be clear any more."""

import json

import pytest

from captures.job.across_jobs import pairs
from captures.job.rejudging import rejudge
from meterlink.events import Entered, Held, Judged, StepReopened, Verdict, Zeroed
from meterlink.judging.verdict import RULES
from tests.captures.test_report import no_shelf
from tests.captures.test_report_rows import make
from tui.cli import main
from tui.settings import CARDS

CARD = CARDS.get("ignition-check")
ROOM = Entered(t=0.1, step="ambient", text="20 °C", value=20.0, unit="celsius")
ZERO = Zeroed(t=0.2, step="lead-zero", value=0.15, u=0.0005, dof=5.0, resolution=0.001)


def touch(step: str, value: float, verdict: Verdict, *, t: float = 1.0, **more: object):
    held = Held(
        t=t,
        contact_t=t,
        value=value,
        readings=6,
        noise=0.001,
        resolution=0.001,
        u=0.0005,
        dof=5.0,
    )
    usual = {"corrected": value, "u": 0.01, "probability": 1.0, "clear": True, "readings": 6}
    judged = Judged(
        t=t,
        step=step,
        contact_t=t,
        value=value,
        noise=0.001,
        resolution=0.001,
        verdict=verdict,
        **(usual | more),
    )
    return held, judged


def test_a_good_coil_that_was_scrapped_for_its_leads_is_listed(store):
    """0.90 ohm on leads of 0.15 that nobody took off was “above, clear”."""
    job = make(store, CARD, [ROOM, *touch("primary", 1.05, Verdict.ABOVE)])
    before = job.log_path.read_bytes()
    (one,) = rejudge(job, no_shelf)
    assert (one.step, one.verdict, one.clear, one.rules) == ("primary", Verdict.ABOVE, True, "1")
    assert (one.now_clear, one.now_rules) == (False, RULES)
    assert "assumed of the leads" in one.why
    assert job.log_path.read_bytes() == before


def test_what_would_be_judged_the_same_is_not_listed(store):
    events = [ROOM, ZERO, *touch("primary", 1.0, Verdict.IN_WINDOW, corrected=0.85)]
    assert list(rejudge(make(store, CARD, events), no_shelf)) == []


def test_a_verdict_that_was_withdrawn_is_not_listed(store):
    events = [
        ROOM,
        *touch("primary", 1.05, Verdict.ABOVE),
        StepReopened(t=2.0, step="primary", reason="redo"),
        ZERO,
        *touch("primary", 1.0, Verdict.IN_WINDOW, t=3.0, corrected=0.85),
    ]
    assert list(rejudge(make(store, CARD, events), no_shelf)) == []


def test_the_command_lists_them_and_says_so_by_its_exit_code(store, capsys):
    make(store, CARD, [ROOM, *touch("primary", 1.05, Verdict.ABOVE)])
    make(store, CARD, [ROOM, ZERO, *touch("primary", 1.0, Verdict.IN_WINDOW, corrected=0.85)])
    assert main(["jobs", "rejudge", "--jobs", str(store.root)]) == 1
    out = capsys.readouterr().out
    assert "above limits (clear, over 99 %) by rules 1" in out
    assert "2 jobs, 1 verdict that today's rules would not give so" in out
    assert main(["jobs", "rejudge", "--jobs", str(store.root), "--json"]) == 1
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert told[-1] == {"summary": {"jobs": 2, "differing": 1, "unreadable": 0}}
    assert told[0]["now_verdict"] == "above"


def test_pairs_of_touches_are_gathered_and_pooled(store, capsys):
    events = [
        ROOM,
        *touch("primary", 1.450, Verdict.ABOVE, repeat="not-repeated"),
        *touch("primary", 1.456, Verdict.ABOVE, t=5.0, repeat="agrees"),
        *touch("secondary", 9000.0, Verdict.ABOVE, repeat="not-repeated"),
        *touch("secondary", 9001.0, Verdict.ABOVE, t=9.0, repeat="agrees"),
    ]
    make(store, CARD, events)
    (pair,) = pairs(store)
    assert (pair.first, pair.second, pair.swapped) == (1.450, 1.456, False)
    assert main(["checks", "touches", "--jobs", str(store.root), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    # One pair: its standard deviation is the difference over the square root of two.
    assert told["between"] == pytest.approx(0.006 / 2**0.5)
    assert told["dof"] == 1
    assert main(["checks", "touches", "--jobs", str(store.root), "--keep"]) == 2
    assert "too little to be kept" in capsys.readouterr().err

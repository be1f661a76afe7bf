"""What a report says of each check: how it came about, its limits, by whom, and on which day."""

import json
import math
import re
import shutil
import subprocess
from datetime import UTC, datetime, timedelta

import pytest

from captures.job.card_progress import JobSettings
from captures.record.records import PROGRAM, Header
from captures.record.writer import NOT_WRITTEN
from captures.report.facts import CheckRow
from captures.report.gather import LogGatherer
from captures.report.wording import how_words, limits_words, value_words
from captures.report.write import Audience
from meterlink.declared import to_plain
from meterlink.events import (
    CardBegan,
    CardEnded,
    Contact,
    Entered,
    Gap,
    Held,
    Judged,
    StepEnded,
    StepReopened,
    Verdict,
)
from meterlink.reading import Reading
from meterlink.steps.entry import ConfirmationStep
from meterlink.steps.repeat import Repeated, RepeatStep
from meterlink.steps.soak import SoakPoint
from meterlink.steps.watch import Dropout, WatchStep
from tests.captures.browsing import Seen, browse
from tests.captures.test_report import no_shelf, page_of
from tui.settings import CARDS, PROFILES

PROFILE = PROFILES.get("pump-set-demo")


class Days:
    """A clock that is moved by hand."""

    def __init__(self):
        self.now = datetime(2026, 11, 3, 9, 14, tzinfo=UTC)

    def __call__(self):
        return self.now


def make(store, card, events, *, clock=None, header=None):
    """Return a job that was worked by ``card``, with ``events`` in its log."""
    settings = {"card": to_plain(card), "profile": to_plain(PROFILE)}
    clock = clock or Days()
    with store.create("Pump 7", settings=settings, clock=clock) as job:
        if header is not None:
            job.new_capture(header).close()
        job.log.append(CardBegan(t=0.0, card=card.id, profile=PROFILE.id))
        for event in events:
            if isinstance(event, timedelta):
                clock.now += event
            else:
                job.log.append(event)
    return job.job


def judged(step, **more):
    usual = {"value": 0.92, "corrected": 0.78, "u": 0.01, "verdict": Verdict.IN_WINDOW}
    usual |= {"contact_t": 1.0, "probability": 0.99, "clear": True}
    return Judged(t=1.0, step=step, **(usual | more))


def row(page, title):
    """Return the cells of the row called ``title`` in the details, as words."""
    page = page[page.index("<details") :]
    for found in re.findall(r"<tr class=[^>]*>(.*?)</tr>", page, re.DOTALL):
        cells = [Seen(cell).text for cell in re.findall(r"<td.*?</td>", found, re.DOTALL)]
        if cells[0].startswith(title):
            return dict(
                zip(
                    ("check", "value", "window", "verdict", "sure", "how", "at"), cells, strict=True
                )
            )
    raise AssertionError(title)


def test_a_typed_value_is_never_said_to_come_from_the_probes(store):
    page = page_of(
        make(
            store,
            CARDS.get("ignition-check"),
            [
                Entered(t=1.0, step="primary", text="0.92 ohm", value=0.92, unit="ohm"),
                judged("primary", readings=1),
                StepEnded(t=1.0, step="primary", outcome="in-window", how="typed"),
                judged("secondary", readings=30),
                StepEnded(t=2.0, step="secondary", outcome="in-window"),
            ],
        )
    )
    assert row(page, "Primary")["how"] == "typed"
    assert row(page, "Secondary")["how"] == "probes, 30 readings"


def test_what_the_card_passed_over_is_not_said_to_be_probed(store):
    skipped = StepEnded(t=1.0, step="key-switch", outcome="skipped", reason="none in the profile")
    by_hand = StepEnded(t=2.0, step="stop-wire-watch", outcome="skipped", reason="cold", how="key")
    page = page_of(make(store, CARDS.get("no-spark"), [skipped, by_hand]))
    assert row(page, "Key switch")["how"] == ""
    assert row(page, "Stop wire while flexed")["how"] == "by key"


def test_a_choice_keeps_the_words_of_the_card_and_a_size_has_its_window(store):
    page = page_of(
        make(
            store,
            CARDS.get("no-spark"),
            [
                Entered(t=1.0, step="cracks", text="none"),
                StepEnded(t=1.0, step="cracks", outcome="none", how="typed"),
                Entered(t=2.0, step="air-gap", text="0.012 in", value=0.0003048, unit="metre"),
                StepEnded(t=2.0, step="air-gap", outcome="in-window", how="typed"),
                Dropout(t=3.0, step="stop-wire-watch", lasted_s=0.1, depth=None),
                Dropout(t=4.0, step="stop-wire-watch", lasted_s=0.25, depth=None),
                StepEnded(t=5.0, step="stop-wire-watch", outcome="some"),
            ],
        )
    )
    assert row(page, "Cracks")["verdict"] == "none"
    assert row(page, "Air gap")["window"] == "0.25 mm to 0.36 mm"
    watched = row(page, "Stop wire while flexed")
    assert watched["value"] == "closed 2 times, the longest for 0.25 s"


def test_a_soak_says_from_where_to_where(store):
    card = CARDS.get("dies-hot")
    [soak] = [step.id for step in card.step if type(step).__name__ == "SoakStep"][:1]
    title = card.find(soak).title
    points = [
        SoakPoint(t=1.0, step=soak, value=0.85, temperature=20.0),
        SoakPoint(t=60.0, step=soak, value=0.95, temperature=48.2),
        SoakPoint(t=120.0, step=soak, value=None, temperature=None, over_range=9),
    ]
    page = page_of(make(store, card, [*points, StepEnded(t=121.0, step=soak, outcome="opens-hot")]))
    assert row(page, title)["value"] == "0.85 Ω at 20 °C to over range, as read"


def test_another_day_and_who_answered_are_said_where_they_differ(store):
    page = page_of(
        make(
            store,
            CARDS.get("reassembly"),
            [
                StepEnded(t=1.0, step="keyway", outcome="yes", how="key", who="Ada"),
                timedelta(days=1),
                StepReopened(t=2.0, step="keyway", reason="brake rubbed"),
                StepEnded(t=3.0, step="keyway", outcome="yes", how="key", who="Bo"),
            ],
        )
    )
    found = row(page, "Keyway")
    assert found["at"] == "09:14:00 2026-11-04"
    assert found["how"] == "by key Bo"
    assert "done again once: brake rubbed" in found["check"]


def test_who_signed_off_and_when_is_said_to_both(store):
    events = [
        StepEnded(t=1.0, step="stop-check", outcome="yes", how="key", who="Ada"),
        StepEnded(t=2.0, step="sign-off", outcome="yes", how="key", who="Bo"),
        CardEnded(t=2.0, card="reassembly", signed_off=True),
    ]
    job = make(store, CARDS.get("reassembly"), events)
    assert "signed off, 2026-11-03 09:14 +00:00 by Bo" in Seen(page_of(job)).text
    customer = Seen(page_of(job, Audience.CUSTOMER)).text
    assert "signed off, 3 November 2026 by Bo" in customer


def test_a_question_that_only_leads_on_is_no_check(store):
    """A lead that does not come off is no fault."""
    card = CARDS.get("no-spark")
    events = [StepEnded(t=1.0, step="lead-comes-off", outcome="no", how="key")]
    job = make(store, card, events)
    assert "did not pass" not in Seen(page_of(job)).text
    gatherer = LogGatherer(JobSettings.read(job), no_shelf)
    for entry in job.entries():
        gatherer.take(entry)
    [facts] = [one.facts() for one in gatherer.cards.values()]
    assert {check.good for check in facts.checks if check.step.id == "lead-comes-off"} == {None}


def header(**more):
    return Header(started="2026-11-03T09:14:00.000+00:00", program=PROGRAM, step="card", **more)


@pytest.mark.parametrize("audience", Audience)
def test_what_was_simulated_is_said_first(store, audience):
    card = CARDS.get("ignition-check")
    simulated = make(store, card, [], header=header(settings={"simulated": True}))
    real = make(store, card, [], header=header())
    assert "Simulated: these readings are of the built-in bench" in page_of(simulated, audience)
    assert "Simulated" not in page_of(real, audience)


def test_a_gap_that_only_the_capture_knows_of_is_in_the_report(store):
    with store.create("Pump 7") as job, job.new_capture(header()) as capture:
        capture.append(Gap(t=60.0, until=72.5, why=NOT_WRITTEN))
    text = Seen(page_of(job.job)).text
    assert f"2026-11-03 09:15 +00:00 Readings of 12.5 s are missing: {NOT_WRITTEN}." in text


@pytest.mark.parametrize(("value", "words"), [(-1007.9, "-1.008 kΩ"), (4_700.0, "4.7 kΩ")])
def test_a_value_far_off_the_scale_is_named_and_not_drawn_on_its_edge(store, value, words):
    """A diamond at the edge would read as a value there."""
    events = [judged("primary", corrected=value, u=0.5, verdict=Verdict.ABOVE)]
    page = page_of(make(store, CARDS.get("ignition-check"), events))
    [strip] = re.findall(r"<svg[^>]*against the limits.*?</svg>", page, re.DOTALL)
    assert "whisker" not in strip
    assert words in page.replace("\N{MINUS SIGN}", "-")
    within = page_of(make(store, CARDS.get("ignition-check"), [judged("primary")]))
    [strip] = re.findall(r"<svg[^>]*against the limits.*?</svg>", within, re.DOTALL)
    assert "whisker" in strip


def held(**more):
    usual = {"value": 0.85, "noise": 1e-3, "resolution": 1e-3, "u": 1e-3, "dof": 8.0}
    return Held(t=2.0, contact_t=1.0, readings=9, **(usual | more))


@pytest.mark.parametrize(
    "records",
    [
        [Contact(t=1.0), held()],
        [Reading(1.0, 0.8), Contact(t=1.0), held(value=math.nan)],
        [Reading(1.0, 0.8), Contact(t=1.0), held(value=math.inf)],
        [judged("primary", corrected=-math.inf, u=-math.inf)],
        [judged("primary", corrected=math.nan)],
        [judged("primary", u=-0.1)],
        [Gap(t=math.nan, until=math.inf, why=NOT_WRITTEN)],
    ],
)
def test_numbers_that_no_bench_gives_still_give_a_report(store, records):
    """A job from elsewhere may hold anything that the format can say."""
    events = [record for record in records if isinstance(record, Judged)]
    job = make(store, CARDS.get("ignition-check"), events)
    with store.resume(job.name) as again, again.new_capture(header()) as capture:
        for record in records:
            capture.append(record)
    for audience in Audience:
        assert "</html>" in page_of(job, audience)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_longest_card_is_one_page_for_the_customer(store, tmp_path, paper):
    """Every other step went wrong, and all of them have an outcome."""
    if shutil.which("pdfinfo") is None:
        pytest.skip("there is nothing to look into a PDF with")
    card = CARDS.get("no-spark")
    events = []
    for number, step in enumerate(card.step):
        good = "passed" if type(step).__name__ == "SwitchStep" else "yes"
        bad = "stuck-closed" if good == "passed" else "no"
        outcome = good if number % 2 or isinstance(step, ConfirmationStep) else bad
        events.append(StepEnded(t=1.0, step=step.id, outcome=outcome, how="key", who="Ada"))
    job = make(store, card, events, header=header(settings={"simulated": True}))
    sized = tmp_path / "page.html"
    page = page_of(job, Audience.CUSTOMER)
    sized.write_text(page.replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    target = tmp_path / "page.pdf"
    browse(sized, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={target}")
    info = subprocess.run(["pdfinfo", target], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+1\n", info)


def test_the_columns_of_the_table_keep_their_words_whole(store, tmp_path):
    """No heading or way of entry is broken inside a word, however long the values are."""
    job = make(
        store,
        CARDS.get("ignition-check"),
        [
            judged("primary", corrected=0.87364, u=0.00062, readings=32),
            StepEnded(t=1.0, step="primary", outcome="in-window"),
        ],
    )
    page = tmp_path / "page.html"
    measure = """<script>document.title = JSON.stringify([...document.querySelectorAll(
        'th, td.how, td.sure')].map(cell => { const range = document.createRange();
        range.selectNodeContents(cell);
        return [cell.textContent, range.getClientRects().length]; }))</script>"""
    text = page_of(job).replace("</body>", measure + "</body>")
    text = re.sub(r'<meta http-equiv="Content-Security-Policy".*?>', "", text)
    page.write_text(text, encoding="utf-8")
    cells = json.loads(Seen(browse(page, tmp_path, "--dump-dom", "--window-size=700,900")).title)
    assert ["Limits", 1] in cells
    assert all(lines <= len(text.split()) for text, lines in cells)


@pytest.mark.parametrize(
    ("expect", "dropouts", "said"),
    [
        ("closed", 1, "1 dropout 0.31 s"),
        ("closed", 3, "3 dropouts, the longest 0.31 s"),
        ("open", 1, "closed once, for 0.31 s"),
        ("open", 3, "closed 3 times, the longest for 0.31 s"),
    ],
)
def test_a_wire_that_must_stay_open_is_said_to_have_closed(expect, dropouts, said):
    step = WatchStep(id="w", title="Wire", between=("stop wire", "block"), expect=expect)
    state = step.state()
    for n in range(dropouts):
        state.apply(Dropout(t=float(n), step="w", lasted_s=0.31, depth=None))
    assert value_words(CheckRow(step=step, own=state)) == said


def test_a_repeat_touch_has_mean_difference_and_what_it_may_be():
    step = RepeatStep(id="r", title="Earth path twice", between=("laminations", "block"))
    row = CheckRow(step=step, own=step.state())
    assert (value_words(row), limits_words(row)) == ("", "")
    repeated = Repeated(
        t=9.0,
        step="r",
        contact_t=7.0,
        first=0.842,
        second=0.846,
        readings=24,
        difference=0.004,
        u=0.006,
        mean=0.712,
    )
    row.own.apply(repeated)
    assert value_words(row) == "0.712 Ω, apart 4.0 ± 6.0 mΩ"
    assert limits_words(row) == "apart at most 6 mΩ"
    assert how_words(row) == "probes, 24 readings"

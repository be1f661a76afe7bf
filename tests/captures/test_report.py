"""The report says what the record holds, to anyone, whatever text the record holds."""

import base64
import json
import re
import shutil
import subprocess

import pytest

from captures.job.attachments import attach
from captures.job.job import Job
from captures.record.records import PROGRAM, Header
from captures.report.write import Audience, write_report
from meterlink.card import read_card
from meterlink.declared import to_plain
from meterlink.errors import CannotWriteError, MeterlinkError, UnreadableError
from meterlink.events import (
    CardBegan,
    CardEnded,
    Contact,
    Entered,
    Evidence,
    Gap,
    Held,
    Judged,
    Lift,
    Note,
    StepBegan,
    StepEnded,
    StepReopened,
    Verdict,
)
from meterlink.judging.accuracy import Accuracy
from meterlink.profile import read_profile
from meterlink.quantities.budget import Component
from meterlink.reading import Reading
from meterlink.source import Identity
from meterlink.steps.meter_check import MeterChecked
from tests.captures.browsing import Seen, browse

HOSTILE = [
    "<script>document.title='pwned'</script>",
    "<img src=x onerror=\"document.title='pwned'\">",
    "\"><svg onload=document.title='pwned'>",
    "</style><script>document.title='pwned'</script>",
    "</title><iframe src=//example.invalid></iframe>",
    "{{ 7 * 7 }} {% include 'x' %}",
    "javascript:document.title='pwned'",
    "$x^2$ \\alpha & <b>bold</b> ]]>",
    "\u202egnp.exe \x1b[31m \x00",
]

CARD = """
format = 1
id = "check"
title = {0}
complaint = "no-spark"
[[step]]
kind = "caution"
id = "cautions"
title = {1}
[[step]]
kind = "entry"
id = "details"
title = {2}
takes = "text"
[[step]]
kind = "measurement"
id = "primary"
title = {3}
winding = "primary"
check = "primary-resistance"
[[step]]
kind = "switch-check"
id = "stop-switch"
title = "Stop switch"
switch = "stop"
[[step]]
kind = "confirmation"
id = "stop-check"
title = "Stop check"
[[step]]
kind = "confirmation"
id = "sign-off"
title = "Sign-off"
signs_off = true
requires = [{{ step = "stop-check", was = ["yes"] }}]
"""

PROFILE = """
format = 1
id = "p"
name = {0}
[[winding]]
name = "primary"
between = ["a", "b"]
low = "0.7 ohm"
high = "1.0 ohm"
source = "invented"
[[switch]]
name = "stop"
between = ["a", "b"]
source = "invented"
positions = {{ {1} = "closed", "run" = "open" }}
"""


def no_shelf(name):
    raise UnreadableError(f"there is no card {name}")


def make_job(store, texts=("Check", "Cautions", "Details", "Primary"), *, stop="yes") -> Job:
    """Return a job whose texts are ``texts``, over and over."""
    quoted = [json.dumps(text[:70]) for text in texts]
    pick = (texts * 20).__getitem__
    card = read_card(CARD.format(*(quoted * 4)[:4]).encode(), "card")
    profile = read_profile(PROFILE.format(*(quoted * 4)[4:6]).encode(), "profile")
    settings = {"card": to_plain(card), "profile": to_plain(profile)}
    position = json.loads((quoted * 4)[5])
    with store.create(pick(0), settings=settings) as job:
        header = Header(
            started="2026-11-03T09:14:00.000+01:00",
            program=PROGRAM,
            meter=Identity(maker=pick(1), model=pick(2), serial=pick(3), firmware=pick(4)),
            accuracy=(Accuracy(percent=0.8, counts=3, source=pick(5)),),
            step=pick(6),
            settings=settings,
        )
        with job.new_capture(header) as capture:
            for event in _events(pick, position, stop):
                capture.append(event)
                if not isinstance(event, Reading):
                    job.log.append(event)
        photo = job.folder / "photo.png"
        photo.write_bytes(PIXEL)
        attach(job, photo, note=pick(7))
        photo.unlink()
    return job.job


PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def _judged(t, step, **more):
    usual = {"probability": 0.999, "clear": True, "contact_t": 1.0}
    return Judged(t=t, step=step, **(usual | more))


def _events(pick, position, stop):
    held = Held(
        t=2.0, contact_t=1.0, value=0.85, readings=9, noise=1e-3, resolution=1e-3, u=3e-4, dof=8
    )
    yield CardBegan(t=0.0, card="check", profile="p")
    yield StepEnded(t=0.1, step="cautions", outcome="acknowledged", how="key", who=pick(8))
    yield Entered(t=0.2, step="details", text=pick(9), who=pick(10))
    yield StepEnded(t=0.2, step="details", outcome="done", how="typed")
    yield StepBegan(t=0.3, step="primary")
    for n in range(10):
        yield Reading(0.1 * n, float("inf"), overload=True, raw=pick(11))
    yield Contact(t=1.0)
    for n in range(20):
        yield Reading(1.0 + 0.1 * n, 0.85 + 0.001 * (n % 3), resolution=1e-3, raw=pick(12))
    yield held
    yield _judged(
        2.0,
        "primary",
        value=0.85,
        readings=9,
        resolution=1e-3,
        corrected=0.85,
        u=0.012,
        verdict=Verdict.IN_WINDOW,
        advice=pick(13),
    )
    yield Lift(t=3.0, contact_t=1.0, held=True)
    yield StepEnded(t=3.0, step="primary", outcome="in-window", reason=pick(14))
    yield _judged(
        4.0,
        "stop-switch",
        position=position,
        value=0.2,
        corrected=0.1,
        u=0.01,
        verdict=Verdict.IN_WINDOW,
        readings=5,
    )
    yield _judged(
        5.0,
        "stop-switch",
        position="run",
        value=None,
        verdict=Verdict.OPEN,
        evidence=Evidence.SAME_TOUCH,
    )
    yield StepEnded(t=5.0, step="stop-switch", outcome="passed")
    yield Note(t=6.0, text=pick(15), who=pick(16))
    yield Gap(t=6.0, until=7.0, why=pick(17))
    if stop:
        yield StepEnded(t=8.0, step="stop-check", outcome=stop, how="key")
        yield StepEnded(t=9.0, step="sign-off", outcome=stop, how="key")
    yield CardEnded(t=9.0, card="check", signed_off=stop == "yes")


def page_of(job, audience=Audience.WORKSHOP):
    return write_report(job, no_shelf, audience).read_text(encoding="utf-8")


def test_the_workshop_report_says_what_the_record_holds(store):
    job = make_job(store)
    seen = Seen(page_of(job))
    for words in (
        "0.850 ± 0.012 Ω",
        "within limits",
        "0.7 Ω to 1 Ω at 20 °C",
        "probes, 9 readings",
        "the probes stayed on: closed before and after",
        "over 99",
        "0.8 % of reading + 3 counts",
        "Stop check done",
        "The job is signed off",
        "All 3 checks passed",
        "Every file of this job is whole",
        "photo.png",
    ):
        assert words in seen.text, words
    assert (
        seen.attributes.count(("class", "gauge")) == 3
    )  # the winding, and the switch in both positions
    assert ("class", "plot") not in seen.attributes  # the touch was steady and plainly good
    assert base64.b64encode(PIXEL).decode() in page_of(job)


def test_the_customer_gets_the_outcome_without_the_metrology(store):
    seen = Seen(page_of(make_job(store), Audience.CUSTOMER))
    assert "As it should be: Primary; Stop switch." in seen.text
    assert "Stop check done" in seen.text
    for word in ("±", "probability", "uncertainty", "±", "Ω", "SHA"):
        assert word not in seen.text


@pytest.mark.parametrize(
    ("stop", "says"),
    [
        ("yes", "The job is signed off"),
        ("no", "Do not run it"),
        ("", "The stop check is not recorded"),
    ],
)
@pytest.mark.parametrize("audience", Audience)
def test_the_stop_check_is_never_left_unsaid(store, stop, says, audience):
    assert says in Seen(page_of(make_job(store, stop=stop), audience)).text


def meter_check(t, *, passed):
    return MeterChecked(
        t=t,
        step="meter",
        contact_t=0.5,
        marking="4.7 kohm 1%",
        ohms=4700.0,
        tolerance=1.0,
        value=5000.0,
        readings=9,
        noise=1.0,
        resolution=1.0,
        corrected=5000.0,
        error=300.0,
        u=50.0,
        passed=passed,
        budget=(Component(name="meter", u=20.0), Component(name="resistor", u=14.0)),
        notes=("Something was assumed.",),
    )


def test_a_failed_check_of_the_meter_stands_at_the_top(store):
    with store.create("Pump 7", settings={"card": to_plain(METER_CARD)}) as job:
        job.log.append(CardBegan(t=0.0, card="meter", profile="p"))
        job.log.append(meter_check(1.0, passed=False))
        job.log.append(StepEnded(t=2.0, step="meter", outcome="failed"))
    text = Seen(page_of(job.job)).text
    assert "Trust no value of this job" in text
    for words in ("5.000 ± 0.050 kΩ", "marked 4.7 kΩ, 1 %", "300 ± 50 Ω", "failed"):
        assert words in text, words
    for words in ("accuracy of the meter", "the known resistor", "67 %", "Something was assumed."):
        assert words in text, words
    assert "Uncertainty budgets" not in Seen(page_of(job.job, Audience.CUSTOMER)).text


def test_the_meters_last_check_may_be_in_an_earlier_job(store):
    meter = Identity(maker="Workshop", serial="7")
    for title, passed, who in (("Bench day", True, meter), ("Other meter", False, Identity())):
        with store.create(title) as earlier:
            header = Header(started="2026-11-01T09:14:00.000+01:00", program=PROGRAM, meter=who)
            with earlier.new_capture(header):
                earlier.log.append(CardBegan(t=0.0, card="meter", profile="p"))
                earlier.log.append(meter_check(1.0, passed=passed))
    with store.create("Pump 7") as job:
        job.new_capture(Header(started="", program=PROGRAM, meter=meter)).close()
    page = write_report(job.job, no_shelf, store=store).read_text(encoding="utf-8")
    assert re.search(r"in job \S+bench-day, against a known resistor .*: passed", Seen(page).text)
    assert "No check of this meter" in Seen(page_of(job.job)).text


METER_CARD = read_card(
    b"""
format = 1
id = "meter"
title = "Meter"
[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"
[[step]]
kind = "meter-check"
id = "meter"
title = "Meter against a known resistor"
""",
    "card",
)


def test_a_step_done_again_shows_only_what_counts(store):
    job = make_job(store)
    with store.resume(job.name) as again:
        again.log.append(StepReopened(t=10.0, step="primary"))
        again.log.append(
            _judged(
                11.0, "primary", value=2.0, corrected=1.9, u=0.1, verdict=Verdict.ABOVE, readings=7
            )
        )
        again.log.append(StepEnded(t=12.0, step="primary", outcome="above"))
    seen = Seen(page_of(job))
    assert "above limits" in seen.text
    assert "done again once" in seen.text
    assert "1 of 3 checks did not pass" in seen.text


@pytest.mark.parametrize("audience", Audience)
def test_a_close_verdict_is_never_summed_up_as_a_plain_pass(store, audience):
    job = make_job(store)
    with store.resume(job.name) as again:
        again.log.append(StepReopened(t=10.0, step="primary"))
        again.log.append(
            _judged(
                11.0,
                "primary",
                value=1.0,
                corrected=0.99,
                u=0.08,
                verdict=Verdict.IN_WINDOW,
                probability=0.56,
                clear=False,
                readings=7,
            )
        )
        again.log.append(StepEnded(t=12.0, step="primary", outcome="in-window"))
    text = Seen(page_of(job, audience)).text
    assert "All 3 checks passed, 1 of them too narrowly to be sure." in text
    assert ("close, 56" in text) is (audience is Audience.WORKSHOP)
    assert ("within limits, though narrowly" in text) is (audience is Audience.CUSTOMER)


@pytest.mark.parametrize("audience", Audience)
def test_a_report_needs_nothing_but_itself(store, audience):
    page = page_of(make_job(store), audience)
    seen = Seen(page)
    assert not {"script", "iframe", "object", "embed", "base", "form"} & set(seen.elements)
    for name, value in seen.attributes:
        assert not name.startswith("on")
        if name in ("src", "href", "xlink:href"):
            assert value.startswith(("data:image/", "#"))
    assert not re.search(r"url\((?!#)|@import", page)
    assert "default-src 'none'" in page


@pytest.mark.parametrize("audience", Audience)
@pytest.mark.parametrize("first", range(len(HOSTILE)))
def test_hostile_text_in_every_field_stays_text(store, first, audience):
    texts = tuple(HOSTILE[first:] + HOSTILE[:first])
    seen = Seen(page_of(make_job(store, texts), audience))
    assert not {"script", "iframe", "b"} & set(seen.elements)
    assert "49" not in seen.title
    assert all(not name.startswith("on") for name, _ in seen.attributes)
    assert not {"\u202e", "\x1b", "\x00"} & set(seen.text)


@pytest.mark.parametrize("audience", Audience)
def test_a_browser_sees_hostile_text_as_text(store, tmp_path, audience):
    job = make_job(store, tuple(HOSTILE))
    dom = browse(write_report(job, no_shelf, audience), tmp_path, "--dump-dom")
    seen = Seen(dom)
    assert seen.title == HOSTILE[0]
    assert HOSTILE[0] in seen.text
    assert not {"script", "iframe", "b"} & set(seen.elements)
    assert all(not name.startswith("on") for name, _ in seen.attributes)


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_it_prints_whole_on_either_paper(store, tmp_path, paper, points):
    if shutil.which("pdfinfo") is None:
        pytest.skip("there is nothing to look into a PDF with")
    pages = {}
    for audience in Audience:
        page = write_report(make_job(store), no_shelf, audience)
        sized = tmp_path / f"{paper}-{audience.name}.html"
        sized.write_text(page.read_text().replace("@page {", f"@page {{ size: {paper};"))
        target = sized.with_suffix(".pdf")
        browse(sized, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={target}")
        info = subprocess.run(
            ["pdfinfo", target], capture_output=True, text=True, check=True
        ).stdout
        width, height = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", info).groups()
        assert (float(width), float(height)) == pytest.approx(points, abs=1)
        pages[audience] = int(re.search(r"Pages:\s+(\d+)", info)[1])
    assert pages[Audience.CUSTOMER] == 1
    assert pages[Audience.WORKSHOP] == 1


def test_an_empty_job_and_a_damaged_one_still_give_a_report(store):
    with store.create("Nothing yet") as job:
        pass
    assert "Nothing was judged" in Seen(page_of(job.job)).text
    job = make_job(store)
    [capture] = job.captures()
    capture.write_bytes(b"\xff" * 5000)
    seen = Seen(page_of(job))
    assert "Not every file of this job is whole" in seen.text
    assert "altered" in seen.text


def test_a_card_that_nobody_knows_any_more_is_left_out(store):
    with store.create("Old job") as job:
        job.log.append(CardBegan(t=0.0, card="gone", profile="p"))
        job.log.append(StepEnded(t=1.0, step="x", outcome="done"))
    assert "Nothing was judged" in Seen(page_of(job.job)).text


def test_an_older_report_is_replaced_and_no_draft_is_left(store):
    job = make_job(store)
    (job.folder / "report.html").write_text("old")
    assert "Workshop report" in page_of(job)
    assert not list(job.folder.glob(".report*"))


def test_a_report_that_cannot_be_written_is_said(store, tmp_path):
    with pytest.raises(CannotWriteError):
        write_report(make_job(store), no_shelf, target=tmp_path / "no" / "report.html")


def test_a_job_without_a_log_is_said(store, tmp_path):
    with pytest.raises(MeterlinkError):
        write_report(Job(tmp_path), no_shelf)

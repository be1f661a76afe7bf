"""The first page says how the job stands at its end, on one sheet; the customer's on half a one."""

import json
import math
import re
import shutil
import subprocess
from dataclasses import replace

import pytest

from captures.report.facts import CardFacts, CheckRow, TouchFacts, worth_drawing
from captures.report.write import Audience, write_report
from meterlink.events import (
    CardBegan,
    CardEnded,
    Entered,
    Evidence,
    Judged,
    StepEnded,
    StepReopened,
    Verdict,
)
from meterlink.steps.repair import Mended, PartFitted
from tests.captures.browsing import Seen, browse
from tests.captures.test_report import no_shelf, page_of
from tests.captures.test_report_rows import judged, make
from tui.settings import CARDS

ENGINE = "Blue pump, serial 88-1042. Died in the yard on Sunday."


def ended(step, outcome, how="key"):
    return StepEnded(t=1.0, step=step, outcome=outcome, how=how, who="Ada")


def open_secondary():
    return (
        Judged(
            t=1.0,
            step="secondary",
            contact_t=1.0,
            value=None,
            verdict=Verdict.OPEN,
            probability=0.99,
            clear=True,
            evidence=Evidence.TAPPED,
        ),
        ended("secondary", "open", "probes"),
    )


def sound(step, value, u=0.02):
    yield judged(step, value=value, corrected=value, u=u)
    yield ended(step, "in-window", "probes")


FOUND = (
    Entered(t=0.0, step="details", text=ENGINE, who="Ada"),
    ended("details", "done", "typed"),
    ended("cautions", "acknowledged"),
    ended("spark", "no"),
    ended("spark-isolated", "no"),
    *sound("primary", 0.86),
    judged("secondary", value=3390.0, corrected=3390.0, u=160.0, verdict=Verdict.BELOW),
    ended("secondary", "below", "probes"),
    judged("stop-switch", position="stop", corrected=0.17),
    judged("stop-switch", position="run", corrected=None, u=None, verdict=Verdict.OPEN),
    ended("stop-switch", "passed", "probes"),
    ended("spark-good-lead", "no"),
)
REPAIR = (
    Mended(
        t=1.0,
        step="repair",
        place="armature",
        found="turns shorted",
        done="renewed",
        part=PartFitted("armature", "30-118", "parts counter"),
    ),
    ended("repair", "mended"),
    StepReopened(t=1.0, step="secondary", reason="new armature"),
    *sound("secondary", 5310.0, 170.0),
)
PROVEN = (
    Entered(t=2.0, step="air-gap", text="0.30 mm", value=0.0003, unit="metre"),
    ended("air-gap", "in-window", "typed"),
    ended("spark-again", "yes"),
    ended("start", "yes"),
    ended("stop-check", "yes"),
    ended("sign-off", "yes"),
    CardEnded(t=9.0, card="no-spark", signed_off=True),
)


def worked(store, *events):
    return make(store, CARDS.get("no-spark"), events)


def opening(page):
    """Return colour and words of the box that a workshop's page opens with."""
    found = re.search(r'<div class="box (\w+)">(.*?)</div>', page, re.DOTALL)
    return found[1], Seen(found[2]).text


def sheet(page):
    """Return what stands before the details, as words."""
    return Seen(page[: page.index("<details")]).text


def test_a_repaired_job_opens_with_the_repair_and_has_both_values_side_by_side(store):
    page = page_of(worked(store, *FOUND, *REPAIR, *PROVEN))
    mark, words = opening(page)
    assert mark == "good"
    assert words.startswith("Repaired: armature. The engine starts, and stops by its control.")
    assert "On the way 2 of 10 checks did not pass." in words
    [row] = re.findall(r"<tr[^>]*><td class=.name.>Secondary winding.*?</tr>", page, re.DOTALL)
    cells = [Seen(cell).text for cell in re.findall(r"<td.*?</td>", row, re.DOTALL)]
    assert cells[1:3] == ["3.39 ± 0.16 kΩ below limits", "5.31 ± 0.17 kΩ"]
    [row] = re.findall(r"<tr[^>]*><td class=.name.>Primary winding.*?</tr>", page, re.DOTALL)
    cells = [Seen(cell).text for cell in re.findall(r"<td.*?</td>", row, re.DOTALL)]
    assert cells[1:3] == ["0.860 ± 0.020 Ω", ""]  # of the old armature
    for said in ("turns shorted", "renewed", "armature, 30-118, parts counter", ENGINE):
        assert said in sheet(page)
    assert "no, before" in sheet(page)


def test_a_part_that_was_not_measured_again_has_no_value_after_the_repair(store):
    page = page_of(worked(store, *FOUND, *REPAIR[:2], *PROVEN))
    [row] = re.findall(r"<tr[^>]*><td class=.name.>Secondary winding.*?</tr>", page, re.DOTALL)
    cells = [Seen(cell).text for cell in re.findall(r"<td.*?</td>", row, re.DOTALL)]
    assert (*cells[1:3], cells[-1]) == ("3.39 ± 0.16 kΩ", "", "below limits, before")
    assert opening(page)[0] == "good"


def test_a_start_without_a_repair_on_record_is_neither_red_nor_plainly_good(store):
    mark, words = opening(page_of(worked(store, *FOUND, *PROVEN)))
    assert mark == "close"
    assert words.startswith("Signed off: the engine starts, and stops by its control.")
    assert "3 of 10 checks did not pass; what was put right is not recorded." in words


@pytest.mark.parametrize("last", [PROVEN[:-2], PROVEN[:-4], ()])
def test_what_did_not_pass_counts_until_the_engine_ran_and_the_job_is_signed_off(store, last):
    mark, words = opening(page_of(worked(store, *FOUND, *last)))
    assert mark == "bad"
    assert "Secondary winding: below limits" in words


def test_what_fails_after_the_engine_ran_counts(store):
    failed = (
        StepReopened(t=9.0, step="primary"),
        judged("primary", corrected=9.0, verdict=Verdict.ABOVE),
    )
    late = (*PROVEN[:4], *failed, ended("primary", "above", "probes"), *PROVEN[4:])
    mark, words = opening(page_of(worked(store, *FOUND, *REPAIR, *late)))
    assert mark == "bad"
    assert "1 of 10 checks did not pass" in words


def test_a_check_of_an_earlier_card_is_what_the_later_one_gave_before(store):
    """A spare armature is measured on its own card, and its value counts."""
    card = CARDS.get("spare-armature")
    job = worked(store, *FOUND)
    with store.resume(job.name) as again:
        again.log.append(CardBegan(t=20.0, card=card.id, profile="pump-set-demo"))
        for event in sound("secondary", 5310.0, 170.0):
            again.log.append(event)
    page = write_report(job, CARDS.get).read_text("utf-8")
    rows = re.findall(r"<tr[^>]*><td class=.name.>Secondary winding.*?</tr>", page, re.DOTALL)
    assert [Seen(row).text for row in rows] == [
        "Secondary winding 3.39 ± 0.16 kΩ below limits 5.31 ± 0.17 kΩ 4 kΩ to 7 kΩ at 20 °C "
        "within limits"
    ]
    assert "Secondary winding: below" not in opening(page)[1]


def test_a_switch_tried_again_unplugged_is_another_check(store):
    """Both tell the same fault, and neither takes the other's place."""
    again = StepEnded(t=1.0, step="stop-switch-unplugged", outcome="stuck-closed")
    page = page_of(worked(store, *FOUND[:-1], again))
    named = re.findall(r"<td class=.name.>(Stop switch[^<]*)</td>", page)
    assert named == ["Stop switch", "Stop switch, unplugged"]


def test_only_touches_that_show_something_are_drawn():
    steady = TouchFacts("c", "primary", 1.0, 2.0, 0.85, "ohm", 4.0, [2.0, 3.0], [0.85, 0.851])
    bounced = replace(steady, contact_t=5.0, held_t=6.0, lift_t=9.0, t=[7.0], value=[math.inf])
    tips = replace(steady, contact_t=20.0)
    card = CARDS.get("no-spark")
    rows = [
        CheckRow(card.find("primary"), judged=judged("primary", contact_t=at)) for at in (1.0, 5.0)
    ]
    facts = [CardFacts(card, "", rows)]
    assert worth_drawing([steady, bounced, tips], facts) == [bounced]
    rows[0].good = False
    assert worth_drawing([steady, bounced, tips], facts) == [steady, bounced]


def test_the_customer_is_told_in_plain_words(store):
    text = Seen(page_of(worked(store, *FOUND, *REPAIR, *PROVEN), Audience.CUSTOMER)).text
    for said in (
        "no spark, or will not start",
        ENGINE,
        "Armature: turns shorted.",
        "Not as it should be, before the repair: Secondary winding (outside limits).",
        "As it should be: Primary winding; Secondary winding; Stop switch.",
        "Armature: renewed. Fitted: armature, 30-118, parts counter.",
        "The engine starts, and stops by its control.",
        "with a pacemaker above all",
    ):
        assert said in text, said
    for word in ("known-good", "Ω", "±", "%", "kΩ"):
        assert word not in text


def test_a_record_that_was_altered_says_so_first_and_shows_nothing_in_green(store):
    job = worked(store, *FOUND, *REPAIR, *PROVEN)
    data = job.log_path.read_bytes()
    job.log_path.write_bytes(data.replace(b"30-118", b"30-119"))
    page = page_of(job)
    assert Seen(page).text.startswith("This record was altered.")
    assert opening(page)[0] == "plain"
    assert '<div class="sign plain">' in page


@pytest.mark.parametrize("details", [False, True])
def test_an_ordinary_job_prints_on_one_sheet_and_the_rest_on_request(store, tmp_path, details):
    if shutil.which("pdfinfo") is None:
        pytest.skip("there is nothing to look into a PDF with")
    job = worked(store, *FOUND, *REPAIR, *PROVEN)
    page = write_report(job, no_shelf, target=tmp_path / "page.html", details=details)
    page.write_text(page.read_text("utf-8").replace("@page {", "@page { size: A4;"), "utf-8")
    target = tmp_path / "page.pdf"
    browse(page, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={target}")
    info = subprocess.run(["pdfinfo", target], capture_output=True, text=True, check=True).stdout
    pages = int(re.search(r"Pages:\s+(\d+)", info)[1])
    assert pages == 1 if not details else pages > 1


@pytest.mark.parametrize("width", [390, 800, 1280])
@pytest.mark.parametrize("audience", Audience)
def test_nothing_hangs_over_the_edge_on_any_screen(store, tmp_path, width, audience):
    """The customer's page is no taller than half of a sheet where it is as wide as one."""
    text = page_of(worked(store, *FOUND, *REPAIR, *PROVEN), audience)
    measure = """<script>const frame = document.createElement('iframe');
        frame.style.cssText = 'position:absolute;left:0;top:0;border:0;height:1000px;width:WIDTHpx';
        frame.srcdoc = document.documentElement.outerHTML.split('<scr' + 'ipt')[0];
        frame.onload = () => { const seen = frame.contentDocument; document.title = JSON.stringify(
        [seen.documentElement.scrollWidth, seen.querySelector('main').offsetHeight]); };
        document.body.append(frame);</script>""".replace("WIDTH", str(width))
    text = re.sub(r'<meta http-equiv="Content-Security-Policy".*?>', "", text)
    page = tmp_path / "page.html"
    page.write_text(text.replace("</body>", measure + "</body>"), encoding="utf-8")
    dom = browse(page, tmp_path, "--dump-dom", "--virtual-time-budget=2000")
    broad, tall = json.loads(Seen(dom).title)
    assert broad <= width
    half_a_sheet = 297 / 2 * 96 / 25.4
    assert width < 800 or audience is not Audience.CUSTOMER or tall <= half_a_sheet

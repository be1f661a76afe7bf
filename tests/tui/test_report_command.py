"""``meterlink report`` on the job that the demo leaves."""

import pytest

from captures.job.store import JobStore
from captures.report.gather import gather
from captures.report.wording import budget_of
from tests.captures.browsing import Seen
from tests.tui.demo_job import copy_demo
from tui.cli import main
from tui.settings import CARDS


@pytest.fixture
def jobs(tmp_path):
    return copy_demo(tmp_path / "jobs")


def test_both_reports_are_written_into_the_job(jobs, capsys):
    root, name = jobs
    assert main(["report", name, "--jobs", str(root)]) == 0
    assert main(["report", name, "--jobs", str(root), "--customer"]) == 0
    said = capsys.readouterr().out.splitlines()[1::2]
    assert said == [
        f"wrote {root / name / file}" for file in ("report.html", "report-customer.html")
    ]
    text = Seen((root / name / "report.html").read_text(encoding="utf-8")).text
    for title in ("Primary winding", "Secondary winding", "Stop switch", "Lead zero", "Cautions"):
        assert title in text


def test_budgets_come_to_the_uncertainties_that_the_bench_recorded(jobs):
    root, name = jobs
    [card] = gather(JobStore(root).job(name), CARDS.get).cards
    with_u = [check for check in card.checks if check.judged is not None and check.judged.u]
    assert len(with_u) >= 3
    for check in with_u:
        assert budget_of(check).expanded == pytest.approx(check.judged.u, rel=1e-9)


def test_the_sheet_says_what_jobs_show_says(jobs, capsys):
    root, name = jobs
    assert main(["report", name, "--jobs", str(root)]) == 0
    capsys.readouterr()
    page = (root / name / "report.html").read_text(encoding="utf-8")
    sheet = Seen(page[: page.index("<details")]).text
    assert main(["jobs", "show", name, "--jobs", str(root)]) == 0
    lines = capsys.readouterr().out.splitlines()
    head = next(n for n, line in enumerate(lines) if line.startswith("step "))
    starts = [lines[head].index(word) for word in ("outcome", "value", "sure")]
    rows = [
        (line[: starts[0]], line[starts[0] : starts[1]], line[starts[1] : starts[2]])
        for line in lines[head + 1 :]
    ]
    values = [(title.strip(), verdict.strip(), value.strip()) for title, verdict, value in rows]
    judged = [row for row in values if "±" in row[2] or row[2] == "over range"]
    assert len(judged) >= 4
    for title, verdict, value in judged:
        assert title in sheet
        assert verdict in sheet
        assert value in sheet


def test_details_are_folded_unless_asked_for(jobs):
    root, name = jobs
    page = root / name / "report.html"
    assert main(["report", name, "--jobs", str(root)]) == 0
    assert '<details class="more">' in page.read_text(encoding="utf-8")
    assert main(["report", name, "--jobs", str(root), "--details"]) == 0
    assert '<details class="more" open>' in page.read_text(encoding="utf-8")


def test_a_report_goes_where_it_is_told(jobs, capsys, tmp_path):
    root, name = jobs
    assert main(["report", name, "--jobs", str(root), "--output", str(tmp_path / "r.html")]) == 0
    assert (tmp_path / "r.html").is_file()
    assert main(["report", name, "--jobs", str(root), "--output", str(root)]) == 5
    assert main(["report", "nothing", "--jobs", str(root)]) == 4
    assert capsys.readouterr().err.count("\n") == 2

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


def test_a_report_goes_where_it_is_told(jobs, capsys, tmp_path):
    root, name = jobs
    assert main(["report", name, "--jobs", str(root), "--output", str(tmp_path / "r.html")]) == 0
    assert (tmp_path / "r.html").is_file()
    assert main(["report", name, "--jobs", str(root), "--output", str(root)]) == 5
    assert main(["report", "nothing", "--jobs", str(root)]) == 4
    assert capsys.readouterr().err.count("\n") == 2

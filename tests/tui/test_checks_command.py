"""``meterlink checks``: meter checks of many jobs on one control chart."""

import json
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from captures.job.across_jobs import BASE, gather
from captures.job.store import JobStore
from captures.record.records import Header
from meterlink.events import CardBegan, StepReopened
from meterlink.judging.control_chart import LEAST
from meterlink.source import Identity
from meterlink.steps.meter_check import MeterChecked
from meterlink.steps.repeat import Repeated
from tui.cli import main
from tui.commands.checks import COLUMNS, draw

START = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
"""NIST/SEMATECH e-Handbook 6.3.2.2: centre 50.81, limits 55.8041 and 45.8159."""


def checked(error: float, *, marking: str = "1 kohm 1%", passed: bool = True) -> MeterChecked:
    return MeterChecked(
        t=5.0,
        step="meter-check",
        contact_t=4.0,
        marking=marking,
        ohms=1000.0,
        tolerance=1.0,
        value=1000.0 + error,
        readings=8,
        noise=0.1,
        resolution=0.1,
        corrected=1000.0 + error,
        error=error,
        u=12.0,
        passed=passed,
    )


class Workshop:
    """Jobs on successive days, each with its checks."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.store = JobStore(folder)
        self.days = 0

    def job(self, *events: object, meter: str = "bench meter") -> None:
        self.days += 1
        now = START + timedelta(days=self.days)
        with self.store.create(f"job {self.days}", clock=lambda: now) as job:
            header = Header(started=now.isoformat(), program="test", meter=Identity(model=meter))
            with job.new_capture(header):
                job.log.append(CardBegan(t=0.0, card="spare-armature", profile="p"))
                for event in events:
                    job.log.append(event)

    def say(self, capsys: pytest.CaptureFixture[str], *args: str) -> str:
        assert main(["checks", "--jobs", str(self.folder), *args]) == 0
        return capsys.readouterr().out


@pytest.fixture
def workshop(tmp_path) -> Workshop:
    return Workshop(tmp_path / "jobs")


def test_no_check_at_all_is_said(workshop, capsys):
    workshop.job()
    assert "no meter check is on record" in workshop.say(capsys)
    assert workshop.say(capsys, "--json") == ""


def test_the_chart_over_jobs_is_that_of_the_nist_handbook(workshop, capsys):
    for value in FLOW:
        workshop.job(checked(value))
    *rows, chart = map(json.loads, workshop.say(capsys, "--json").splitlines())
    # Relative errors on 1 kohm: the handbook's numbers over a thousand.
    assert chart["chart"]["centre"] == pytest.approx(50.81e-3, abs=5e-6)
    assert chart["chart"]["upper"] == pytest.approx(55.8041e-3, abs=5e-8)
    assert chart["chart"]["lower"] == pytest.approx(45.8159e-3, abs=5e-8)
    assert [row["relative_error"] for row in rows] == pytest.approx([v / 1e3 for v in FLOW])
    assert [row["at"] for row in rows] == sorted(row["at"] for row in rows)
    assert not any(row["signals"] for row in rows)


def test_a_check_beyond_the_limits_stands_out_and_is_marked(workshop, capsys):
    for n in range(BASE):
        workshop.job(checked((-1) ** n * 0.2))
    workshop.job(checked(9.0))
    said = workshop.say(capsys)
    (line,) = (line for line in said.splitlines() if "beyond the limits" in line and "%" in line)
    assert "x" in line
    assert "The newest check is beyond the limits" in said


def test_few_checks_have_no_limits_yet(workshop, capsys):
    for _ in range(LEAST - 1):
        workshop.job(checked(1.0))
    assert f"limits need {LEAST} checks" in workshop.say(capsys)


def test_meters_and_resistors_are_kept_apart(workshop, capsys):
    workshop.job(checked(1.0), meter="bench meter")
    workshop.job(checked(2.0), meter="field meter")
    workshop.job(checked(3.0, marking="Brown  Black red brown"), meter="bench meter")
    workshop.job(checked(4.0, marking="brown black red brown"), meter="bench meter")
    series = gather(workshop.store.jobs())
    assert [(one.meter, len(one.checks)) for one in series] == [
        ("bench meter", 1),
        ("bench meter", 2),
        ("field meter", 1),
    ]
    assert "field" not in workshop.say(capsys, "--meter", "BENCH")


def test_only_checks_that_stand_are_charted(workshop):
    again = StepReopened(t=6.0, step="meter-check", reason="flat battery")
    workshop.job(checked(90.0, passed=False), checked(1.0))
    workshop.job(checked(80.0, passed=False), again, checked(2.0))
    workshop.job(checked(70.0, passed=False), again)
    (series,) = gather(workshop.store.jobs())
    assert [record.checked.error for record in series.checks] == [1.0, 2.0]


def test_a_failed_check_is_told(workshop, capsys):
    workshop.job(checked(90.0, passed=False))
    assert "failed" in workshop.say(capsys)


def test_a_damaged_job_hides_no_other(workshop, capsys):
    workshop.job(checked(1.0))
    workshop.job(checked(2.0))
    log = next(workshop.folder.glob("*job-1/log.jsonl"))
    log.write_bytes(b'{"kind":"meter-checked"}\n')
    assert "1 check" in workshop.say(capsys)


def test_a_log_cannot_point_outside_its_job(workshop, capsys):
    workshop.job(checked(1.0))
    log = next(workshop.folder.glob("*/log.jsonl"))
    log.write_bytes(log.read_bytes().replace(b'"captures/', b'"../../../captures/'))
    assert "bench meter" in workshop.say(capsys)


def test_the_drawing_keeps_its_width_and_its_order():
    from meterlink.judging.control_chart import control_chart

    chart = control_chart(FLOW)
    drawn = [draw(value, chart) for value in (chart.lower, 50.0, chart.centre, 52.0, chart.upper)]
    assert {len(line) for line in drawn} == {COLUMNS}
    at = [line.index("o") for line in drawn]
    assert at == sorted(at)
    assert draw(1e9, chart).endswith("x")
    assert draw(-1e9, chart).startswith("x")


def test_a_study_is_read_as_spreadsheets_write_it(tmp_path, capsys):
    rows = [
        f"{part},{person},{4.8 + part / 10 + (person == 'Tom') / 100 + again / 1000:.4f} kohm"
        for part in range(3)
        for person in ("Ida", "Tom")
        for again in range(2)
    ]
    told = []
    for head, mark in (("part,person,value", ","), ("Part;PERSON;value", ";")):
        written = [row if mark == "," else row.replace(",", ";").replace(".", ",") for row in rows]
        (tmp_path / "study.csv").write_text("\n".join([head, *written]), encoding="utf-8")
        assert main(["checks", "study", str(tmp_path / "study.csv"), "--json"]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]


def repeated(first: float, second: float) -> Repeated:
    return Repeated(
        t=9.0,
        step="primary",
        contact_t=8.0,
        first=first,
        second=second,
        readings=12,
        difference=second - first,
        u=0.02,
        mean=(first + second) / 2,
    )


def test_repeat_touches_of_many_jobs_pool_into_one_spread(workshop, capsys):
    # The within-pairs estimator: the root of the sum of squared differences over twice the pairs.
    differences = (0.004, -0.006, 0.002, 0.010, -0.004)
    for difference in differences:
        workshop.job(repeated(0.9, 0.9 + difference))
    facts = json.loads(workshop.say(capsys, "touches", "--json"))
    assert (facts["pairs"], facts["swapped"], facts["dof"]) == (5, 5, 5)
    assert facts["between"] == pytest.approx((sum(d * d for d in differences) / 10) ** 0.5)
    assert "5 pairs of touches below 100 ohm, 5 with the leads swapped" in workshop.say(
        capsys, "touches"
    )


def test_the_scatter_within_touches_is_not_zero_where_nobody_tells_it(workshop, capsys):
    workshop.job(repeated(0.9, 0.95))
    assert json.loads(workshop.say(capsys, "touches", "--json"))["within"] is None
    assert "not told by repeat touches" in workshop.say(capsys, "touches")

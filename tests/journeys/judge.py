"""What must be so after every journey, whatever happened on it."""

import contextlib
import html
import io
import json
import os
import re
from dataclasses import dataclass
from typing import Final
from unittest.mock import patch

from scipy.stats import beta

from captures.job.job import Job
from captures.job.verify_job import verify_job
from captures.record.verify import State
from meterlink.card import Step
from meterlink.events import Evidence
from meterlink.steps.entry import CautionStep
from meterlink.steps.lead_zero import LeadZeroStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.watch import WatchStep
from tests.journeys.engines import expected, lacks, measured_steps
from tests.journeys.faces import TOUCHED_OFF, home
from tests.journeys.journey import Journey
from tui.cli import main
from tui.program_fault import FILE as DETAILS

WRONG_AT_MOST: Final = 0.05
"""Of the clear verdicts of a family."""


def faults_of(journey: Journey, code: int | None = 0) -> list[str]:
    """Return what is wrong with a journey that came to its card's end, a sentence each."""
    faults = []
    if journey.code != code:
        faults.append(f"exit code {journey.code}, not {code}")
    details = sorted(journey.folder.rglob(f"{DETAILS}-*.txt"))
    faults += [f"a fault of the program: {f.read_text('utf-8')[-500:]}" for f in details]
    streams = (journey.shown, journey.errors, journey.screen)
    faults += [f"a traceback: {stream[-1500:]}" for stream in streams if TOUCHED_OFF in stream]
    if journey.errors.strip() and TOUCHED_OFF not in journey.errors:
        faults.append(f"on standard error: {journey.errors[-500:]}")
    faults += _left_open(journey)
    faults += _misrecorded(journey)
    faults += [part.sentence for part in unsound(journey)]
    faults += _disagreeing(journey)
    return faults


def unsound(journey: Journey) -> list[object]:
    """Return the parts of the job that do not verify."""
    return [p for p in verify_job(Job(journey.cues.folder)) if p.state is not State.WHOLE]


def applies(step: Step, outcomes: dict[str, str]) -> bool:
    """Return whether a step was to be done as things stood."""
    return all(outcomes.get(need.step, "") in need.was for need in step.only_if)


def _left_open(journey: Journey) -> list[str]:
    """Every step has ended, or was passed over with its reason."""
    outcomes = journey.cues.outcomes
    faults = [] if journey.cues.ended else ["the card was not ended"]
    for step in journey.card.step:
        outcome = outcomes.get(step.id, "")
        if lacks(step, journey.patient.profile):
            if outcome not in ("", "skipped"):
                faults.append(f"“{step.id}” is not on this engine and ended as {outcome}")
        elif not outcome and applies(step, outcomes):
            faults.append(f"“{step.id}” was left open")
        if outcome == "skipped" and not _reason(journey, step.id):
            faults.append(f"“{step.id}” was passed over without a reason")
    return faults


def _reason(journey: Journey, step: str) -> str:
    ended = [e for e in journey.cues.after(0, "step-ended") if e["step"] == step][-1]
    return str(ended["reason"] or (ended["how"] in ("key", "pedal") and "a person's key"))


def _misrecorded(journey: Journey) -> list[str]:
    """What a person answered is what stands."""
    outcomes = journey.cues.outcomes
    return [
        f"“{step}” was answered {said} and is recorded as {outcomes.get(step)}"
        for step, said in journey.player.said.items()
        if outcomes.get(step, said) != said
    ]


# --- against the truth ------------------------------------------------------------------------


@dataclass(frozen=True)
class Ruling:
    """An outcome of a measured step, beside the right ones."""

    step: str
    outcome: str
    right: frozenset[str]
    clear: bool

    @property
    def wrong(self) -> bool:
        return self.outcome not in self.right


def rulings(journey: Journey) -> list[Ruling]:
    """Return every measured outcome that stands, and what it should have been."""
    found = []
    for step in measured_steps(journey.card):
        outcome = journey.cues.outcomes.get(step.id, "")
        right = expected(step, journey.patient)
        if right is None or outcome in ("", "skipped"):
            continue
        found.append(Ruling(step.id, outcome, right, _clear(journey, step)))
    return found


def _clear(journey: Journey, step: Step) -> bool:
    """Whether the log calls the step's newest verdicts clear; what has none is as sure."""
    newest: dict[str, bool] = {}
    for event in journey.cues.events:
        if event["kind"] == "step-reopened" and event["step"] == step.id:
            newest = {}
        if event["kind"] == "verdict" and event["step"] == step.id:
            newest[event["position"]] = event["clear"]
        if event["kind"] == "step-ended" and event["step"] == step.id:
            said = event.get("evidence") == Evidence.SAID.value
            newest[""] = newest.get("", True) and not said
    return all(newest.values())


def wrong_at_most(wrong: int, of: int) -> float:
    """Return the share of wrong ones that ``wrong`` among ``of`` leave possible, at 95 %.

    The exact binomial bound of Clopper and Pearson (1934), from the beta distribution; with none
    wrong it takes 59 to come below 5 %.
    """
    return float(beta.ppf(0.95, wrong + 1, of - wrong)) if of > wrong else 1.0


# --- the same everywhere ----------------------------------------------------------------------


def told(journey: Journey, *argv: str) -> str:
    """Return what another command says of the job."""
    said = io.StringIO()
    environment = patch.dict(os.environ, home(journey.folder))
    with contextlib.redirect_stdout(said), environment:
        code = main([*argv])
    assert code == 0, said.getvalue()
    return said.getvalue()


def _disagreeing(journey: Journey) -> list[str]:
    """Report, ``jobs show``, plain table and last screen say the same of every step."""
    jobs = str(journey.folder / "jobs")
    name = journey.cues.folder.name
    shown = told(journey, "jobs", "show", name, "--jobs", jobs)
    log = told(journey, "jobs", "show", name, "--jobs", jobs, "--json")
    page = journey.folder / "report.html"
    told(journey, "report", name, "--jobs", jobs, "--output", str(page))
    report = _rows_of(page.read_text(encoding="utf-8"))
    table = _table(shown)
    faults = _spoken_of(journey, (shown, *report))
    if journey.shown and "step " in journey.shown and _table(journey.shown) != table:
        apart = set(_table(journey.shown)) ^ set(table)
        faults.append(f"the plain table and jobs show differ: {sorted(apart)}")
    last = {}
    for line in log.splitlines():
        event = json.loads(line)
        if event.get("kind") == "step-ended":
            last[event["step"]] = event["outcome"]
    for step in journey.card.step:
        outcome = journey.cues.outcomes.get(step.id, "")
        if not outcome or lacks(step, journey.patient.profile):
            continue
        words = step.outcome_words(outcome)
        if last.get(step.id) != outcome:
            faults.append(
                f"jobs show --json says {last.get(step.id)} of “{step.id}”, not {outcome}"
            )
        if not _says(table, step.title, words):
            faults.append(f"the table does not say “{words}” of “{step.title}”")
        if not isinstance(step, CautionStep) and not _says(report, step.title, words):
            faults.append(f"the report does not say “{words}” of “{step.title}”")
        if journey.screen and _denied(journey.screen, step, words):
            faults.append(f"the last screen does not say “{words}” of “{step.title}”")
    return faults


def _spoken_of(journey: Journey, told_of: tuple[str, ...]) -> list[str]:
    """What the engine lacks is nowhere called skipped: nobody skipped it."""
    said = (journey.shown, journey.screen, *told_of)
    return [
        f"«{step.title}» is not on this engine and is called skipped"
        for step in journey.card.step
        if lacks(step, journey.patient.profile)
        and any(re.search(rf"{re.escape(step.title)}:? +skipped", text) for text in said)
    ]


def _says(rows: list[str], title: str, words: str) -> bool:
    return any(row.startswith(title) and words in row for row in rows)


def _table(shown: str) -> list[str]:
    """Return the rows of the newest table of results in what was printed."""
    lines = [line.rstrip() for line in shown.splitlines()]
    heads = [at for at, line in enumerate(lines) if re.match(r"step\s+outcome\s+value", line)]
    if not heads:
        return []
    rows = []
    for line in lines[heads[-1] :]:
        if not line or line.startswith("wrote "):
            break
        rows.append(line)
    return rows


def _rows_of(page: str) -> list[str]:
    """Return the report's table rows as text."""
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", page, re.DOTALL)
    plain = [re.sub(r"<[^>]+>", " ", row) for row in rows]
    return [re.sub(r"\s+", " ", html.unescape(row)).strip() for row in plain]


def _denied(screen: str, step: Step, words: str) -> bool:
    """Whether a screen names a measured step and yet not what came of it.

    A low screen has not room for every step; what it shows must be right.
    """
    if isinstance(step, LeadZeroStep | MeterCheckStep | WatchStep | CautionStep):
        return False
    rows = [row for row in screen.splitlines() if f"{step.title}:" in row]
    return bool(rows) and not any(words.split(" ")[0] in row for row in rows)

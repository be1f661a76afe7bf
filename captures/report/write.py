"""From a job's folder to the finished file: the facts put into templates, escaped, with plots."""

import base64
import contextlib
import os
from enum import Enum
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import jinja2
from markupsafe import Markup

from captures.job.card_progress import FindCard
from captures.job.job import Job
from captures.job.store import JobStore
from captures.job.verify_job import JobCheck, inside
from captures.record.files import open_regular
from captures.record.records import Attached
from captures.record.verify import State
from captures.report import plots, wording
from captures.report.facts import CardFacts, worth_drawing
from captures.report.gather import JobFacts, gather
from captures.report.summary import Summary
from meterlink.errors import CannotWriteError, UnreadableError
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.steps.entry import STANDING
from meterlink.wording import METER_FAILED, component_words, counted, percent


class Audience(Enum):
    """Who a report is for. The value goes into the file's name."""

    WORKSHOP = ""
    CUSTOMER = "customer"

    @property
    def file_name(self) -> str:
        """What the report is called in the job's folder."""
        return f"report-{self.value}.html" if self.value else "report.html"


def write_report(
    job: Job,
    shelved: FindCard,
    audience: Audience = Audience.WORKSHOP,
    target: Path | None = None,
    store: JobStore | None = None,
    check: JobCheck | None = None,
    *,
    details: bool = False,
) -> Path:
    """Write the report of ``job`` into its folder, or to ``target``; return where.

    ``check`` is what a check of its files found, where one was made already.

    ``details`` unfolds what stands behind the workshop's first page, so that it is printed too.

    ``store`` is where the meter's last check is looked for if the job itself has none.

    An older report there is replaced, as it can be made again from the record at any time.

    Raises:
        UnreadableError: the job's log cannot be read.
        CannotWriteError: the file cannot be written.
    """
    facts = gather(job, shelved, store, check)
    page = fill(facts, audience.value or "workshop", details=details)
    path = target if target is not None else job.folder / audience.file_name
    _write(path, page)
    return path


def _write(path: Path, page: str) -> None:
    """Replace ``path`` at once, so that no half report is ever there."""
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(page, encoding="utf-8", newline="\n")
        draft.replace(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        raise CannotWriteError(f"{plain(str(path))} cannot be written: {fault.strerror}") from fault


_LONGEST_TEXT: Final = 2_000

_MOST_UNDONE: Final = 8
"""Steps that were not done that a first page names; the others are counted."""

_PICTURES: Final = {"jpg": "jpeg", "jpeg": "jpeg", "png": "png", "webp": "webp", "gif": "gif"}
_LARGEST_PICTURE: Final = 6 << 20
"""Bytes; a larger photo is named and not shown."""

STATE_WORDS: Final = {
    State.WHOLE: "whole",
    State.OPEN: "not under a final seal",
    State.CUT: "cut",
    State.ALTERED: "altered",
}


RECORD_WORDS: Final = {
    State.ALTERED: "This record was altered. What this page says is not what was recorded.",
    State.CUT: "This record was cut short: more was recorded than this page can say.",
    State.OPEN: "This record was not closed: its end may be missing from this page.",
}
"""What stands at the top of a page whose record is not whole."""


def fill(facts: JobFacts, template: str, *, details: bool = False) -> str:
    """Return the page that the template called ``template`` makes of ``facts``."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("captures.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_harmless,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(_words())
    style = files("captures.report").joinpath("templates", "style.css").read_text("utf-8")
    return environment.get_template(f"{template}.html").render(
        job=facts,
        sum=Summary(facts.cards, facts.finding, stops=facts.stops),
        style=Markup(style),  # noqa: S704  # our own file
        cautions=STANDING,
        most_undone=_MOST_UNDONE,
        details=details,
        **_totals(facts),
    )


def _harmless(value: Any) -> Any:
    """Make every text from a meter, a file or a person show what it is and steer nothing."""
    if isinstance(value, Markup):
        return value
    return plain(str(value).replace("\n", " "), _LONGEST_TEXT)


def _words() -> dict[str, Any]:
    names = [name for name in vars(wording) if name.endswith("_words")]
    return {name: getattr(wording, name) for name in names} | {
        "mark_of": wording.mark_of,
        "budget_of": wording.budget_of,
        "assumed": wording.assumed,
        "component_words": component_words,
        "first_capital": wording.first_capital,
        "state_words": STATE_WORDS,
        "percent": percent,
        "format_value": format_value,
        "draw_touch": plots.draw_touch,
        "draw_limits": plots.draw_limits,
        "counted": counted,
        "icon": _icon,
        "picture": _picture,
    }


def _totals(facts: JobFacts) -> dict[str, Any]:
    return {
        # Joined here: jinja's own filter makes markup, which would pass by ``_harmless``.
        "people": ", ".join(facts.people),
        "profiles": ", ".join(dict.fromkeys(card.profile_name for card in facts.cards)),
        "corrected": ", ".join(wording.corrected_words(facts.cards)),
        "titles": {step.id: step.title for card in facts.cards for step in card.card.step},
        "touches": worth_drawing(facts.touches, facts.cards),
        "meters": list({str(h.meter): h for h in facts.headers.values()}.values()),
        "signed_off": any(card.signed_off for card in facts.cards),
        "meter_failed": METER_FAILED if any(card.meter_failed for card in facts.cards) else "",
        "whole": facts.check.state is State.WHOLE,
        "doubtful": facts.check.state in (State.ALTERED, State.CUT),
        "record": RECORD_WORDS.get(facts.check.state, ""),
        "acknowledged": _acknowledged(facts.cards),
    }


def _acknowledged(cards: list[CardFacts]) -> list[tuple[str, str]]:
    """Return when and by whom the cautions were acknowledged."""
    return [
        (check.at, check.ended.who)
        for card in cards
        for check in card.checks
        if check.ended is not None and check.ended.outcome == "acknowledged"
    ]


def _picture(folder: Path, attachment: Attached) -> Markup:
    """Return an attached photo as part of the page; nothing where it is none, or is too large."""
    kind = _PICTURES.get(attachment.file.rpartition(".")[2])
    if kind is None or attachment.bytes > _LARGEST_PICTURE:
        return Markup("")
    try:
        path = inside(folder, attachment.file)
        with open_regular(path) as file:
            data = base64.b64encode(file.read(_LARGEST_PICTURE)).decode()
    except (UnreadableError, OSError):
        return Markup("")
    return Markup('<img alt="{}" src="data:image/{};base64,{}">').format(
        plain(attachment.name), kind, data
    )


def _icon() -> Markup:
    """Return an empty picture, so that a browser does not ask the disk or network for one."""
    data = base64.b64encode(b'<svg xmlns="http://www.w3.org/2000/svg"/>').decode()
    return Markup('<link rel="icon" href="data:image/svg+xml;base64,{}">').format(data)

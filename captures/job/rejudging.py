"""Old verdicts held against today's rules, without changing what was written."""

from collections.abc import Iterator

import msgspec

from captures.job.card_progress import FindCard, JobSettings
from captures.job.job import CAPTURES_FOLDER, Job
from captures.record.records import CaptureBegan, Header
from meterlink.bench.progress import Progress
from meterlink.declared import from_plain
from meterlink.errors import InvalidFileError
from meterlink.events import CardBegan, Event, Held, Judged, MeterSet, StepReopened, Verdict
from meterlink.judging.assess import Assessment
from meterlink.judging.verdict import RULES
from meterlink.meter_state import setting_of
from meterlink.profile import Profile
from meterlink.source import Setting
from meterlink.steps.measurement import MeasurementStep
from meterlink.steps.switch import SwitchStep
from meterlink.wording import component_words

FIRST_RULES = "1"
"""Version of the rules of verdicts that do not say theirs."""


class Differing(msgspec.Struct, frozen=True, kw_only=True):
    """A verdict that stands in a job and that today's rules would not give so."""

    job: str
    at: str
    """RFC 3339; empty where the log has none."""
    card: str
    step: str
    position: str
    corrected: float | None
    verdict: Verdict
    probability: float
    clear: bool
    rules: str
    """Version that it was made by."""
    now_corrected: float | None
    now_verdict: Verdict
    now_probability: float
    now_clear: bool
    now_rules: str
    why: str
    """What makes the difference, a plain sentence or two."""


class _Stands(msgspec.Struct, frozen=True):
    """A verdict that was not withdrawn, with what today's rules make of it."""

    at: str
    judged: Judged
    now: Assessment


def rejudge(job: Job, shelved: FindCard) -> Iterator[Differing]:
    """Yield the verdicts of ``job`` that stand, and were or would be clear, and now differ.

    Raises:
        UnreadableError: the log cannot be read.
    """
    follower = _Follower(job, shelved)
    for entry in job.entries():
        follower.take(entry.at, entry.event)
    for (card, _, _), stands in follower.standing.items():
        was, judgement = stands.judged, stands.now.judgement
        clear = judgement.clear and not judgement.impossible
        if was.verdict is judgement.verdict and was.clear is clear:
            continue
        if not (was.clear or clear):
            continue
        yield Differing(
            job=job.name,
            at=stands.at,
            card=card,
            step=was.step,
            position=was.position,
            corrected=was.corrected,
            verdict=was.verdict,
            probability=was.probability,
            clear=was.clear,
            rules=was.rules or FIRST_RULES,
            now_corrected=stands.now.corrected,
            now_verdict=judgement.verdict,
            now_probability=judgement.probability,
            now_clear=clear,
            now_rules=RULES,
            why=_why(stands.now),
        )


def _why(now: Assessment) -> str:
    assumed = [line for line in now.budget.components if line.assumed]
    if now.judgement.advice:
        return now.judgement.advice
    if not assumed:
        return "The distributions are put together by convolution now, which is exacter."
    most = max(assumed, key=lambda line: line.u + abs(line.shift))
    return f"What nobody declared counts now, most of all: {component_words(most)}."


def _part_of(step: MeasurementStep | SwitchStep) -> str:
    """Return the name of the profile's entry that a step is about."""
    if isinstance(step, SwitchStep):
        return step.switch
    return step.winding or step.insulation or step.lead or ""


class _Follower:
    """Follows a log as far as a verdict depends on it."""

    def __init__(self, job: Job, shelved: FindCard) -> None:
        self._job, self._shelved = job, shelved
        self._settings = JobSettings.read(job)
        self._header: Header | None = None
        self._progress: dict[str, Progress] = {}
        self._card = ""
        self._profile: Profile | None = None
        self._held: Held | None = None
        self._setting = Setting()
        self.standing: dict[tuple[str, str, str], _Stands] = {}

    def take(self, at: str, event: object) -> None:
        """Take one event of the log, oldest first."""
        match event:
            case CaptureBegan(file=file):
                name = file.replace("\\", "/").rpartition("/")[2]
                self._header = self._settings.headers.get(f"{CAPTURES_FOLDER}/{name}")
                told = None if self._header is None else self._header.setting
                self._setting = told or Setting()
            case CardBegan():
                self._begin(event)
            case Held():
                self._held = event
            case MeterSet():
                self._setting = setting_of(event)
            case StepReopened(step=step):
                for key in [k for k in self.standing if k[:2] == (self._card, step)]:
                    del self.standing[key]
            case Judged() if (now := self._assess(event)) is not None:
                key = (self._card, event.step, event.position)
                self.standing[key] = _Stands(at, event, now)
        if self._card and isinstance(event, Event):
            self._progress[self._card].apply(event)

    def _begin(self, began: CardBegan) -> None:
        self._card = began.card
        if began.card not in self._progress:
            card = self._settings.cards.get(began.card) or self._shelved(began.card)
            self._progress[began.card] = Progress(card)
        self._profile = self._settings.profiles.get(began.profile)
        settings = {} if self._header is None else self._header.settings
        try:
            if "profile" in settings:
                self._profile = from_plain(settings["profile"], Profile, "a capture's header")
        except InvalidFileError:
            return

    def _assess(self, judged: Judged) -> Assessment | None:
        progress, profile = self._progress.get(self._card), self._profile
        if progress is None or profile is None or judged.step not in progress.results:
            return None
        step = progress.card.find(judged.step)
        criterion = step.criterion(profile, judged.position)
        if criterion is None or not isinstance(step, MeasurementStep | SwitchStep):
            return None
        accuracy = () if self._header is None else self._header.accuracy
        context = progress.context(accuracy, self._setting, profile)
        assessor = context.assessor(criterion, _part_of(step))
        if judged.value is None:
            return assessor.assess_over_range(judged.evidence)
        return assessor.assess(self._basis(judged))

    def _basis(self, judged: Judged) -> Held:
        held = self._held
        if held is not None and (held.contact_t, held.value) == (judged.contact_t, judged.value):
            return held
        return Held(
            t=judged.t,
            contact_t=judged.contact_t,
            value=judged.value or 0.0,
            unit=judged.unit,
            readings=judged.readings,
            noise=judged.noise,
            resolution=judged.resolution,
            u=0.0,
            dof=float("inf"),
        )

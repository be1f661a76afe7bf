"""What a person answers: a number, a text, a choice, yes or no. In the page, never over it.

While a question stands, one line has the keys, and what is typed goes into it: a text as it is, a
choice by its first letters, its number or the arrows. Nothing is chosen beforehand: Enter takes
only what was typed or pointed at, and the line beneath says what that is.
"""

from collections.abc import Sequence
from typing import ClassVar, Final, NamedTuple

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from meterlink.card import Step
from meterlink.commands import AnyCommand, Confirm, Deny, Enter, How
from meterlink.quantities.text import plain
from meterlink.steps.entry import ConfirmationStep, EntryStep
from meterlink.steps.meter_check import MeterCheckStep
from meterlink.steps.repair import RepairStep
from meterlink.steps.worker import NOT_SURE, ON_METAL

YES_NO: Final = ("yes", "no")

_HINTS: Final = {
    "temperature": "such as 19 °C, or unknown",
    "gap": "such as 0.30 mm or 0.012 in",
    "torque": "such as 9.5 N·m or 84 lbf·in",
    "text": "a few words",
}
_RESISTOR: Final = "such as 4.7 kohm 1%"
_VALUE: Final = "such as 0.84 ohm, 4k7, OL"
_CHOICE: Final = "type it, or its number"
_YES_NO: Final = "y or n"

_NOT_SURE: Final = f"{NOT_SURE}, not sure"

SUDDEN_S: Final = 0.4
"""A bare key so soon after a question appeared was meant for what stood there before it: pressed
twice, or held down."""

_LONGEST: Final = 40
"""Characters of an answer that the line beneath repeats."""


class Question(NamedTuple):
    """What is to be answered now."""

    key: str
    """Tells it from the question before."""
    choices: tuple[str, ...] = ()
    """What can be answered; empty where anything can be typed."""
    yes_no: bool = False
    """Whether it is a step's own yes or no, which a confirm answers too."""
    hint: str = ""
    """What the empty line says."""
    usual: int | None = None
    """Which choice Enter takes on an empty line: the harmless one, where there is one."""
    may_be_empty: bool = False
    """Whether Enter on an empty line goes on."""

    def shown(self, at: int) -> str:
        """Return a choice as it is shown; the harmless one is meant for those in doubt too."""
        return _NOT_SURE if at == self.usual else plain(self.choices[at], _LONGEST)


def question_of(
    step: Step | None, answers: tuple[str, ...], *, typing: bool, asked: str = ""
) -> Question | None:
    """Return what a person is to answer; None where nothing is asked but by the probes.

    ``answers``: those of the bench's own question. ``typing``: a value is to be typed though the
    step does not ask for one. ``asked``: the words of the bench's question.
    """
    if step is None:
        return None
    match step:
        case ConfirmationStep():
            return Question(step.id, YES_NO, yes_no=True, hint=_YES_NO)
        case _ if answers:
            usual = answers.index(NOT_SURE) if ON_METAL in answers else None
            return Question(f"{step.id} {' '.join(answers)}", answers, hint=_CHOICE, usual=usual)
        case RepairStep():
            return Question(f"{step.id} {asked}", hint=_HINTS["text"], may_be_empty=True)
        case EntryStep(takes="choice"):
            return Question(step.id, step.choices, hint=_CHOICE)
        case EntryStep():
            may = not step.required or step.takes == "temperature"
            return Question(step.id, hint=_HINTS.get(step.takes, ""), may_be_empty=may)
        case _ if typing:
            hint = _RESISTOR if isinstance(step, MeterCheckStep) else _VALUE
            return Question(f"{step.id} typed", hint=hint)
    return None


def fitting(choices: Sequence[str], typed: str) -> list[int]:
    """Return which of ``choices`` are meant by ``typed``: by number, in full, or as they begin."""
    text = _alike(typed)
    if not text:
        return list(range(len(choices)))
    names = [_alike(choice) for choice in choices]
    if text in names:
        return [names.index(text)]
    begin = [at for at, name in enumerate(names) if name.startswith(text)]
    if not begin and text.isdecimal() and 1 <= int(text) <= len(choices):
        return [int(text) - 1]
    return begin


def _alike(text: str) -> str:
    return "-".join(text.casefold().replace("-", " ").split())


class AnswerLine(Input):
    """The line that has the keys while a question stands."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "submit", "take it"),
        Binding("up", "point(-1)", "up", show=False),
        Binding("down", "point(1)", "down", show=False),
    ]

    class Point(Message):
        """An arrow points at another choice."""

        def __init__(self, by: int) -> None:
            super().__init__()
            self.by = by

    class Space(Message):
        """The space bar was pressed on an empty line."""

    struck = 0.0
    """When the newest key was pressed; in seconds, by the clock of the screen library's events."""

    def action_point(self, by: int) -> None:
        """Point at another choice."""
        self.post_message(self.Point(by))

    async def on_key(self, event: events.Key) -> None:
        """Take the line's own keys in their turn; keep a space from an empty line.

        No answer begins with a space. A key with a binding would go up to the screen and come back
        after what is typed right behind it: a line that is cleared and filled again would be empty.
        """
        self.struck = event.time
        if event.key == "space" and not self.value:
            self.post_message(self.Space())
        elif event.is_printable or not await self._do(event.key):
            return
        event.stop()
        event.prevent_default()

    async def _do(self, key: str) -> bool:
        """Do what the line itself has for ``key``; return whether it has anything."""
        bound = self.screen.active_bindings.get(key)
        if bound is None or bound.node is not self:
            return False
        return await self.app.run_action(bound.binding.action, self)


class EntryView(Vertical):
    """Shows what fits the question, and says what was answered."""

    class Answered(Message):
        """A person answered."""

        def __init__(self, command: AnyCommand) -> None:
            super().__init__()
            self.command = command

    def __init__(self) -> None:
        super().__init__(id="entry")
        self.question: Question | None = None
        """What is asked now."""
        self._fits: list[int] = []
        """Which choices are listed: those that fit what is typed."""
        self._since = 0.0
        """When it was put, by the clock of the screen library's events."""
        self._empty = True
        """Whether nothing was typed when the keys at the foot were last looked at."""
        self._line = AnswerLine(id="entry-text", compact=True)
        self._choices = OptionList(id="entry-choice", compact=True, markup=False)
        self._choices.can_focus = False  # the line keeps the keys; a click still chooses
        self._takes = Static(id="entry-how", markup=False)

    def compose(self) -> ComposeResult:
        yield self._line
        yield self._choices
        yield self._takes

    @property
    def asking(self) -> bool:
        """Whether what is typed goes to a question."""
        return self.question is not None and self._line is self.screen.focused

    @property
    def _sudden(self) -> bool:
        """Whether the newest key was pressed before anybody can have read the question."""
        return self._line.struck - self._since < SUDDEN_S

    @property
    def takes_space(self) -> bool:
        """Whether the space bar confirms, rather than being typed."""
        question = self.question
        return question is not None and question.yes_no and not self._line.value

    def show(self, question: Question | None) -> bool:
        """Put ``question`` and give it the keys, done once for each; return whether it is new."""
        if question == self.question:
            return False
        had = self.asking
        self.question, self._since = question, Message().time
        self._line.value = ""
        if question is None:
            if had:
                self.screen.set_focus(None)
            return False
        self._line.placeholder = question.hint
        self._choices.display = bool(question.choices)
        self._list()
        self.take_keys()
        return True

    def take_keys(self) -> None:
        """Give the keys back to the question."""
        if self.question is not None:
            self.screen.set_focus(self._line)  # at once: the keys at the foot are shown by it

    # --- what is typed and pointed at -----------------------------------------------------------

    @on(Input.Changed)
    def _changed(self, event: Input.Changed) -> None:
        event.stop()
        if self.question is not None:
            self._list()
            if self._empty != (not self._line.value):
                self._empty = not self._line.value
                self.app.refresh_bindings()  # an empty line leaves the space bar to the bench

    def _list(self) -> None:
        """List the choices that fit what is typed; the only one left is pointed at."""
        question, shown = self.question, self._choices
        if question is not None and question.choices:
            self._fits = fitting(question.choices, self._line.value)
            shown.clear_options()
            shown.add_options(
                Option(Content(f"{at + 1} {question.shown(at)}")) for at in self._fits
            )
            typed = bool(self._line.value.strip())
            sure = 0 if len(self._fits) == 1 else None
            shown.highlighted = sure if typed else question.usual
        self._say()

    @on(AnswerLine.Point)
    def _point(self, message: AnswerLine.Point) -> None:
        message.stop()
        shown = self._choices
        if shown.option_count:
            at = shown.highlighted
            first = 0 if message.by > 0 else shown.option_count - 1
            shown.highlighted = first if at is None else (at + message.by) % shown.option_count
        self._say()

    @property
    def _picked(self) -> str | None:
        """The choice that Enter takes; None where that is not clear yet."""
        at = self._choices.highlighted
        if self.question is None or at is None or at >= len(self._fits):
            return None
        return self.question.choices[self._fits[at]]

    def _say(self, words: str = "") -> None:
        """Say under the line what Enter takes now."""
        self._takes.update(Content(words or self._how()))

    def _how(self) -> str:
        question, typed = self.question, self._line.value.strip()
        if question is None:
            return ""
        if not question.choices:
            return f"Enter takes “{plain(typed, _LONGEST)}”." if typed else "Type it, then Enter."
        if (picked := self._picked) is not None:
            return f"Enter takes “{question.shown(question.choices.index(picked))}”."
        if not self._fits:
            return f"No answer is “{plain(typed, _LONGEST)}”."
        if typed:
            return "Type more of it, or use the arrows."
        return "Type it or use the arrows, then Enter."

    # --- what is answered -----------------------------------------------------------------------

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        event.stop()
        question, typed = self.question, plain(event.value.strip())
        if question is None:
            return
        if question.choices:
            if self._picked is not None:
                self._choose(self._picked)
            return
        if typed:
            self.post_message(self.Answered(Enter(text=typed, how=How.TYPED)))
        elif question.may_be_empty and not self._sudden:
            self.post_message(self.Answered(Confirm(how=How.TYPED)))

    @on(AnswerLine.Space)
    def _space(self, message: AnswerLine.Space) -> None:
        message.stop()
        if self.takes_space and not self._sudden and self._picked in (None, YES_NO[0]):
            self.post_message(self.Answered(Confirm(how=How.KEY)))

    @on(OptionList.OptionSelected)
    def _clicked(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        if self.question is not None and event.option_index < len(self._fits):
            self._choose(self.question.choices[self._fits[event.option_index]])

    def _choose(self, choice: str) -> None:
        if self.question is not None and self.question.yes_no:
            answer = Confirm if choice == YES_NO[0] else Deny
            self.post_message(self.Answered(answer(how=How.CHOSEN)))
        else:
            self.post_message(self.Answered(Enter(text=choice, how=How.CHOSEN)))

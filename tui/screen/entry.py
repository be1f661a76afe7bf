"""What a person answers: a number, a text, a choice, yes or no. In the page, never over it."""

from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Button, Input, OptionList, Static
from textual.widgets.option_list import Option

from meterlink.card.card import ConfirmationStep, EntryStep, MeterCheckStep, Step
from meterlink.commands import AnyCommand, Confirm, Deny, Enter, How
from meterlink.quantities.text import plain

_HINTS: Final = {
    "temperature": "such as 19 °C, or unknown",
    "gap": "such as 0.30 mm or 0.012 in",
    "torque": "such as 9.5 N·m or 84 lbf·in",
    "text": "a few words",
}
_RESISTOR: Final = "such as 4.7 kohm 1%"
_VALUE: Final = "such as 0.84 ohm, 4k7, OL"
HOW_TO: Final = "Enter takes it. Escape goes back to the keys."


class EntryView(Vertical):
    """Shows the widget that fits the step, and says what was answered."""

    class Answered(Message):
        """A person answered."""

        def __init__(self, command: AnyCommand) -> None:
            super().__init__()
            self.command = command

    def __init__(self) -> None:
        super().__init__(id="entry")
        self._step: Step | None = None
        self._typing = False

    def compose(self) -> ComposeResult:
        yield Input(id="entry-text", compact=True)
        yield OptionList(id="entry-choice", compact=True, markup=False)
        with Horizontal(id="entry-yes-no"):
            yield Button("Yes (y)", id="entry-yes", compact=True)
            yield Button("No (n)", id="entry-no", compact=True)
        yield Static(HOW_TO, id="entry-how", markup=False)

    def show(self, step: Step | None, *, typing: bool) -> None:
        """Show the widget for ``step`` and give it the keys; done once for each step.

        ``typing``: a value is to be typed though the step does not ask for one.
        """
        if (step, typing) == (self._step, self._typing):
            return
        self._step, self._typing = step, typing
        text, choice = self.query_one("#entry-text", Input), self.query_one(OptionList)
        is_choice = isinstance(step, EntryStep) and step.takes == "choice"
        is_text = typing or (isinstance(step, EntryStep) and not is_choice)
        text.display, choice.display = is_text, is_choice
        self.query_one("#entry-yes-no").display = isinstance(step, ConfirmationStep)
        self.query_one("#entry-how").display = is_text or is_choice
        if isinstance(step, EntryStep) and is_choice:
            choice.clear_options()
            choice.add_options([Option(plain(name)) for name in step.choices])
            choice.highlighted = 0
            choice.focus()
        elif is_text:
            text.value = ""
            text.placeholder = _hint(step)
            text.focus()

    @on(Input.Submitted)
    def _typed(self, event: Input.Submitted) -> None:
        event.stop()
        self.post_message(self.Answered(Enter(text=plain(event.value), how=How.TYPED)))

    @on(OptionList.OptionSelected)
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        if isinstance(self._step, EntryStep):
            text = self._step.choices[event.option_index]
            self.post_message(self.Answered(Enter(text=text, how=How.CHOSEN)))

    @on(Button.Pressed)
    def _pressed(self, event: Button.Pressed) -> None:
        event.stop()
        command = Confirm if event.button.id == "entry-yes" else Deny
        self.post_message(self.Answered(command(how=How.CHOSEN)))


def _hint(step: Step | None) -> str:
    """Return an example of what can be typed at ``step``."""
    match step:
        case EntryStep():
            return _HINTS.get(step.takes, "")
        case MeterCheckStep():
            return _RESISTOR
        case _:
            return _VALUE

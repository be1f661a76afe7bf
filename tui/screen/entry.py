"""What a person answers: a number, a text, a choice, yes or no. In the page, never over it."""

from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Button, Input, OptionList, Static
from textual.widgets.option_list import Option

from meterlink.card import ConfirmationStep, EntryStep, Step
from meterlink.commands import AnyCommand, Confirm, Deny, Enter, How
from meterlink.text import plain

_HINTS: Final = {
    "temperature": "such as 19 °C, or unknown",
    "gap": "such as 0.30 mm or 0.012 in",
    "torque": "such as 9.5 N·m or 84 lbf·in",
    "text": "a few words",
}
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

    def compose(self) -> ComposeResult:
        yield Input(id="entry-text", compact=True)
        yield OptionList(id="entry-choice", compact=True, markup=False)
        with Horizontal(id="entry-yes-no"):
            yield Button("Yes (y)", id="entry-yes", compact=True)
            yield Button("No (n)", id="entry-no", compact=True)
        yield Static(HOW_TO, id="entry-how", markup=False)

    def show(self, step: Step | None) -> None:
        """Show the widget for ``step`` and give it the keys; done once for each step."""
        if step is self._step:
            return
        self._step = step
        text, choice = self.query_one("#entry-text", Input), self.query_one(OptionList)
        is_choice = isinstance(step, EntryStep) and step.takes == "choice"
        is_text = isinstance(step, EntryStep) and not is_choice
        text.display, choice.display = is_text, is_choice
        self.query_one("#entry-yes-no").display = isinstance(step, ConfirmationStep)
        self.query_one("#entry-how").display = is_text or is_choice
        if isinstance(step, EntryStep) and is_choice:
            choice.clear_options()
            choice.add_options([Option(plain(name)) for name in step.choices])
            choice.highlighted = 0
            choice.focus()
        elif isinstance(step, EntryStep):
            text.value = ""
            text.placeholder = _HINTS.get(step.takes, "")
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

"""How to work while both hands hold the probes: each way switched on is tried at once."""

from collections.abc import Callable
from typing import ClassVar, Final, Literal

from msgspec.structs import replace
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Button, Footer, OptionList, Static
from textual.widgets.option_list import Option

from meterlink.quantities.text import plain
from tui.announcing.announcer import Tones, Tune, Voice, find_program, missing_program
from tui.screen.preferences import TeachingView
from tui.screen.sitting import BellStruck
from tui.settings import ScreenSettings

Means = Literal["speech", "tones", "gestures", "pedal"]

_MEANS: Final[tuple[tuple[Means, str, str], ...]] = (
    ("speech", "Speech", "says each verdict, and what to do"),
    ("tones", "Tones", "good: one stroke; bad: two; open: three; again: four"),
    ("gestures", "Taps", "tips tapped together twice: do this step again"),
    ("pedal", "Pedal", "any key, or a foot pedal, confirms"),
)
"""Name in the settings, name on the page, and what it does."""
_TAUGHT: Final = "confirm"
_TRIED: Final = "Speech is on. Hold the probes still. Lift the probes."


class HandsFreePage(Screen[None]):
    """Switches and tries speech, tones, taps and pedal; what is changed is kept at once."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(digit, f"switch({at})", show=False) for at, digit in enumerate("1234")),
        Binding("ctrl+g,escape", "done", "done"),
    ]

    def __init__(self, settings: ScreenSettings, keep: Callable[[ScreenSettings], None]) -> None:
        """Begin with ``settings``; ``keep`` is given them whenever they changed, and at the end."""
        super().__init__()
        self.settings = settings
        self._keep = keep
        self._voice: Voice | None = None
        self._tones: Tones | None = None

    def compose(self) -> ComposeResult:
        yield Static("Both hands hold the probes. How shall it go on?", classes="head")
        means = OptionList(id="means", markup=False)
        means.border_subtitle = "Enter or its digit switches, and tries it"
        yield means
        yield Static(id="heard", markup=False)
        yield TeachingView()
        yield Button("Done (ctrl+g)", id="done", compact=True)
        yield Footer(compact=True)

    def on_mount(self) -> None:
        """Show how each is set, and the speech program where there is none."""
        self._show()
        self.query_one("#means", OptionList).focus()
        if find_program() is None:
            self._say(f"{missing_program()}.")
        self.set_interval(0.5, self._listen)

    def on_unmount(self) -> None:
        """Fall silent."""
        for player in (self._voice, self._tones):
            if player is not None:
                player.close()

    def on_key(self, event: events.Key) -> None:
        """Say what the pedal means when it is pressed."""
        meant = [name for name, key in self.settings.pedal.items() if key == event.key]
        if meant:
            self._say(f"The pedal works: it means {meant[0]}.")

    def on_descendant_blur(self, event: events.DescendantBlur) -> None:
        """Give the keys back to the list once a pedal was taught, or not."""
        if isinstance(event.widget, TeachingView):
            self.query_one("#means", OptionList).focus()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.action_switch(event.option_index)

    def action_switch(self, at: int) -> None:
        """Switch the one at this place on or off, and try it."""
        name = _MEANS[at][0]
        if name == "pedal":
            self._teach()
            return
        on = not getattr(self.settings, name)
        if name == "speech" and on and find_program() is None:
            self._say(f"{missing_program()}.")
            return
        self._change(**{name: on})
        self._say("")
        if on:
            self._try(name)

    @on(Button.Pressed)
    def action_done(self) -> None:
        """Go back; this is not asked again."""
        self._keep(self.settings)
        self.dismiss()

    def _try(self, name: Means) -> None:
        match name:
            case "speech":
                program = find_program()
                if program is not None:
                    self._voice = self._voice or Voice(program)
                    self._voice.say(_TRIED)
                    self._say("Is it heard? If not, turn the sound up.")
            case "tones":
                self._tones = self._tones or Tones(lambda: self.post_message(BellStruck()))
                self._tones.play(Tune.OUT)
                self._say("Two slow strokes: this is how a bad value sounds. Is it heard?")
            case _:
                self._say("Try it at the lead zero: tips together, twice.")

    @on(BellStruck)
    def _strike(self) -> None:
        self.app.bell()

    def _teach(self) -> None:
        if self.settings.pedal:
            self._change(pedal={})
            self._say("The pedal means nothing now.")
        else:
            self.query_one(TeachingView).teach(_TAUGHT)

    @on(TeachingView.Taught)
    def _taught(self, message: TeachingView.Taught) -> None:
        self._change(pedal={**self.settings.pedal, message.command: message.key})
        self._say(f"“{plain(message.key, 30)}” means {message.command}. Press it to try.")

    def _change(self, **changes: object) -> None:
        self.settings = replace(self.settings, **changes)
        self._keep(self.settings)
        self._show()

    def _listen(self) -> None:
        if self._voice is not None and self._voice.trouble:
            self._say(self._voice.trouble)

    def _say(self, words: str) -> None:
        self.query_one("#heard", Static).update(Content(plain(words, 300)))

    def _show(self) -> None:
        means = self.query_one("#means", OptionList)
        at = means.highlighted or 0
        means.set_options(
            Option(
                Content.assemble(
                    (f" {number} {title:<8}", "bold"),
                    f"{_state(self.settings, name):<12}",
                    (does, "$quiet"),
                )
            )
            for number, (name, title, does) in enumerate(_MEANS, start=1)
        )
        means.highlighted = at


def _state(settings: ScreenSettings, name: Means) -> str:
    if name == "pedal":
        return plain(", ".join(settings.pedal.values()), 20) or "none"
    return "on" if getattr(settings, name) else "off"


def hands_free_words(settings: ScreenSettings) -> Content:
    """Return how each is set, a line each."""
    return Content("\n").join(
        Content.assemble(f"{title:<8}", (_state(settings, name), "bold"))
        for name, title, _ in _MEANS
    )

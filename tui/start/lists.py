"""Pages with one list: records to replay, and what is at each port."""

from collections.abc import Sequence
from typing import ClassVar, Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from meterlink.quantities.text import plain
from tui.screen.choosing import ListEntry
from tui.session.meters import MeterSearch, meter_words

_TITLE: Final = 40
"""Columns of what an entry is about, before its name."""


class PickPage(Screen[str | None]):
    """One of a list; it is left with the name, or with None where the user went back."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss", "back")]

    def __init__(self, head: str, entries: Sequence[ListEntry]) -> None:
        """Show ``entries`` under ``head``."""
        super().__init__()
        self._head = head
        self._entries = entries

    def compose(self) -> ComposeResult:
        yield Static(self._head, classes="head", markup=False)
        yield OptionList(
            *(
                Option(
                    Content.assemble(
                        (f" {plain(one.about, 90):<{_TITLE}}", "bold"),
                        (f"  {plain(one.name, 60)}", "$quiet"),
                    )
                )
                for one in self._entries
            ),
            markup=False,
        )
        yield Footer(compact=True)

    @on(OptionList.OptionSelected)
    def _picked(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(self._entries[event.option_index].name)


class MetersPage(Screen[None]):
    """Every port of this computer, and what is found there as it is found."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "again", "look again"),
        Binding("escape", "dismiss", "back"),
    ]

    def __init__(self, search: MeterSearch) -> None:
        """Show what ``search`` knows."""
        super().__init__()
        self._search = search

    def compose(self) -> ComposeResult:
        yield Static("The meters", classes="head", markup=False)
        with VerticalScroll():
            yield Static(id="ports", markup=False)
        yield Footer(compact=True)

    def on_mount(self) -> None:
        """Show what is known now, and what comes."""
        self._show()
        self.set_interval(0.2, self._show)

    def action_again(self) -> None:
        """Look again, once the last look is over."""
        self._search.again()
        self._show()

    def _show(self) -> None:
        lines = [
            plain(line, 400)
            for info, found in self._search.ports
            for line in (
                f"{info.name}\n    asking…" if found is None else meter_words(found, info)
            ).split("\n")
        ]
        if not self._search.done:
            lines.append("Looking…")
        elif not lines:
            lines.append("No serial port and no USB instrument is plugged in.")
        self.query_one("#ports", Static).update(Content("\n".join(lines)))

"""Before the bench: which job, which meter, which profile, which card. All on one page.

Everything is chosen beforehand as far as it is known; Begin, or ctrl+g, goes on. Meters are looked
for on a thread of their own, and the page can be worked meanwhile.
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from typing import ClassVar, Final, TypeVar

import msgspec
from rich.table import Table
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Button, Footer, Input, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import Worker

from captures.job.job import Job
from captures.job.store import JobStore
from drivers.discovery import FoundMeter, probe_all
from drivers.ports import list_ports
from meterlink.errors import MeterlinkError
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from tui.announcing.limits import limits_of
from tui.screen.themes import PLAIN, THEMES, FaultApp
from tui.settings import CARDS, PROFILES, Configuration, Shelf

NEW_JOB: Final = "a new job"

T = TypeVar("T")


class ListEntry(msgspec.Struct, frozen=True):
    """One line of a list."""

    name: str
    """What is chosen by it."""
    about: str = ""


class Meter(msgspec.Struct, frozen=True):
    """A meter that can be read."""

    port: str
    wire: str = ""
    about: str = ""


class Choice(msgspec.Struct, frozen=True, kw_only=True):
    """What was chosen."""

    job: str = ""
    """A job to go on with; empty for a new one."""
    title: str = ""
    """Of the new job."""
    port: str = ""
    wire: str = ""
    profile: str = ""
    card: str = ""


class Offer(msgspec.Struct, frozen=True, kw_only=True):
    """What can be chosen from."""

    jobs: Sequence[ListEntry] = ()
    profiles: Sequence[ListEntry] = ()
    cards: Sequence[ListEntry] = ()
    usual: Choice = Choice()
    """What was chosen last."""
    decided: bool = False
    """Whether job, or card of a new job, are as ``usual`` says, and are not asked."""
    head: str = "What is on the bench?"


class ChoosePage(Screen[Choice | None]):
    """The page; it is left with a ``Choice``, or with None where the user went back.

    What is decided beforehand, as its offer says, is not asked.
    """

    CSS_PATH = "choosing.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("tab", "app.focus_next", "next list"),
        Binding("ctrl+g", "begin", "begin"),
        Binding("escape", "leave", "leave"),
    ]

    def __init__(
        self,
        offer: Offer,
        find_meters: Callable[[], Sequence[Meter]],
        profile_of: Callable[[str], Profile] = PROFILES.get,
    ) -> None:
        """``find_meters`` may take seconds; it is called on a thread of its own.

        ``profile_of`` gives the profile of this name, or that of the job that is gone on with.
        """
        super().__init__(classes="-decided" if offer.decided else "")
        self.offer = offer
        self.meters: list[Meter] = []
        """What was found so far, the one used last first."""
        self._find = find_meters
        self._profile_of = profile_of

    def compose(self) -> ComposeResult:
        offer, usual = self.offer, self.offer.usual
        yield Static(plain(offer.head, 200), id="head", markup=False)
        with Horizontal(id="lists"):
            if not offer.decided:
                with Vertical():
                    yield _list("job", [ListEntry(NEW_JOB), *offer.jobs], usual.job)
                    yield _title_input(usual.title)
            with Vertical():
                yield _list("meter", [], "")
                yield Input(placeholder="or type a port", id="port", compact=True)
            if not usual.job:
                with Vertical():
                    yield _list("profile", offer.profiles, usual.profile)
                    if offer.decided:
                        yield _title_input(usual.title)
            if not offer.decided:
                yield _list("card", offer.cards, usual.card)
        yield Static(id="said", markup=False)
        yield Button("Begin (ctrl+g)", id="begin", compact=True)
        with VerticalScroll(id="demands") as demands:
            demands.border_title = "limits and their sources"
            yield Static(id="limits", markup=False)
        yield Footer(compact=True)

    def on_mount(self) -> None:
        """Look for meters, and show what the profile demands."""
        usual = self.offer.usual
        if usual.port:
            self._add_meters([Meter(usual.port, usual.wire, "used last")])
        self._say("Looking for meters…")
        self.run_worker(self._find, name="finder", thread=True, exit_on_error=False)
        self.query(OptionList).first().focus()
        self._show_limits()
        demands = self.query_one("#demands", VerticalScroll)
        self.watch(demands, "show_vertical_scrollbar", self._say_more)

    @on(Worker.StateChanged)
    def _found(self, event: Worker.StateChanged) -> None:
        worker = event.worker
        if worker.name != "finder" or not worker.is_finished:
            return
        found = worker.result or ()
        self._add_meters(found)
        if found and self.meters[0].port not in {meter.port for meter in found}:
            self._mark(found[0].port)  # the one used last is not there today
        if worker.error is not None:
            if not isinstance(worker.error, MeterlinkError):
                raise worker.error
            self._say(f"Meters could not be looked for: {worker.error}")
        elif not found:
            self._say("No meter was found; plug one in and switch it on, or type its port.")
        else:
            self._say("")

    def _add_meters(self, meters: Sequence[Meter]) -> None:
        known = {meter.port for meter in self.meters}
        shown = self.query_one("#meter", OptionList)
        for meter in meters:
            if meter.port not in known:
                self.meters.append(meter)
                shown.add_option(Option(_line(ListEntry(meter.port, meter.about))))
        if self.meters and shown.highlighted is None:
            shown.highlighted = 0

    def _mark(self, port: str) -> None:
        shown = self.query_one("#meter", OptionList)
        if not shown.highlighted:  # nobody has chosen another
            shown.highlighted = [meter.port for meter in self.meters].index(port)

    def _say(self, words: str) -> None:
        self.query_one("#said", Static).update(Content(plain(words, 300)))

    @on(OptionList.OptionHighlighted, "#profile")
    def _show_limits(self) -> None:
        """Show what the marked profile, or that of the job, demands."""
        usual = self.offer.usual
        name = usual.job if usual.job and self.offer.decided else self._name_of("profile")
        shown = self.query_one("#limits", Static)
        try:
            shown.update(limits_table(self._profile_of(name)) if name else "")
        except MeterlinkError as fault:
            shown.update(Content(plain(str(fault), 300)))

    def _say_more(self, more: bool) -> None:
        demands = self.query_one("#demands", VerticalScroll)
        demands.border_subtitle = "tab here, then down: more" if more else ""

    @on(OptionList.OptionSelected)
    @on(Input.Submitted)
    def _next_list(self) -> None:
        self.app.action_focus_next()

    @on(Button.Pressed)
    def _pressed(self) -> None:
        self.action_begin()

    def action_begin(self) -> None:
        """Return what is chosen, unless something is missing."""
        port = self.query_one("#port", Input).value.strip()
        meter = Meter(port) if port else self._picked("meter", self.meters)
        usual, decided = self.offer.usual, self.offer.decided
        job = usual.job if decided else self._name_of("job")
        profile, card = self._name_of("profile"), usual.card if decided else self._name_of("card")
        if meter is None:
            self._say("There is no meter yet: wait for one to be found, or type its port.")
            return
        if not (decided and job) and not (profile and card):
            self._say("There is no profile or no card to choose.")
            return
        title = self.query("#title")
        self.dismiss(
            Choice(
                job="" if job == NEW_JOB else job,
                title=title.first(Input).value.strip() if title else "",
                port=meter.port,
                wire=meter.wire,
                profile=profile,
                card=card,
            )
        )

    def action_leave(self) -> None:
        """Go back without a choice."""
        self.dismiss(None)

    def _name_of(self, name: str) -> str:
        """Return what is marked in the list of this name; empty where there is no such list."""
        entries = {
            "job": [ListEntry(NEW_JOB), *self.offer.jobs],
            "profile": self.offer.profiles,
            "card": self.offer.cards,
        }[name]
        picked = self._picked(name, entries)
        return "" if picked is None else picked.name

    def _picked(self, name: str, things: Sequence[T]) -> T | None:
        lists = self.query(f"#{name}")
        at = lists.first(OptionList).highlighted if lists else None
        return None if at is None or at >= len(things) else things[at]


class ChooseApp(FaultApp[Choice]):
    """The page by itself; it returns a ``Choice``, or None where the user left."""

    TITLE = "meterlink"
    ENABLE_COMMAND_PALETTE = False

    def __init__(
        self,
        offer: Offer,
        find_meters: Callable[[], Sequence[Meter]],
        *,
        theme: str = THEMES[0].name,
    ) -> None:
        """``find_meters`` may take seconds; it is called on a thread of its own."""
        super().__init__()
        self._page = ChoosePage(offer, find_meters)
        self._dress = PLAIN.name if self.no_color else theme

    def on_mount(self) -> None:
        """Dress, and show the page; what it is left with ends all."""
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = self._dress
        self.push_screen(self._page, self.exit)


def limits_table(profile: Profile) -> Table:
    """Return what ``profile`` demands, a row for each part: limits, and their source."""
    table = Table.grid(padding=(0, 2))
    for limit in limits_of(profile):
        table.add_row(limit.part, limit.says, limit.source)
    return table


def _title_input(title: str) -> Input:
    return Input(title, placeholder="title of the new job", id="title", compact=True)


def _list(name: str, lines: Sequence[ListEntry], chosen: str) -> OptionList:
    """Return a list with ``chosen``, or else the first, marked."""
    made = OptionList(*(Option(_line(line)) for line in lines), id=name, markup=False)
    made.border_title = name
    names = [line.name for line in lines]
    made.highlighted = names.index(chosen) if chosen in names else 0 if lines else None
    return made


def _line(line: ListEntry) -> Content:
    about = f"\n  {plain(line.about, 60)}" if line.about else ""
    return Content.assemble((plain(line.name, 60), "bold"), (about, "$quiet"))


_NEWEST: Final = 30
"""So many jobs are offered; older ones by name, with ``--job``."""


def offer(store: JobStore, known: Configuration, card: str) -> Offer:
    """Return what can be chosen, with what was chosen last, and ``card``, marked."""
    return Offer(
        jobs=[ListEntry(job.name, _title(job)) for job in islice(store.jobs(), _NEWEST)],
        profiles=list(_listed(PROFILES)),
        cards=list(_listed(CARDS)),
        usual=Choice(
            port=known.meter.port, wire=known.meter.wire, profile=known.profile, card=card
        ),
    )


def find_meters(known: Configuration) -> Sequence[Meter]:
    """Return the meters that are plugged in; takes some seconds."""
    ports = [port.name for port in list_ports()]
    return meters_among(probe_all(ports, excluded=known.exclude))


def meters_among(probed: Sequence[FoundMeter]) -> Sequence[Meter]:
    """Return those of what is at the ports that can be used without asking."""
    return [
        Meter(found.port, found.wire, str(found.identity or found.says))
        for found in probed
        if found.wire and found.sure
    ]


def _listed(shelf: Shelf) -> Iterator[ListEntry]:  # type: ignore[type-arg]
    """Yield what lies on a shelf; what cannot be read says why."""
    for found in shelf.all():
        try:
            thing = shelf.read(found.file)
        except MeterlinkError as fault:
            yield ListEntry(found.name, str(fault))
            continue
        yield ListEntry(found.name, getattr(thing, "title", "") or getattr(thing, "name", ""))


def _title(job: Job) -> str:
    try:
        return job.header().title
    except MeterlinkError as fault:
        return str(fault)

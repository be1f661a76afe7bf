"""The start page: ways in on the left, meter, profile and hands-free on the right."""

import contextlib
from collections.abc import Sequence
from itertools import islice
from typing import ClassVar, Final

from msgspec.structs import replace
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option

from captures.job.store import list_jobs
from meterlink.errors import MeterlinkError
from meterlink.profile import Profile
from meterlink.quantities.text import plain
from tui.drawings import draw_engine
from tui.screen.choosing import Choice, ChoosePage, ListEntry, Meter, Offer, meters_among, offer
from tui.screen.themes import PLAIN, THEMES, FaultApp
from tui.session.meters import MeterSearch
from tui.session.setup import job_store, worked_by
from tui.settings import PROFILES, Configuration, ScreenSettings, keep_screen
from tui.start.hands_free import HandsFreePage, hands_free_words
from tui.start.lists import MetersPage, PickPage
from tui.start.ways import HEADINGS, Way, WayKind

_REPLAYED_JOBS: Final = 10
_TALL: Final = 34
"""Rows from which there is room for blank lines and a drawing."""


class StartApp(FaultApp[list[str]]):
    """The page; it returns the words of a command line, or None where the user left."""

    CSS_PATH = "start.tcss"
    TITLE = "meterlink"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(digit, f"take('{digit}')", show=False) for digit in "0123456789"),
        Binding("escape", "leave", "leave"),
        Binding("q", "leave", show=False),
    ]

    class Searched(Message):
        """More is known of the meters."""

    def __init__(self, ways: Sequence[Way], known: Configuration, search: MeterSearch) -> None:
        """Show ``ways``; ``search`` begins with the page."""
        super().__init__()
        self._ways = ways
        self.known = known
        self.search = search
        self.settings = known.screen
        self._airy = False
        self.VERTICAL_BREAKPOINTS = [(0, "-low"), (_TALL, "-tall")]

    def compose(self) -> ComposeResult:
        yield Static("What is on the bench?", id="head", markup=False)
        with Horizontal(id="start"):
            ways = OptionList(id="ways", markup=False)
            ways.border_title = "begin here"
            ways.border_subtitle = "up, down, Enter, or a digit"
            yield ways
            with Vertical(id="beside"):
                for name in ("meter", "profile", "hands-free"):
                    panel = Static(id=f"panel-{name}", classes="panel", markup=False)
                    panel.border_title = name
                    yield panel
                yield Static("\n".join(draw_engine("engine-large", {}).lines), id="drawing")
        yield Static(id="about", markup=False)
        yield Footer(compact=True)

    def on_mount(self) -> None:
        """Dress, show what is known, look for meters; ask once how to work hands-free."""
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = PLAIN.name if self.no_color else self.known.screen.theme
        self._show_ways()
        self.query_one("#ways", OptionList).focus()
        self._show_profile()
        self._show_hands_free()
        self._show_meters()
        self.search.start(self._searched)  # before any key, so that it can be waited for
        if not self.settings.asked:
            self._ask_hands_free()

    # --- what is shown ------------------------------------------------------------------------

    def _show_ways(self) -> None:
        ways = self.query_one("#ways", OptionList)
        at = ways.highlighted
        self._airy = self.size.height >= _TALL
        ways.set_options(_options(self._ways, airy=self._airy))
        ways.highlighted = 1 if at is None else at

    def on_resize(self, event: events.Resize) -> None:
        """Give the ways air where there is room."""
        if self._airy != (event.size.height >= _TALL):
            self._show_ways()

    def _searched(self) -> None:
        """Called on the search's thread; the page may have gone meanwhile."""
        with contextlib.suppress(RuntimeError):
            self.post_message(self.Searched())

    @on(Searched)
    def _show_meters(self) -> None:
        last = self.known.meter
        used = Content.styled(f"used last: {plain(last.identity or last.port, 60)}", "$quiet")
        lines = [used] if last.port else []
        if not self.search.done:
            count = len(self.search.ports)
            what = f"asking at {count} port{'' if count == 1 else 's'}…" if count else ""
            lines.insert(0, Content(f"Looking for meters… {what}".rstrip()))
        else:
            lines[:0] = self._found()
        self.query_one("#panel-meter", Static).update(Content("\n").join(lines))

    def _found(self) -> list[Content]:
        try:
            meters = meters_among(self.search.result())
        except MeterlinkError as fault:
            return [Content(plain(f"Meters could not be looked for: {fault}", 300))]
        except Exception as fault:  # noqa: BLE001  # on the search's thread
            self.fail(fault)
            return []
        if not meters:
            return [Content("None found. Plug one in and switch it on."), Content("9: every port")]
        return [
            Content.assemble((plain(one.about, 60), "bold"), f"\n  {plain(one.port, 60)}")
            for one in meters
        ]

    def _show_profile(self) -> None:
        name = self.known.profile
        said = "None used yet. It is asked with the job."
        if name:
            try:
                said = plain(PROFILES.get(name).name)
            except MeterlinkError as fault:
                said = plain(str(fault), 200)
        after = "Its limits, with sources, are shown before the first touch."
        self.query_one("#panel-profile", Static).update(
            Content.assemble((said, "bold"), ("\n" + after, "$quiet"))
        )

    def _show_hands_free(self) -> None:
        self.query_one("#panel-hands-free", Static).update(hands_free_words(self.settings))

    @on(OptionList.OptionHighlighted, "#ways")
    def _show_about(self, event: OptionList.OptionHighlighted) -> None:
        way = self._ways[int(event.option_id or 0)]
        self.query_one("#about", Static).update(Content(way.about))

    # --- what is chosen -----------------------------------------------------------------------

    @on(OptionList.OptionSelected, "#ways")
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self._go(self._ways[int(event.option_id or 0)])

    def action_take(self, digit: str) -> None:
        """Go the way that has this digit."""
        self._go(next(way for way in self._ways if way.digit == digit))

    def action_leave(self) -> None:
        """Leave without a choice."""
        self.exit(None)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keep the page's own keys to itself while another page lies over it."""
        ours = action in ("take", "leave")
        return not ours or len(self.screen_stack) == 1

    def _go(self, way: Way) -> None:
        match way.kind:
            case WayKind.OPEN_JOB:
                self._go_on(way)
            case WayKind.NEW_JOB:
                self._begin(way)
            case WayKind.PRACTISE:
                self.exit(["practice"])
            case WayKind.REPLAY:
                self.push_screen(PickPage("What is to be replayed?", _records()), self._replay)
            case WayKind.METERS:
                self.push_screen(MetersPage(self.search))
            case WayKind.HANDS_FREE:
                self._ask_hands_free()

    def _go_on(self, way: Way) -> None:
        """Ask for the meter, with the limits of the job's own profile in sight."""
        usual = self.known.meter
        choice = Choice(job=way.job, port=usual.port, wire=usual.wire)
        asked = Offer(usual=choice, decided=True, head=f"Go on with “{way.title}”")
        self.push_screen(ChoosePage(asked, self._meters, _profile_of_job), self._bench)

    def _begin(self, way: Way) -> None:
        """Ask for meter, profile and title of a new job by the way's card."""
        known = offer(job_store(None), self.known, way.card)
        usual = replace(known.usual, title=way.named)
        asked = replace(known, usual=usual, decided=True, head=f"New job: {way.title}")
        self.push_screen(ChoosePage(asked, self._meters), self._bench)

    def _meters(self) -> Sequence[Meter]:
        return meters_among(self.search.result())

    def _bench(self, choice: Choice | None) -> None:
        if choice is None:
            return
        words = ["bench", f"--port={choice.port}"]
        words += [f"--frames={choice.wire}"] if choice.wire else []
        if choice.job:
            words.append(f"--job={choice.job}")
        else:
            words += [f"--card={choice.card}", f"--profile={choice.profile}"]
            words += [f"--new={choice.title}"] if choice.title else []
        self.exit(words)

    def _replay(self, name: str | None) -> None:
        if name is not None:
            self.exit(["replay", name])

    def _ask_hands_free(self) -> None:
        self.push_screen(HandsFreePage(self.settings, self._keep))

    def _keep(self, changed: ScreenSettings) -> None:
        self.settings = replace(changed, asked=True)
        keep_screen(self.settings)
        self._show_hands_free()


def _options(ways: Sequence[Way], *, airy: bool) -> list[Option | None]:
    """Return the ways under their headings, which cannot be chosen; ``airy``: with blank lines."""
    made: list[Option | None] = []
    heading = ""
    for at, way in enumerate(ways):
        if HEADINGS[way.kind] != heading:
            heading = HEADINGS[way.kind]
            above, below = ("\n" if airy else "", "\n" if airy else "")
            made.append(Option(Content.styled(f"{above}{heading}{below}", "$quiet"), disabled=True))
        line = Content.assemble((f" {way.digit or '›'} ", "bold"), plain(way.title, 200))
        made.append(Option(line, id=str(at)))
    return made


def _profile_of_job(name: str) -> Profile:
    return worked_by(job_store(None).job(name))[1]


def _records() -> list[ListEntry]:
    """Return what can be replayed: the newest jobs with a capture, then the exercises."""
    from captures.training.catalogue import read_library

    jobs = list_jobs(islice(job_store(None).jobs(), _REPLAYED_JOBS))
    own = [ListEntry(job.job, job.title) for job in jobs if job.captures]
    exercises = [
        ListEntry(one.exercise.id, f"{one.exercise.title} ({one.exercise.difficulty})")
        for one in read_library().shelf
    ]
    return [*own, *exercises]

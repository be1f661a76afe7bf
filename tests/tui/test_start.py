"""The start page: ways into the work, each of which becomes a command line."""

import contextlib
import shlex
import threading
from unittest.mock import patch

import pytest
from msgspec.structs import replace

from captures.job.store import JobStore
from captures.training.catalogue import read_library
from drivers.discovery import FoundMeter
from drivers.ports import PortInfo
from meterlink.errors import MeterError
from meterlink.source import Identity
from tests.tui.looking import screen_text
from tests.tui.processes import home_of, run
from tui import settings
from tui.announcing.announcer import missing_program
from tui.cli import build_parser, main
from tui.screen.themes import THEMES
from tui.session.meters import AtPort, MeterSearch
from tui.session.setup import job_store, settings_of
from tui.settings import CARDS, PROFILES, Configuration, MeterChoice, ScreenSettings
from tui.start.page import StartApp
from tui.start.ways import WayKind, as_lines, ways_of

FOUND = FoundMeter(
    port="/dev/ttyUSB0",
    wire="scpi",
    identity=Identity(maker="", model="bench meter", serial="4021"),
    confidence=1.0,
    says="bench meter 4021",
)
ASKED = Configuration(
    profile="pump-set-demo", screen=ScreenSettings(asked=True, tones=False, speech=False)
)


class Search(MeterSearch):
    """Finds what it is told to, once it may."""

    def __init__(self, *found: FoundMeter, wait: threading.Event | None = None) -> None:
        super().__init__(())
        self._there, self._wait = found, wait

    def _run(self) -> None:
        infos = [PortInfo(name=one.port, kind="serial") for one in self._there]
        self.ports = tuple(AtPort(info, None) for info in infos)
        self._changed()
        if self._wait is not None:
            self._wait.wait(10)
        self.ports = tuple(map(AtPort, infos, self._there))
        self._over.set_result(self._there)
        self._changed()


@pytest.fixture
def home(tmp_path, monkeypatch):
    for name, value in home_of(tmp_path).items():
        monkeypatch.setenv(name, value)
    return tmp_path


def an_open_job(title="Pump 7"):
    card, profile = CARDS.get("ignition-check"), PROFILES.get("pump-set-suppressed")
    with job_store(None).create(title, settings=settings_of(card, profile)) as job:
        return job.folder.name


@contextlib.asynccontextmanager
async def page(known=ASKED, search=None, size=(80, 24)):
    app = StartApp(ways_of(job_store(None)), known, search or Search(FOUND))
    async with app.run_test(size=size) as pilot:
        await seen(pilot)
        yield pilot


async def seen(pilot):
    """Wait until all that was posted is shown; return the screen as text."""
    for _ in range(3):
        await pilot.pause()
    return screen_text(pilot.app)


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_every_way_and_what_is_known_is_in_sight(home, size):
    for number in range(4):
        an_open_job(f"Pump {number}")
    async with page(size=size) as pilot:
        text = await seen(pilot)
    for way in pilot.app._ways:
        assert way.title in text
    assert "Pump 0" not in text  # the newest few
    for shown in ("bench meter 4021", "/dev/ttyUSB0", "Portable pump set", "Speech"):
        assert shown in text


async def test_a_digit_and_one_key_begin_a_new_job_on_the_meter_that_was_found(home):
    async with page() as pilot:
        await pilot.press("2")
        text = await seen(pilot)
        assert "New job: Engine will not stop" in text
        assert "0.7 Ω to 1 Ω at 20 °C" in text
        assert "sources" in text
        assert "invented for practice" in text
        await pilot.app.workers.wait_for_complete()
        await seen(pilot)
        await pilot.press("ctrl+g")
        await pilot.pause()
    assert pilot.app.return_value == [
        *("bench", "--port=/dev/ttyUSB0", "--frames=scpi"),
        *("--card=wont-stop", "--profile=pump-set-demo"),
    ]


async def test_an_open_job_is_gone_on_with_by_enter_with_the_limits_of_its_own_profile(home):
    name = an_open_job()
    async with page() as pilot:
        await pilot.press("enter")
        text = await seen(pilot)
        assert "Go on with “Pump 7”" in text
        own = PROFILES.get("pump-set-suppressed").winding[1]
        assert f"{own.low / 1000:g} kΩ to {own.high / 1000:g} kΩ" in text
        assert "title of the new job" not in text
        await pilot.app.workers.wait_for_complete()
        await seen(pilot)
        await pilot.press("ctrl+g")
        await pilot.pause()
    assert pilot.app.return_value == [
        *("bench", "--port=/dev/ttyUSB0", "--frames=scpi", f"--job={name}"),
    ]


async def test_the_page_can_be_worked_while_meters_are_looked_for(home):
    go_on = threading.Event()
    async with page(search=Search(FOUND, wait=go_on)) as pilot:
        assert "Looking for meters" in screen_text(pilot.app)
        await pilot.press("9")
        assert "asking…" in await seen(pilot)
        go_on.set()
        pilot.app.search.result()
        await pilot.pause(0.3)
        assert "bench meter 4021" in await seen(pilot)
        await pilot.press("escape", "7")
        await pilot.pause()
    assert pilot.app.return_value == ["practice"]


async def test_what_has_no_card_of_its_own_says_so_and_keeps_its_name(home):
    async with page() as pilot:
        await pilot.press(*["down"] * 3)
        assert "no card for this complaint yet" in await seen(pilot)
        await pilot.press("enter")
        await pilot.app.workers.wait_for_complete()
        await seen(pilot)
        await pilot.press("ctrl+g")
        await pilot.pause()
    assert pilot.app.return_value[-3:] == [
        *("--card=no-spark", "--profile=pump-set-demo", "--new=Weak, or hard to start"),
    ]


@pytest.mark.parametrize("theme", [theme.name for theme in THEMES])
async def test_the_marked_line_is_told_by_more_than_colour(home, theme):
    async with page(replace(ASKED, screen=replace(ASKED.screen, theme=theme))) as pilot:
        rows = pilot.app.screen._compositor.render_strips()
        lined = [
            row.text for row in rows if any(cell.style and cell.style.underline for cell in row)
        ]
    assert len(lined) == 1
    assert "1 No spark" in lined[0]


async def test_the_mouse_chooses_too(home):
    async with page() as pilot:
        rows = screen_text(pilot.app).splitlines()
        (row,) = (at for at, line in enumerate(rows) if "7 Practise" in line)
        await pilot.click(offset=(8, row))
        await pilot.pause()
    assert pilot.app.return_value == ["practice"]


async def test_an_exercise_is_replayed_by_its_name(home):
    async with page() as pilot:
        await pilot.press("8")
        assert "sound-armature" in await seen(pilot)
        await pilot.press("enter")
        await pilot.pause()
    command, name = pilot.app.return_value
    assert command == "replay"
    assert read_library().find(name) is not None


async def test_hands_free_is_asked_once_and_each_is_tried(home, monkeypatch):
    monkeypatch.setattr("tui.start.hands_free.find_program", lambda: None)
    rung = []
    async with page(Configuration()) as pilot:
        pilot.app.bell = lambda: rung.append(1)
        assert "Both hands hold the probes" in await seen(pilot)
        await pilot.press("1")
        text = await seen(pilot)
        assert missing_program()[:30] in text
        await pilot.press("2", "2")
        for _ in range(100):
            if len(rung) == 2:
                break
            await pilot.pause(0.02)
        assert len(rung) == 2
        await pilot.press("4", "f13")
        assert "“f13” means confirm" in await seen(pilot)
        await pilot.press("f13")
        assert "The pedal works: it means confirm" in await seen(pilot)
        await pilot.press("4", "4", "escape", "down")  # forgotten, taught anew, and not after all
        assert "Pedal   none" in await seen(pilot)
        await pilot.press("4", "f14")
        await pilot.press("escape")
        assert "f14" in await seen(pilot)
    kept = settings.load().screen
    assert kept.asked
    assert kept.tones
    assert not kept.speech
    assert kept.pedal == {"confirm": "f14"}


async def test_what_was_asked_is_not_asked_again(home):
    async with page() as pilot:
        assert "Both hands hold the probes" not in await seen(pilot)
        await pilot.press("0")
        assert "Both hands hold the probes" in await seen(pilot)


async def test_no_single_letter_changes_a_setting_or_goes_anywhere(home):
    async with page() as pilot:
        for key in "abcdefghijklmnoprstuvwxyz":
            await pilot.press(key)
        await pilot.press("0")
        for key in "abcdefghijklmnopqrstuvwxyz":
            await pilot.press(key)
        assert pilot.app.settings == ASKED.screen
    assert pilot.app.return_value is None


def test_the_package_is_named_as_the_system_installs_it():
    with patch("platform.freedesktop_os_release", lambda: {"ID": "mint", "ID_LIKE": "ubuntu"}):
        assert missing_program("linux").endswith("sudo apt install espeak-ng")
    with patch("platform.freedesktop_os_release", lambda: {"ID": "fedora"}):
        assert missing_program("linux").endswith("sudo dnf install espeak-ng")
    with patch("platform.freedesktop_os_release", side_effect=OSError):
        assert missing_program("linux").endswith("the package espeak-ng")
    assert "PATH" in missing_program("darwin")
    assert "PATH" in missing_program("win32")


def test_each_command_that_is_listed_is_one(home):
    an_open_job("Pump 7")
    known = Configuration(profile="pump-set-demo", meter=MeterChoice(port="COM3"))
    ways = ways_of(JobStore(job_store(None).root))
    assert {way.kind for way in ways} == set(WayKind)
    commands = [line.strip() for line in as_lines(ways, known) if "      meterlink" in line]
    assert len(commands) == len(ways)
    for command in commands:
        words = shlex.split(command)[1:]
        if words[0] in ("bench", "practice", "replay", "meters"):
            build_parser(words[0]).parse_args(words)


def test_without_a_terminal_the_ways_are_printed_as_commands(tmp_path):
    for words in ((), ("--plain",)):
        done = run(tmp_path, *words)
        assert done.returncode == 0, done.stderr
        assert not done.stderr
        assert "meterlink bench --card no-spark --profile PROFILE" in done.stdout
        assert "There is no card for this complaint yet" in done.stdout


def test_settings_that_cannot_be_read_are_said_with_the_usual_code(home, capsys):
    settings.path().parent.mkdir(parents=True)
    settings.path().write_text("nope = 1\n", encoding="utf-8")
    assert main([]) == 1
    assert "nope" in capsys.readouterr().err


def test_the_bench_waits_until_the_ports_are_free(home, mocker, capsys):
    """What is chosen before the search is over must not meet the search at its port."""
    go_on, order = threading.Event(), []
    search = Search(FOUND, wait=go_on)

    def chosen(app):
        app.search.start(lambda: None)
        threading.Timer(0.2, lambda: (order.append("found"), go_on.set())).start()
        return ["bench", "--port=/dev/no-such-port", "--profile=pump-set-demo"]

    mocker.patch("tui.commands.start.has_screen", return_value=True)
    mocker.patch("tui.session.meters.MeterSearch", return_value=search)
    mocker.patch.object(StartApp, "run", chosen)
    gone = MeterError("there is no such port")

    def opened(*_, **__):
        order.append("opened")
        raise gone

    mocker.patch("tui.commands.bench.open_lasting", opened)
    assert main([]) == gone.exit_code
    assert order == ["found", "opened"]
    assert "the ports are free in a moment" in capsys.readouterr().err
